# SPDX-License-Identifier: Apache-2.0
"""Sections beside sections: which part of a reference is like a section of the mix, by energy and density."""

from __future__ import annotations

from collections.abc import Mapping

from mixwright.model.profile import Profile, SectionProfile

#: Differences that count as much as each other: common practice, no source.
_ENERGY_LU, _FILLED_PERCENT = 2.0, 10.0
#: From here on a part is not like it: 6 LU, or 30 % of density, or something of both.
_UNLIKE = 3.0
#: Parts shorter than this are transitions.
_SHORTEST_S = 4.0


def matched(mix: Profile, reference: Profile, by_hand: Mapping[str, str]) -> dict[str, SectionProfile]:
    """Return the section of a reference that stands beside each section of the mix; none where none is like it.

    Parameters
    ----------
    mix, reference : Profile
    by_hand : mapping of section to section of the reference
        Said by the engineer; a name that the reference has not is passed over.
    """
    named = {one.name: one for one in reference.sections}
    known = [one for one in reference.sections if one.energy_lu is not None]
    long = [one for one in known if one.end_s - one.start_s >= _SHORTEST_S] or known
    found = {}
    for section in mix.sections:
        chosen = named.get(by_hand.get(section.name, ""))
        if chosen is None and section.energy_lu is not None and long:
            likest = min(long, key=lambda one: _distance(section, one))
            chosen = likest if _distance(section, likest) <= _UNLIKE else None
        if chosen is not None:
            found[section.name] = chosen
    return found


def _distance(one: SectionProfile, other: SectionProfile) -> float:
    energy = abs((one.energy_lu or 0.0) - (other.energy_lu or 0.0)) / _ENERGY_LU
    filled = [part.values.get("filled_time_percent", (None,))[0] for part in (one, other)]
    if filled[0] is None or filled[1] is None:
        return energy
    return energy + abs(filled[0] - filled[1]) / _FILLED_PERCENT
