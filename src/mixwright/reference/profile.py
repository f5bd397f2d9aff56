# SPDX-License-Identifier: Apache-2.0
"""What a finished record is like, in figures that its loudness does not change, and what several records span."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np
import numpy.typing as npt

from mixwright.core.spectra import PowerSpectrum, third_octave_power
from mixwright.errors import InputError, SettingError
from mixwright.jobs.progress import Cancel, blocks
from mixwright.meter.measure import Meter
from mixwright.model.levels import Levels
from mixwright.model.record import Record
from mixwright.units import db_from_power

Attribute = Literal["low_end", "top_end", "spectrum", "width", "dynamics", "lead"]
ATTRIBUTES: tuple[Attribute, ...] = ("low_end", "top_end", "spectrum", "width", "dynamics", "lead")

LOW_HZ = (20.0, 160.0)
MIDDLE_HZ = (200.0, 4000.0)
TOP_HZ = (5000.0, 16000.0)
#: Nominal limits stand for exact mid-bands (158.5 Hz for 160 Hz), so bands within 2 % of a limit are inside.
_NOMINAL = 1.02
#: What is left of equal channels after cancelling is rounding of float32, not signal.
_ROUNDING = 1e-12

#: How far records of one kind differ, in dB. Bands: +-2 dB from 200 Hz to 4 kHz, +-5 dB below 80 Hz and above
#: 8 kHz: common practice, guided by Elowsson & Friberg 2017 (spread smallest from 200 Hz to 1 kHz, small to 4 kHz,
#: large at both ends).
_BAND_SPREAD_HZ = (80.0, 200.0, 4000.0, 8000.0)
_BAND_SPREAD_DB = (5.0, 2.0, 2.0, 5.0)
#: Side to mid between engineers: 0.101 +- 0.046 as a power ratio, -12.6 to -8.3 dB (De Man et al. 2014).
WIDTH_SPREAD_DB = 2.1
#: Peak-to-loudness ratio: common practice, no source.
DYNAMICS_SPREAD_DB = 2.0
#: Loudness of the lead voice minus that of the mix: standard deviation between engineers (De Man et al. 2014).
LEAD_SPREAD_LU = 1.31


class RecordProfile(Record, frozen=True, kw_only=True):
    """A finished stereo record. None where a figure is not defined (silence, mono).

    `third_octave_db`: band level minus integrated loudness. `low_end_db`, `top_end_db`: energy from 20 to 160 Hz and
    from 5 to 16 kHz over that from 200 Hz to 4 kHz. `side_to_mid_db`: of the whole; `side_to_mid_by_band_db`: of each
    third-octave band. `plr_db`: true peak minus integrated loudness. `lead_re_mix_lu`: integrated loudness of its lead
    voice minus its own, where a print of the voice alone was given.
    """

    duration_s: float
    integrated_lufs: float | None
    low_end_db: float | None
    top_end_db: float | None
    side_to_mid_db: float | None
    plr_db: float | None
    lead_re_mix_lu: float | None = None
    third_octave_hz: tuple[float, ...] = ()
    third_octave_db: tuple[float | None, ...] = ()
    side_to_mid_by_band_db: tuple[float | None, ...] = ()


class Interval(Record, frozen=True, kw_only=True):
    """From `low` to `high`, as `references` records span it."""

    low: float
    high: float
    references: int

    def outside(self, value: float) -> float:
        """Return how far a value lies above (+) or below (-) the interval; 0 inside."""
        return value - self.high if value > self.high else min(0.0, value - self.low)


class Corridor(Record, frozen=True, kw_only=True):
    """What the references span, attribute by attribute; None where no reference was chosen for it."""

    low_end_db: Interval | None = None
    top_end_db: Interval | None = None
    side_to_mid_db: Interval | None = None
    plr_db: Interval | None = None
    lead_re_mix_lu: Interval | None = None
    third_octave_hz: tuple[float, ...] = ()
    third_octave_db: tuple[Interval | None, ...] = ()


def profile(
    audio: npt.NDArray[np.floating], rate_hz: int, *, block_frames: int = 1 << 16, cancel: Cancel | None = None
) -> RecordProfile:
    """Profile a finished record.

    Parameters
    ----------
    audio : array, (frames, 1 or 2)
        May be memory-mapped: read in blocks. One channel counts as two equal ones.
    rate_hz : int
        Frames per second.
    block_frames : int
        Frames read at once; the result does not depend on it.
    cancel : Cancel, optional
        The user's switch to stop.

    Raises
    ------
    InputError
        when it has more than two channels
    """
    if audio.ndim != 2 or audio.shape[1] not in (1, 2):
        raise InputError("a reference has one or two channels", hint="give a stereo version")
    stereo = Meter(rate_hz, 2)
    spectra = PowerSpectrum(rate_hz, 1), PowerSpectrum(rate_hz, 1)
    for piece in blocks(audio, block_frames, cancel):
        block = np.asarray(piece, dtype=np.float32)
        left, right = block[:, 0], block[:, -1]
        stereo.push(np.stack([left, right], axis=1))
        spectra[0].push((0.5 * (left + right))[None, :])
        spectra[1].push((0.5 * (left - right))[None, :])
    levels = stereo.result()
    middle, side = (third_octave_power(part.hz, part.result(), rate_hz) for part in spectra)
    by_band = tuple(
        db_from_power(float(s / m)) if m > 0.0 else None
        for s, m in zip(side, np.where(middle > _ROUNDING * (middle + side), middle, 0.0), strict=True)
    )
    return profile_of_levels(levels, by_band)


def profile_of_levels(levels: Levels, side_to_mid_by_band_db: tuple[float | None, ...] = ()) -> RecordProfile:
    """Profile a record from its measured levels."""
    loudness = levels.integrated_lufs
    hz = np.asarray(levels.third_octave_hz, dtype=np.float64)
    low, top = shares(hz, band_power(levels.third_octave_db))
    return RecordProfile(
        duration_s=levels.duration_s,
        integrated_lufs=loudness,
        low_end_db=low,
        top_end_db=top,
        side_to_mid_db=levels.side_to_mid_db,
        plr_db=levels.plr_db,
        third_octave_hz=levels.third_octave_hz,
        third_octave_db=tuple(
            None if loudness is None or band is None else band - loudness for band in levels.third_octave_db
        ),
        side_to_mid_by_band_db=side_to_mid_by_band_db,
    )


def band_power(levels_db: Sequence[float | None]) -> npt.NDArray[np.float64]:
    """Return band levels in dB as powers, 0 for None."""
    return np.array([0.0 if level is None else 10.0 ** (level / 10.0) for level in levels_db], dtype=np.float64)


def shares(hz: npt.NDArray[np.float64], power: npt.NDArray[np.float64]) -> tuple[float | None, float | None]:
    """Return the energy of the low end and of the top end over that of the middle, in dB; None where nothing is."""
    middle = float(power[in_range(hz, MIDDLE_HZ)].sum())
    found = []
    for limits in (LOW_HZ, TOP_HZ):
        energy = float(power[in_range(hz, limits)].sum())
        found.append(10.0 * math.log10(energy / middle) if energy > 0.0 and middle > 0.0 else None)
    return found[0], found[1]


def in_range(hz: npt.NDArray[np.float64], limits: tuple[float, float]) -> npt.NDArray[np.bool_]:
    """Return which mid-bands belong to a range given by nominal limits."""
    return np.asarray((hz >= limits[0] / _NOMINAL) & (hz <= limits[1] * _NOMINAL))


def corridor(profiles: Sequence[RecordProfile], use_for: Sequence[Sequence[str]] | None = None) -> Corridor:
    """Return what records span, each counted only for the attributes that it was chosen for.

    The interval reaches from the least to the most of the records, widened on both sides by the published spread
    over their number: one record says where, not how far others of its kind lie.

    Parameters
    ----------
    profiles : sequence of RecordProfile
        May be empty.
    use_for : sequence of sequences of str, optional
        One entry a record, of :data:`ATTRIBUTES`; empty means all.

    Raises
    ------
    SettingError
        on an unknown attribute
    """
    chosen = use_for if use_for is not None else [()] * len(profiles)
    for i, words in enumerate(chosen):
        for word in words:
            if word not in ATTRIBUTES:
                raise SettingError(
                    f"no attribute is called {word!r}",
                    where=f"references[{i}].use_for",
                    hint=f"known: {', '.join(ATTRIBUTES)}",
                )

    def of(attribute: Attribute) -> list[RecordProfile]:
        pairs = zip(profiles, chosen, strict=True)
        return [found for found, words in pairs if not words or attribute in words]

    hz, bands = _spectrum(of("spectrum"))
    return Corridor(
        low_end_db=_span([p.low_end_db for p in of("low_end")], band_spread_db(100.0)),
        top_end_db=_span([p.top_end_db for p in of("top_end")], band_spread_db(7000.0)),
        side_to_mid_db=_span([p.side_to_mid_db for p in of("width")], WIDTH_SPREAD_DB),
        plr_db=_span([p.plr_db for p in of("dynamics")], DYNAMICS_SPREAD_DB),
        lead_re_mix_lu=_span([p.lead_re_mix_lu for p in of("lead")], LEAD_SPREAD_LU),
        third_octave_hz=hz,
        third_octave_db=bands,
    )


def band_spread_db(hz: float) -> float:
    """Return how far records differ around a frequency, in dB either way."""
    return float(np.interp(math.log(hz), np.log(_BAND_SPREAD_HZ), _BAND_SPREAD_DB))


def _spectrum(profiles: Sequence[RecordProfile]) -> tuple[tuple[float, ...], tuple[Interval | None, ...]]:
    hz = tuple(sorted({band for p in profiles for band in p.third_octave_hz}))
    levels: Sequence[Mapping[float, float | None]] = [
        dict(zip(p.third_octave_hz, p.third_octave_db, strict=True)) for p in profiles
    ]
    return hz, tuple(_span([found.get(band) for found in levels], band_spread_db(band)) for band in hz)


def _span(values: Sequence[float | None], spread_db: float) -> Interval | None:
    known = [value for value in values if value is not None]
    if not known:
        return None
    widen = spread_db / len(known)
    return Interval(low=min(known) - widen, high=max(known) + widen, references=len(known))
