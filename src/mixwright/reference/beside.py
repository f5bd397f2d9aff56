# SPDX-License-Identifier: Apache-2.0
"""A mix beside its references: each figure on the interval that they span, of the whole and of each section."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from mixwright.model.comparison import ComparedRow
from mixwright.model.profile import BANDS_HZ, FIGURES, Profile, SectionProfile, Values
from mixwright.reference.corridor import Interval, counts_for, interval_of, lead_of, spread_of

#: Figures are told to a tenth; what would read as 0.0 outside is inside. Of a correlation, to a hundredth.
_EDGE, _EDGE_RATIO = 0.05, 0.005


@dataclass(frozen=True)
class Chosen:
    """A reference with what it was chosen for, and which of its sections stands beside each one of the mix."""

    profile: Profile
    use_for: Sequence[str] = ()
    sections: Mapping[str, SectionProfile] = field(default_factory=dict)


def rows_of(mix: Profile, references: Sequence[Chosen]) -> tuple[ComparedRow, ...]:
    """Return where the mix stands, figure by figure: the whole first, then its sections in order.

    Every figure but the loudness is free of level, so everything is at matched loudness.

    Parameters
    ----------
    mix : Profile
    references : sequence of Chosen
        What is wrong with one, or with the mix, leaves out the attributes that it spoils.
    """
    lead = lead_of([one.profile for one in references], [one.use_for for one in references], ticked=False)
    left_out = {attribute for weak in mix.weak for attribute in weak.attributes}
    rows = list(_rows("", mix.values, references, [one.profile.values for one in references], left_out))
    value = mix.one("lead_re_mix_lu")
    if lead is not None and value is not None:
        rows.append(_row("lead_re_mix_lu", "", value, (0.0, 0.0), lead))
    for section in mix.sections:
        beside = [one.sections[section.name].values if section.name in one.sections else {} for one in references]
        rows += _rows(section.name, section.values, references, beside, left_out)
    return tuple(rows)


def _rows(
    section: str, values: Values, references: Sequence[Chosen], beside: Sequence[Values], left_out: Collection[str]
) -> Iterator[ComparedRow]:
    for name, figure in FIGURES.items():
        attribute = figure.attribute
        if figure.follows_level or attribute == "lead" or attribute in left_out or name not in values:
            continue
        counted = [
            their[name]
            for one, their in zip(references, beside, strict=True)
            if name in their and counts_for(one.profile, one.use_for, attribute)
        ]
        for band, (value, edges) in enumerate(zip(values[name], BANDS_HZ[figure.bands], strict=True)):
            interval = interval_of([their[band] for their in counted], spread_of(name, band))
            if value is None or interval is None:
                continue
            yield _row(name, section, value, edges, interval)


def _row(name: str, section: str, value: float, edges: tuple[float, float], interval: Interval) -> ComparedRow:
    figure = FIGURES[name]
    outside = interval.outside(value)
    edge = _EDGE_RATIO if figure.unit == "ratio" else _EDGE
    return ComparedRow(
        attribute=figure.attribute,
        figure=name,
        unit=figure.unit,
        section=section,
        low_hz=edges[0] if edges[1] else None,
        high_hz=edges[1] or None,
        value=value,
        low=round(interval.low, 3),
        high=round(interval.high, 3),
        outside=round(outside, 3) if abs(outside) >= edge else 0.0,
        references=interval.references,
    )
