# SPDX-License-Identifier: Apache-2.0
"""Saturation as an insert."""

from __future__ import annotations

import math

import numpy as np

from mixwright.core.filters import design_high_pass, memory_frames
from mixwright.engine.operation import Operation, Stage
from mixwright.engine.processors.insert import made, movable, on
from mixwright.model.colour_inserts import Saturation
from mixwright.model.filters import Pass
from mixwright.native import chain as native
from mixwright.native import colour, oversample
from mixwright.native.mathematics import ratio, sin

_CURVES = {"smooth": colour.SMOOTH, "gentle": colour.GENTLE, "hard": colour.HARD}

#: A sine of this level is as loud after saturation as before.
KEPT_DB = -12.0
_CONSTANT = Pass(hz=10.0, slope_db_oct=6)


@made.register
def saturation(insert: Saturation, rate_hz: int) -> tuple[Operation, ...]:
    """Return the curve, oversampled, with what it needs to keep a sine of -12 dBFS as loud as it was.

    Curves without memory and what they make of sines: U. Zölzer (ed.), DAFX, 2nd ed., chapter 4 (from memory).
    """
    return (_saturation(insert, rate_hz, biased=insert.bias != 0.0),)


@movable.register
def movable_saturation(insert: Saturation, rate_hz: int) -> tuple[Operation, ...]:
    """Return the curve with the high-pass that a bias needs, also where there is none."""
    return (_saturation(insert, rate_hz, biased=True),)


def _saturation(insert: Saturation, rate_hz: int, *, biased: bool) -> Stage:
    kind = _CURVES[insert.curve]
    curve = np.array([float(ratio(insert.drive_db)), insert.bias])
    section = design_high_pass(_CONSTANT, rate_hz)
    factor = insert.oversampling
    late = oversample.LATENCY_FRAMES[factor]
    states = oversample.STATES + 2 + late
    return Stage(
        kind=native.SATURATION,
        coefficients=np.array([*curve, _level(kind, curve), *section.ravel()]),
        states=(states, 2 * states),
        count=factor.bit_length() - 1 + 4 * kind + 16 * biased,
        latency_frames=late,
        remembers_frames=2 * late + (memory_frames(section, rate_hz) if biased else 0),
        gains=(factor, 2 * factor),
        on=on(insert),
    )


def _level(kind: int, curve: np.ndarray) -> float:
    """Return what makes a sine of the kept level as loud after a curve as before, without the constant."""
    points = 256
    u = float(ratio(KEPT_DB)) * sin(2.0 * np.pi * (np.arange(points) + 0.5) / points)
    out = u * colour.curve_gains(kind, curve, u)
    constant = math.fsum(out) / points
    return math.sqrt(math.fsum(u * u) / math.fsum((out - constant) ** 2))
