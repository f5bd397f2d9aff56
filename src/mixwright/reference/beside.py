# SPDX-License-Identifier: Apache-2.0
"""A mix beside its references: each figure on the interval that they span, of the whole and of each section."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from mixwright.model.comparison import ComparedRow
from mixwright.model.profile import BANDS_HZ, FIGURES, THIRDS_HZ, Profile, SectionProfile, Unit, Values
from mixwright.reference.corridor import Interval, counts_for, interval_of, lead_of, spread_of
from mixwright.reference.heard_bands import heard_thirds
from mixwright.reference.span import Floats

#: What lies outside by less is not noticed, and counts as inside: half a decibel is about the least step of level that
#: is heard in steady sound (Zwicker & Fastl, Psychoacoustics, from memory); the others: common practice, no source.
JUST_NOTICED: dict[Unit, float] = {"db": 0.5, "lu": 0.5, "db_oct": 0.1, "percent": 2.0, "ratio": 0.03}


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
        rows.append(_row("lead_re_mix_lu", "", value, (0.0, 0.0), lead, 1.0))
    for section in mix.sections:
        beside = [one.sections[section.name].values if section.name in one.sections else {} for one in references]
        rows += _rows(section.name, section.values, references, beside, left_out)
    return tuple(rows)


def _rows(
    section: str, values: Values, references: Sequence[Chosen], beside: Sequence[Values], left_out: Collection[str]
) -> Iterator[ComparedRow]:
    heard = _heard(values, beside)
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
            yield _row(name, section, value, edges, interval, _heard_in(heard, edges))


def _heard(values: Values, beside: Sequence[Values]) -> Floats:
    """Return how much of each third is heard in the mix, or in a reference where it is more: what lacks counts too."""
    thirds = [part["third_octaves_db"] for part in (values, *beside) if "third_octaves_db" in part]
    return np.max([heard_thirds(levels) for levels in thirds], axis=0) if thirds else np.ones(len(THIRDS_HZ))


def _heard_in(heard: Floats, edges: tuple[float, float]) -> float:
    """Return the most that is heard of a third whose middle lies in a band; 1 of what has none."""
    inside = [part for hz, part in zip(THIRDS_HZ, heard, strict=True) if edges[0] * 0.98 <= hz < edges[1] * 0.98]
    return float(max(inside, default=1.0))


def _row(
    name: str, section: str, value: float, edges: tuple[float, float], interval: Interval, heard: float
) -> ComparedRow:
    figure = FIGURES[name]
    outside = interval.outside(value)
    least, most = figure.between
    return ComparedRow(
        attribute=figure.attribute,
        figure=name,
        unit=figure.unit,
        section=section,
        low_hz=edges[0] if edges[1] else None,
        high_hz=edges[1] or None,
        value=value,
        low=round(max(interval.low, least), 3),
        high=round(min(interval.high, most), 3),
        outside=round(outside, 3) if abs(outside) >= JUST_NOTICED[figure.unit] else 0.0,
        heard=round(heard, 3),
        references=interval.references,
    )
