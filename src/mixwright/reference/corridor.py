# SPDX-License-Identifier: Apache-2.0
"""Corridors: the interval that references span for one figure, wider where they are few."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from mixwright.errors import SettingError
from mixwright.model.profile import ATTRIBUTES, BANDS_HZ, FIGURES, THIRDS_HZ, Profile
from mixwright.model.record import Record

#: How far records of one kind differ, in dB. Bands: +-2 dB from 200 Hz to 4 kHz, +-5 dB below 80 Hz and above
#: 8 kHz: common practice, guided by Elowsson & Friberg 2017 (spread smallest from 200 Hz to 1 kHz, small to 4 kHz,
#: large at both ends).
_BAND_SPREAD_HZ = (80.0, 200.0, 4000.0, 8000.0)
_BAND_SPREAD_DB = (5.0, 2.0, 2.0, 5.0)
#: A corridor is meant to hold eight in ten records of the kind; the published spread counts as so many records more.
_TAIL = 0.9
_SPREAD_COUNTS = 4


class Interval(Record, frozen=True, kw_only=True):
    """From `low` to `high`, as `references` records span it; `estimated`: by what each of them is likely to have."""

    low: float
    high: float
    references: int
    estimated: bool = False

    def outside(self, value: float) -> float:
        """Return how far a value lies above (+) or below (-) the interval; 0 inside."""
        return value - self.high if value > self.high else min(0.0, value - self.low)


class Corridor(Record, frozen=True, kw_only=True):
    """What whole references span, for a plan; None where no reference was chosen for it."""

    low_end_db: Interval | None = None
    top_end_db: Interval | None = None
    side_to_mid_db: Interval | None = None
    plr_db: Interval | None = None
    lead_re_mix_lu: Interval | None = None
    third_octave_hz: tuple[float, ...] = ()
    third_octave_db: tuple[Interval | None, ...] = ()


def corridor(profiles: Sequence[Profile], use_for: Sequence[Sequence[str]] | None = None) -> Corridor:
    """Return what whole records span, each counted only for the attributes that it was chosen for.

    Parameters
    ----------
    profiles : sequence of Profile
        May be empty.
    use_for : sequence of sequences of str, optional
        One entry a record, of :data:`ATTRIBUTES`; empty means all.

    Raises
    ------
    SettingError
        on an unknown attribute
    """
    chosen = use_for if use_for is not None else [()] * len(profiles)
    check_attributes(chosen)

    def of(figure: str) -> list[tuple[float | None, ...]]:
        attribute = FIGURES[figure].attribute
        return [
            one.values.get(figure, (None,) * len(BANDS_HZ[FIGURES[figure].bands]))
            for one, words in zip(profiles, chosen, strict=True)
            if counts_for(one, words, attribute)
        ]

    def single(figure: str) -> Interval | None:
        return interval_of([values[0] for values in of(figure)], spread_of(figure))

    thirds = of("third_octaves_db")
    bands = [interval_of([one[i] for one in thirds], band_spread_db(hz)) for i, hz in enumerate(THIRDS_HZ)]
    known = [i for i, band in enumerate(bands) if band is not None]
    return Corridor(
        low_end_db=single("low_end_db"),
        top_end_db=single("top_end_db"),
        side_to_mid_db=single("side_to_mid_db"),
        plr_db=single("plr_db"),
        lead_re_mix_lu=lead_of(profiles, chosen),
        third_octave_hz=tuple(THIRDS_HZ[i] for i in known),
        third_octave_db=tuple(bands[i] for i in known),
    )


def lead_of(profiles: Sequence[Profile], use_for: Sequence[Sequence[str]], *, ticked: bool = True) -> Interval | None:
    """Return where the lead voices of records stand beside the whole, in LU.

    Those whose voice is there alone tell it. Where there is none, the records tell by what their mixes give away, each
    an interval that is likely to hold its lead: from the lowest of the low ends to the highest of the high ones.

    Parameters
    ----------
    profiles, use_for
        As for :func:`corridor`.
    ticked : bool
        Whether only records that were chosen for the lead by name are estimated.
    """
    both = list(zip(profiles, use_for, strict=True))
    # By a voice that is there alone its level is exact, whatever else a record is too short or too narrow for.
    exact = interval_of(
        [one.one("lead_re_mix_lu") for one, words in both if _chosen_for(words, "lead")], spread_of("lead_re_mix_lu")
    )
    if exact is not None:
        return exact
    known = [
        one.lead_between_lu
        for one, words in both
        if counts_for(one, words, "lead") and one.lead_between_lu is not None and ("lead" in words or not ticked)
    ]
    if not known:
        return None
    return Interval(
        low=min(low for low, _ in known), high=max(high for _, high in known), references=len(known), estimated=True
    )


def check_attributes(use_for: Sequence[Sequence[str]]) -> None:
    """Check what references were chosen for.

    Raises
    ------
    SettingError
        on an unknown attribute
    """
    for i, words in enumerate(use_for):
        for word in words:
            if word not in ATTRIBUTES:
                raise SettingError(
                    f"no attribute is called {word!r}",
                    where=f"references[{i}].use_for",
                    hint=f"known: {', '.join(ATTRIBUTES)}",
                )


def counts_for(one: Profile, use_for: Sequence[str], attribute: str) -> bool:
    """Tell whether a reference counts for an attribute: chosen for it, or for all, and fit to be used for it."""
    return _chosen_for(use_for, attribute) and all(attribute not in weak.attributes for weak in one.weak)


def _chosen_for(use_for: Sequence[str], attribute: str) -> bool:
    return not use_for or attribute in use_for


def spread_of(figure: str, band: int = 0) -> float:
    """Return how far one record may lie from another of its kind, either way, in the unit of the figure."""
    known = FIGURES[figure].spread
    return band_spread_db(THIRDS_HZ[band]) if known is None else known


def band_spread_db(hz: float) -> float:
    """Return how far records differ around a frequency, in dB either way."""
    return float(np.interp(math.log(hz), np.log(_BAND_SPREAD_HZ), _BAND_SPREAD_DB))


def interval_of(values: Sequence[float | None], spread: float) -> Interval | None:
    """Return what records span, wide enough for eight in ten further ones of their kind.

    One record says where, not how far others of its kind lie: with it alone the interval reaches `spread` either way.
    The more records there are, the more their own scatter counts: the interval is the central 80 % for a further one
    of a normal distribution whose variance has the published spread as that of `_SPREAD_COUNTS` records (Gelman et
    al., Bayesian Data Analysis, section 2.6 and 3.3: scaled inverse chi-square). Every record itself is inside.

    Parameters
    ----------
    values : sequence of float or None
        One a record; None counts for nothing. None of all gives None.
    spread : float
        Half the interval around one record.
    """
    from scipy.special import stdtrit

    known = np.array([value for value in values if value is not None])
    if not len(known):
        return None
    count = len(known)
    prior = spread / (float(stdtrit(_SPREAD_COUNTS, _TAIL)) * math.sqrt(2.0))
    freedom = _SPREAD_COUNTS + count - 1
    middle = float(known.mean())
    variance = (_SPREAD_COUNTS * prior**2 + float(np.sum((known - middle) ** 2))) / freedom
    half = float(stdtrit(freedom, _TAIL)) * math.sqrt(variance * (1.0 + 1.0 / count))
    return Interval(
        low=min(float(known.min()), middle - half), high=max(float(known.max()), middle + half), references=count
    )
