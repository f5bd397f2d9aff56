# SPDX-License-Identifier: Apache-2.0
"""How much a layer may lose by its place before it is told: provisional, see docs/tolerances.md.

The ear that measures gives a steady noise in a like noise this rise (cued, at 79 dB SPL): 4.0 dB where both are alike,
4.6 at 2 dB below, 5.6 at 5 below, 7.7 at 10 below, 10.3 at 15 below. Levels beside the mix are set in it by these.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from mixwright.model.words import Place


@dataclass(frozen=True)
class Tolerance:
    """So many dB, and where the number comes from."""

    db: float
    source: str


#: How far a layer may have to rise as a whole in a section, to be heard as loud as alone.
WHOLE: Mapping[Place, Tolerance] = {
    "lead": Tolerance(
        7.0,
        "a voice 5.3 LU under the rest was called too low unasked (Colonel & Reiss 2023), which is 5.7 dB by ear; and "
        "engineers differ by 1.3 LU (standard deviation, De Man et al. 2014)",
    ),
    "support": Tolerance(
        14.0,
        "a snare lies 16.8 LU below the mix on average, which is about 11 dB by ear, and engineers differ by about "
        "3 LU (De Man et al. 2014)",
    ),
}
#: How much of its rise as a whole may be due to what one layer takes in a band.
BAND: Mapping[Place, Tolerance] = {
    "lead": Tolerance(0.3, "ours; set by maskers planted in known bands (benchmarks/planted.py)"),
    "support": Tolerance(0.38, "ours; set by maskers planted in known bands (benchmarks/planted.py)"),
}
#: Where more than this part of a band is left, cued, what it costs counts less, by the square of what is lost: of a
#: band of which a quarter is lost, a quarter counts. Ours; judged on clean mixes of two songs, in which all bands that
#: a mixer would pass over kept 0.55 and more, and no other one more than 0.48.
LEFT = 0.5
#: How much of the lead's rise in the range of voices one return may cause.
RETURN = Tolerance(1.0, "ours; the level from which mixes were called too wet lies above it (De Man et al. 2017)")
#: How much brighter than the lead a backing voice may be, where it was asked to be darker.
BRIGHTER = Tolerance(1.0, "ours; about the least change of level in a broad band that is heard (from memory)")
#: By how much of its fader a layer may be buried deeper in a band by a change, where half of that had been left.
GROWTH: Mapping[Place, Tolerance] = {
    "lead": Tolerance(0.15, "ours; set by maskers planted in known bands (benchmarks/planted.py)"),
    "support": Tolerance(0.2, "ours; set by maskers planted in known bands (benchmarks/planted.py)"),
}
#: A finding that was left as it is comes back where it has grown by more.
STEP = Tolerance(2.0, "listeners repeat a match of loudness within 2 dB (Ma, Reiss & Black 2014)")

#: What a voice sounds in (common practice, no source), and below which layers pile up.
VOICE_HZ = (200.0, 5000.0)
LOW_END_HZ = 150.0
#: The quiet check and a loud one, in dB SPL (common practice, no source).
QUIET_DB_SPL, LOUD_DB_SPL = 65.0, 85.0
