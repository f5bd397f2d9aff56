# SPDX-License-Identifier: Apache-2.0
"""Contrast: how far the fullest section stands from the thinnest one, in level, width, brightness and density."""

from __future__ import annotations

from collections.abc import Sequence

from mixwright.model.profile import SectionProfile, Values

#: Sections shorter than this, and than this share of the song, are transitions.
_SHORTEST_S, _SHORTEST_SHARE = 6.0, 0.05
#: Sections count among the full ones the more the nearer they are to the loudest, none from the middle of the range
#: on, and likewise for the thin ones: a limiter, which brings all of them together, hardly changes what is compared.
#: Half the range is taken as no less than this: sections that are all as loud have no contrast.
_LEAST_LU = 0.25
#: The figures that are told beside each other, and of which.
_TOLD = {
    "contrast_width_db": "side_to_mid_db",
    "contrast_brightness_db": "top_end_db",
    "contrast_filled_percent": "filled_time_percent",
}


def contrast_values(sections: Sequence[SectionProfile], duration_s: float) -> Values:
    """Return the figures of the loudest sections minus those of the softest; None with fewer than two sections.

    The loudness is that of the loudest section minus that of the softest.
    """
    told = told_sections(sections, duration_s)
    if len(told) < 2:
        return dict.fromkeys(("contrast_loudness_lu", *_TOLD), (None,))
    energies = [one.energy_lu or 0.0 for one in told]
    half = max(_LEAST_LU, 0.5 * (max(energies) - min(energies)))
    full, thin = (
        [(max(0.0, 1.0 - abs(end - energy) / half), one) for one, energy in zip(told, energies, strict=True)]
        for end in (max(energies), min(energies))
    )
    found: Values = {"contrast_loudness_lu": (max(energies) - min(energies),)}
    for name, figure in _TOLD.items():
        found[name] = (_less(_mean(full, figure), _mean(thin, figure)),)
    return found


def told_sections(sections: Sequence[SectionProfile], duration_s: float) -> list[SectionProfile]:
    """Return the sections that tell of contrast: no transitions, first and last where there are few others alone."""
    shortest = max(_SHORTEST_S, _SHORTEST_SHARE * duration_s)
    # First and last often fade or stand alone: they count where nothing else does.
    inner = [one for one in sections[1:-1] if one.energy_lu is not None and one.end_s - one.start_s >= shortest]
    long = [one for one in sections if one.energy_lu is not None and one.end_s - one.start_s >= shortest]
    return inner if len(inner) >= 2 else long


def _mean(sections: Sequence[tuple[float, SectionProfile]], figure: str) -> float | None:
    """Return the mean of a figure over sections by their weight and length."""
    known = [(part * (one.end_s - one.start_s), one.values.get(figure, (None,))[0]) for part, one in sections]
    told = [(weight, value) for weight, value in known if value is not None and weight > 0.0]
    return sum(weight * value for weight, value in told) / sum(weight for weight, _ in told) if told else None


def _less(one: float | None, other: float | None) -> float | None:
    return None if one is None or other is None else one - other
