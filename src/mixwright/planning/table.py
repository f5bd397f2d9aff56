# SPDX-License-Identifier: Apache-2.0
"""Where engineers put layers in a mix: published levels, and how far engineers differ.

De Man et al. 2014: 8 songs, each mixed by 8 engineers; loudness of each processed source minus loudness of the
mix (BS.1770), second verse and chorus, so while the lead sings. Shi et al. 2025: tiers of layers by what they
are for, below the lead. What neither says is marked as common practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from mixwright.model.words import Place, Role

DE_MAN = "De Man et al. 2014"
SHI = "Shi et al. 2025"
PRACTICE = "common practice, no source"

Pool = Literal["lead", "bass", "drums", "other"]
Part = Literal["lead", "double", "bass", "kick", "snare", "rest", "other"]


@dataclass(frozen=True)
class Level:
    """Mean loudness re mix in LU, and the standard deviation between engineers on the same song."""

    mean_lu: float
    spread_lu: float


LEAD = Level(-2.65, 1.31)
BASS = Level(-9.50, 2.86)
KICK = Level(-13.15, 3.89)
SNARE = Level(-16.78, 4.57)
REST_OF_DRUMS = Level(-12.68, 2.80)
DRUM_PARTS: dict[Part, Level] = {"kick": KICK, "snare": SNARE, "rest": REST_OF_DRUMS}

#: Standard deviation of the drums as one group: that of the rest of the drums, since close microphones share bleed.
DRUMS_SPREAD_LU = 2.80
#: Spread of one of several layers inside the rest of the drums: between songs, De Man et al. 2014.
DRUM_LAYER_SPREAD_LU = 5.46
#: A lead that is not a voice: mean spread over sources (only the voice's own is narrower).
INSTRUMENT_LEAD_SPREAD_LU = 3.09
#: Mean spreads over sources: between engineers (same song), and between songs (same engineer).
SPREAD_LU: dict[Place, float] = {"lead": 3.09, "support": 3.09, "bed": 4.14}
#: Effects and returns come and go as the song wants; nothing is published: common practice, no source.
EFFECTS: frozenset[Role] = frozenset({"effects", "return"})
EFFECTS_SPREAD_LU = 6.0
#: Tiers below the lead: accompaniment about -3 dB, pads about -8.5 dB (Shi et al. 2025, Table 1).
TIER_LU: dict[Place, float] = {"lead": -3.0, "support": -3.0, "bed": -8.5}
#: BS.1770 reads percussive high material low (Pestana et al. 2013), so its figure in LU lies lower. By how much:
#: common practice, no source.
HIGH_PERCUSSION_LU = -6.0
HIGH_PERCUSSION: frozenset[Role] = frozenset({"hats", "cymbals", "percussion"})
#: Doubles below the lead they thicken: common practice, no source; the upper end is the tier of backing voices.
DOUBLE_BELOW_LEAD = Level(-6.5, 3.5)


def power(level_lu: float) -> float:
    """Return the share of the mix's power that a level re mix stands for."""
    return float(10.0 ** (level_lu / 10.0))


#: Share of each pool of the power of a whole mix; the other layers together hold what the table leaves:
#: 1 - lead - bass - drums = 0.22, -6.6 LU.
POOL_SHARE: dict[Pool, float] = {
    "lead": power(LEAD.mean_lu),
    "bass": power(BASS.mean_lu),
    "drums": sum(power(level.mean_lu) for level in DRUM_PARTS.values()),
}
POOL_SHARE["other"] = 1.0 - sum(POOL_SHARE.values())
