# SPDX-License-Identifier: Apache-2.0
"""Harmonics of basses and the level of the low end, as inserts."""

from __future__ import annotations

import math

import numpy as np

from mixwright.core.filters import design_band, design_high_pass, design_low_pass, memory_frames
from mixwright.engine.operation import Operation, Stage
from mixwright.engine.processors.colour import KEPT_DB, LOG2_E, curve_of
from mixwright.engine.processors.insert import made, on
from mixwright.errors import SettingError
from mixwright.model.colour_inserts import BassHarmonics, LowEnd
from mixwright.model.filters import EqBand, Pass
from mixwright.native import chain as native
from mixwright.native import colour, crossover
from mixwright.native.mathematics import exp2, ratio, sin

#: Harmonics are added up to so many times `high_hz`, falling by 12 dB/oct above.
_UPWARD = 8.0
_MEAN_MS = 100.0
_LOOK = 32
_OCTAVE_DB = 6.0205999132796239  # 20 log10(2)


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
    curve = curve_of(colour.SMOOTH, float(ratio(insert.drive_db)), insert.bias)
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
    """Return the range levelled below a Linkwitz-Riley crossover, then shelf and dip, without latency.

    Common practice, no source; shelf and bell are those of the Audio EQ Cookbook.
    """
    split = crossover.design(np.array([insert.hz]), 4, rate_hz)
    settings = [
        _part(1.0, _MEAN_MS, rate_hz),
        2.0 * insert.target_db / _OCTAVE_DB,
        2.0 * insert.least_db / _OCTAVE_DB,
        insert.up_db / _OCTAVE_DB,
        insert.down_db / _OCTAVE_DB,
        _part(_LOOK, insert.attack_ms, rate_hz),
        _part(_LOOK, insert.release_ms, rate_hz),
    ]
    levelled = Stage(
        kind=native.LOW_END,
        coefficients=np.array([*settings, *split]),
        states=(4 + crossover.states(2, 4, 1), 4 + crossover.states(2, 4, 2)),
        remembers_frames=round(rate_hz * (0.01 * _MEAN_MS + 0.01 * insert.release_ms + 10.0 / insert.hz)),
        gains=1,
        on=on(insert),
    )
    bands = [
        EqBand(kind="low_shelf", hz=insert.hz, gain_db=insert.shelf_db, q=1.2),
        EqBand(hz=2.0 * insert.hz, gain_db=-insert.dip_db, q=1.4),
    ]
    shape = [design_band(band, rate_hz) for band in bands if band.gain_db]
    if not shape:
        return (levelled,)
    sections = np.concatenate(shape)
    shaped = Stage(
        kind=native.SECTIONS,
        coefficients=sections.ravel(),
        states=(2 * len(sections), 4 * len(sections)),
        count=len(sections),
        remembers_frames=memory_frames(sections, rate_hz),
        on=on(insert),
    )
    return levelled, shaped


def _part(frames: float, time_ms: float, rate_hz: int) -> float:
    """Return the part of the way that an exponential of that time constant goes in so many frames."""
    return 1.0 - float(exp2(-1000.0 * LOG2_E * frames / (time_ms * rate_hz)))
