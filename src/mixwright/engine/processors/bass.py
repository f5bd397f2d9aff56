# SPDX-License-Identifier: Apache-2.0
"""Harmonics of basses and the level of the low end, as inserts."""

from __future__ import annotations

import math

import numpy as np

from mixwright.core.filters import acts, design_band, design_high_pass, design_low_pass, memory_frames, moving_band_at
from mixwright.engine.operation import Operation, Stage
from mixwright.engine.processors.colour import KEPT_DB
from mixwright.engine.processors.dynamics import levelled
from mixwright.engine.processors.filters import in_series
from mixwright.engine.processors.insert import made, movable, on
from mixwright.errors import SettingError
from mixwright.model.colour_inserts import BassHarmonics, LowEnd
from mixwright.model.dynamics_inserts import LevelRange
from mixwright.model.filters import EqBand, Pass
from mixwright.native import chain as native
from mixwright.native import colour
from mixwright.native.mathematics import ratio, sin

#: Harmonics are added up to so many times `high_hz`, falling by 12 dB/oct above.
_UPWARD = 8.0
#: How long the low end is listened for.
_MEAN_MS = 100.0


@made.register
def bass_harmonics(insert: BassHarmonics, rate_hz: int) -> tuple[Operation, ...]:
    """Return the range, its curve and what is added, without latency.

    Two or three neighbouring harmonics give a pitch without its fundamental, for low tones best the third to fifth and
    above (R. J. Ritsma, 1967; R. Plomp, 1967; from memory). The form is common practice, no source.

    Raises
    ------
    SettingError
        where the range is empty
    """
    if insert.low_hz >= insert.high_hz:
        raise SettingError("low_hz has to lie below high_hz", hint="name the range whose harmonics are made")
    curve = np.array([float(ratio(insert.drive_db)), insert.bias])
    before = [
        design_high_pass(Pass(hz=insert.low_hz, slope_db_oct=12), rate_hz),
        design_low_pass(Pass(hz=insert.high_hz, slope_db_oct=36), rate_hz),
    ]
    after = [
        design_high_pass(Pass(hz=insert.high_hz, slope_db_oct=24), rate_hz),
        design_low_pass(Pass(hz=min(_UPWARD * insert.high_hz, 0.45 * rate_hz), slope_db_oct=12), rate_hz),
    ]
    counts = [sum(len(part) for part in parts) for parts in (before, after)]
    sections = np.concatenate([*before, *after])
    level = float(ratio(insert.level_db)) * _part_of_harmonics(curve)
    return (
        Stage(
            kind=native.BASS_HARMONICS,
            coefficients=np.array([*curve, level, *sections.ravel()]),
            states=(2 * len(sections), 4 * len(sections)),
            count=counts[0] + 16 * counts[1],
            remembers_frames=memory_frames(sections, rate_hz),
            gains=(1, 2),
            on=on(insert),
        ),
    )


def _part_of_harmonics(curve: np.ndarray) -> float:
    """Return a sine of the kept level over all the harmonics that a curve makes of it."""
    points = 256
    phase = sin(2.0 * np.pi * (np.arange(points) + 0.5) / points)
    u = float(ratio(KEPT_DB)) * phase
    out = u * colour.curve_gains(colour.SMOOTH, curve, u)
    constant, first = math.fsum(out) / points, 2.0 * math.fsum(out * phase) / points
    rest = out - constant - first * phase
    return math.sqrt(math.fsum(u * u) / math.fsum(rest * rest))


@made.register
def low_end(insert: LowEnd, rate_hz: int) -> tuple[Operation, ...]:
    """Return the lower of two ranges levelled (`dynamics.levelled`), then shelf and dip, without latency.

    Common practice, no source; shelf and bell are those of `core.filters`.
    """
    return _low_end(insert, [design_band(band, rate_hz) for band in _shape(insert) if acts(band)], rate_hz)


@movable.register
def movable_low_end(insert: LowEnd, rate_hz: int) -> tuple[Operation, ...]:
    """Return shelf and dip also at 0 dB, of two sections each."""
    return _low_end(insert, [moving_band_at(band, rate_hz) for band in _shape(insert)], rate_hz)


def _low_end(insert: LowEnd, shape: list[np.ndarray], rate_hz: int) -> tuple[Operation, ...]:
    low = LevelRange(
        target_db=insert.target_db,
        raise_db=insert.raise_db,
        lower_db=insert.lower_db,
        floor_db=insert.floor_db,
        attack_ms=insert.attack_ms,
        release_ms=insert.release_ms,
    )
    rest = LevelRange(target_db=0.0, raise_db=0.0, lower_db=0.0)
    low_levelled = levelled(insert, (insert.hz,), (low, rest), _MEAN_MS, rate_hz)
    return (low_levelled, in_series(insert, np.concatenate(shape), rate_hz)) if shape else (low_levelled,)


def _shape(insert: LowEnd) -> tuple[EqBand, EqBand]:
    shelf = EqBand(kind="low_shelf", hz=insert.hz, gain_db=insert.shelf_db, q=1.2)
    return shelf, EqBand(hz=2.0 * insert.hz, gain_db=-insert.dip_db, q=1.4)
