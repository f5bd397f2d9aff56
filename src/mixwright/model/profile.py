# SPDX-License-Identifier: Apache-2.0
"""What a finished song is like: one table of the figures, and the records that hold them."""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

from mixwright.model.record import Record

#: What a reference may be chosen for; `docs/words.md` explains each.
Attribute = Literal["low_end", "top_end", "spectrum", "width", "dynamics", "density", "contrast", "lead"]
ATTRIBUTES: tuple[Attribute, ...] = (
    "low_end", "top_end", "spectrum", "width", "dynamics", "density", "contrast", "lead",
)  # fmt: skip

Bands = Literal["one", "thirds", "octaves", "bottom", "ends"]
Unit = Literal["db", "lu", "db_oct", "percent", "ratio"]

_OCTAVE = 10.0**0.3
_SIXTH = 10.0**0.05
#: Exact mid-band frequencies from 20 Hz to 20 kHz (IEC 61260-1:2014).
THIRDS_HZ: tuple[float, ...] = tuple(1000.0 * 10.0 ** (x / 10.0) for x in range(-17, 14))
#: The same for octaves from 31.5 Hz to 16 kHz.
OCTAVES_HZ: tuple[float, ...] = tuple(1000.0 * _OCTAVE**x for x in range(-5, 5))

#: The edges of the bands in which a figure is given, in Hz.
BANDS_HZ: dict[Bands, tuple[tuple[float, float], ...]] = {
    "one": ((0.0, 0.0),),
    "thirds": tuple((hz / _SIXTH, hz * _SIXTH) for hz in THIRDS_HZ),
    "octaves": tuple((hz * _OCTAVE**-0.5, hz * _OCTAVE**0.5) for hz in OCTAVES_HZ),
    "bottom": ((20.0, 40.0), (40.0, 80.0), (80.0, 160.0)),
    "ends": ((20.0, 160.0), (200.0, 4000.0), (5000.0, 16000.0)),
}


class Figure(NamedTuple):
    """One figure of a finished song.

    `attribute`: what a reference is chosen for, that it belongs to. `bands`: in which it is given. `spread`: how far
    one record may lie from another of its kind, either way, in its unit (None: by band, see `reference.corridor`).
    `in_sections`: whether it is told of sections, too. `follows_level`: whether a louder master changes it.
    `source`: where the spread comes from. `between`: what it can be at all.
    """

    attribute: Attribute
    unit: Unit
    bands: Bands = "one"
    spread: float | None = None
    in_sections: bool = True
    follows_level: bool = False
    source: str = "common practice, no source"
    between: tuple[float, float] = (-math.inf, math.inf)


_PART, _NOT_BELOW_0 = (0.0, 100.0), (0.0, math.inf)
_DE_MAN = "De Man et al. 2014"
_PESTANA = "Pestana et al. 2013, genres"

#: Every figure by its name; each is level-independent but the first, which is not compared.
FIGURES: dict[str, Figure] = {
    "integrated_lufs": Figure("dynamics", "lu", spread=2.0, follows_level=True),
    "low_end_db": Figure("low_end", "db", spread=3.8, source="Elowsson & Friberg 2017"),
    "low_octaves_db": Figure("low_end", "db", "bottom", spread=3.0),
    "top_end_db": Figure("top_end", "db", spread=4.4, source="Elowsson & Friberg 2017"),
    "slope_db_oct": Figure("spectrum", "db_oct", spread=0.8, source=_PESTANA),
    "third_octaves_db": Figure("spectrum", "db", "thirds", source="Elowsson & Friberg 2017"),
    "side_to_mid_db": Figure("width", "db", spread=2.1, source=_DE_MAN),
    "side_to_mid_octaves_db": Figure("width", "db", "octaves", spread=4.0),
    "correlation": Figure("width", "ratio", spread=0.12, between=(-1.0, 1.0)),
    "mono_loss_db": Figure("width", "db", spread=0.4, between=_NOT_BELOW_0),
    "plr_db": Figure("dynamics", "db", spread=2.0),
    "psr_db": Figure("dynamics", "db", spread=2.0),
    "loudness_range_lu": Figure("dynamics", "lu", spread=2.5, in_sections=False, between=_NOT_BELOW_0),
    "crest_octaves_db": Figure("dynamics", "db", "octaves", spread=2.0),
    "attack_db": Figure("dynamics", "db", "ends", spread=4.0),
    "percussion_percent": Figure("dynamics", "percent", spread=10.0, between=_PART),
    "filled_time_percent": Figure("density", "percent", spread=10.0, between=_PART),
    "filled_bands_percent": Figure("density", "percent", spread=8.0, between=_PART),
    "contrast_loudness_lu": Figure("contrast", "lu", spread=2.5, in_sections=False, between=_NOT_BELOW_0),
    "contrast_width_db": Figure("contrast", "db", spread=2.5, in_sections=False),
    "contrast_brightness_db": Figure("contrast", "db", spread=2.5, in_sections=False),
    "contrast_filled_percent": Figure("contrast", "percent", spread=10.0, in_sections=False),
    "lead_re_mix_lu": Figure("lead", "lu", spread=1.31, in_sections=False, source=_DE_MAN),
}

#: The values of a part of a song by the name of the figure, one for each of its bands; None where it is not defined.
Values = dict[str, tuple[float | None, ...]]


class SectionProfile(Record, frozen=True, kw_only=True):
    """A section of a finished song; `energy_lu`: its loudness minus that of the whole song."""

    name: str
    start_s: float
    end_s: float
    energy_lu: float | None
    values: Values


class Weakness(Record, frozen=True, kw_only=True):
    """What is wrong with a finished song, and the attributes that are left out because of it."""

    why: str
    attributes: tuple[Attribute, ...]


class Profile(Record, frozen=True, kw_only=True):
    """A finished song: the whole, its sections, and what of it cannot be used.

    `lead_between_lu`: between which values its lead voice is likely to lie beside the whole, by what the mix tells;
    where its voice is there alone, `values` have the figure itself.
    """

    duration_s: float
    rate_hz: int
    integrated_lufs: float | None
    true_peak_dbtp: float | None
    values: Values
    sections: tuple[SectionProfile, ...] = ()
    weak: tuple[Weakness, ...] = ()
    lead_between_lu: tuple[float, float] | None = None

    def one(self, figure: str) -> float | None:
        """Return a figure of the whole that has one value."""
        return self.values.get(figure, (None,))[0]
