# SPDX-License-Identifier: Apache-2.0
"""How far proposed moves go, what speaks for each kind of them, and what they are worth: one table, with sources.

They bind plans, never the engineer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Limit:
    """A number, and where it comes from."""

    value: float
    source: str


#: Filters on one layer, and how narrow they are.
CUTS_A_LAYER = Limit(3, "at most 3 cuts a track (Hafezi & Reiss 2015)")
CUT_Q = Limit(2.0, "Q = 2 of static cuts (Hafezi & Reiss 2015)")
CUT_DB = Limit(
    4.0, f"{_PRACTICE}; of dynamic cuts the version held at 6 dB kept layers apart best (Hafezi & Reiss 2015)"
)
#: A cut in a band in which one layer alone covers another far too much, told as strong.
STRONG_CUT_DB = Limit(12.0, "ours: a band that is far too loud in one layer is a fault rather than a taste")
#: A boost of this is told as strong, and no boost goes further.
STRONG_BOOST_DB = Limit(6.0, _PRACTICE)
TILT_DB = Limit(4.0, _PRACTICE)
#: A tilt of a layer that covers another far too much, told as strong.
STRONG_TILT_DB = Limit(9.0, "ours: a layer that is far too dark or bright is a fault rather than a taste")
#: Where kick and bass are tilted away from each other.
TILT_LOW_HZ = Limit(60.0, _PRACTICE)
TILT_HIGH_HZ = Limit(120.0, _PRACTICE)
#: A keyed dip: how deep, from which Q to which, and how far below the key what stands in its way is asked to lie.
DIP_DB = Limit(6.0, "at most 6 dB kept layers apart, without a limit it did not (Hafezi & Reiss 2015), of unkeyed cuts")
WIDEST_Q = Limit(0.7, _PRACTICE)
DIP_Q = Limit(1.5, _PRACTICE)
MARGIN_DB = Limit(18.0, "ours: beyond, a masker hardly costs anything (as heard by our model)")
DUCK_DB = Limit(6.0, _PRACTICE)
#: A level that a plan moves, and one of a layer that is far too loud or too soft, told as strong.
LEVEL_DB = Limit(6.0, f"{_PRACTICE}; two standard deviations between engineers (3 LU, De Man et al. 2014)")
STRONG_LEVEL_DB = Limit(18.0, f"{_PRACTICE}: beyond, something else is amiss")
SEND_DB = Limit(
    6.0, "from -9 LU, called too wet, to -14 LU, the middle between too wet and too dry (De Man et al. 2017)"
)
#: The least of its width that a wide layer keeps.
WIDTH = Limit(0.3, _PRACTICE)
RATIO = Limit(2.3, "ratios that listeners set: 1.0 to 2.3 (Ma et al. 2015)")
#: How far over the mean level of a group it is compressed from: its peaks reach about 9 dB over it (docs/plan.md).
OVER_LEVEL_DB = Limit(6.0, f"{_PRACTICE}: 1 to 2 dB are taken off on average")
#: By how much the essential part of a lead or support may lose beside the whole of it by static shapes.
ESSENTIAL_DB = Limit(0.5, "ours; the idea: cut only what is not essential to the masker (Hafezi & Reiss 2015)")
#: Passes: how far into a layer a corner may go, where it is no matter of its essentials.
LOWEST_PASS_HZ = Limit(20.0, "where filters begin")
HIGHEST_LOW_HZ = Limit(400.0, _PRACTICE)
LOWEST_HIGH_HZ = Limit(2000.0, _PRACTICE)
HIGHEST_PASS_HZ = Limit(20000.0, "where hearing ends")

#: Towards the records a plan goes in small steps alone.
RECORDS_DB = Limit(3.0, "ours: a reference is a direction and not a template (Vanka et al. 2023)")
RECORDS_WIDTH = Limit(1.5, _PRACTICE)
RECORDS_NARROW = Limit(0.6, _PRACTICE)
RECORDS_PAN = Limit(0.5, _PRACTICE)
#: The part of its price of what goes towards the records.
RECORDS_PART = Limit(0.5, "ours: it is what the engineer ticked them for")

#: What each kind of move is priced at, ours: per dB of level, of a send, dB x octave of a filter, dB x octave x part of
#: the time of what is keyed, octave of a pass, all of the way to a side, all of the width, 1 of a ratio. Of moves that
#: do as much the one that is better founded, or takes less of what a layer is, is cheaper.
PRICES: Mapping[str, float] = {
    "level": 0.06,
    "pan": 0.05,
    "band_limit": 0.06,
    "shape": 0.14,
    "tilt": 0.04,
    "dip": 0.06,
    "duck": 0.06,
    "width": 1.0,
    "send": 0.03,
    "even_out": 0.2,
    "colour": 0.2,
}

#: The part of its price of what leads back to how a layer stands in the other sections.
ELSEWHERE_PART = Limit(0.25, "ours: it is heard as the layer that it is elsewhere")

#: Sizes in dB are priced as ``size + size^2 / far``: one that goes so far costs twice what it would. Ours.
FAR_DB: Mapping[str, float] = {
    "level": 18.0,
    "shape": 9.0,
    "tilt": 6.0,
    "dip": 9.0,
    "duck": 9.0,
    "send": 12.0,
    "even_out": 12.0,
    "colour": 12.0,
}

#: What speaks for each kind of candidate (`candidate.Candidate.why`), in the order in which they are offered.
EVIDENCE: Mapping[str, str] = {
    "level": "Level is what listeners remark on most (35 % of remarks, De Man & Reiss 2015).",
    "pan": "Placing two layers apart was the best-liked remedy where one masks the other (Wakefield & Dewey 2015).",
    "narrow": "A wide layer takes from everybody on both sides; narrower mixes are liked as well (De Man et al. 2015).",
    "band_limit": "Layers limited to the part that matters: common practice; to do so blindly to all of them is not "
    "supported (Pestana & Reiss 2014).",
    "complement": "Mirrored shapes of two layers: a known remedy, less liked than placing (Wakefield & Dewey 2015).",
    "elsewhere": "In this section it stands higher there than in the others: common practice, no source.",
    "cut": "Cuts outside of what is essential to the masker were preferred to none (Hafezi & Reiss 2015).",
    "tilt": "Kick and bass tilted apart: common practice, no source.",
    "dip": "Dips in instruments while the lead sounds: common practice; no listening test of music is known.",
    "duck": "Cymbals and effects lowered under kick and snare: common practice, no source.",
    "send": "Mixes with reverb at -9 LU and above were called too wet, and err dry (De Man et al. 2017).",
    "group": "Groups that are shaped and compressed as one go with better ratings (Ronan et al. 2015).",
    "width": "Wider was not better: side over middle goes with lower ratings (r = -0.32, De Man et al. 2015).",
    "brightness": "The artist's brief asks for it.",
    "records": "A reference is a direction for what it was chosen for, not a template (Vanka et al. 2023).",
}
