# SPDX-License-Identifier: Apache-2.0
"""What filters do at the places of the ear, in dB, with derivatives: analogue prototypes, as the engine's filters."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

#: dB of a change of a power by its own part: 10 / ln 10.
DB = 10.0 / math.log(10.0)
#: No pass takes more than this off, in dB: beyond it nothing is heard of what is left.
_MOST_DB = 80.0


@dataclass(frozen=True, eq=False)
class Gain:
    """A gain in dB and its derivative by each setting that it depends on, all broadcastable to (2, frames, PLACES)."""

    db: np.ndarray
    slopes: Mapping[str, np.ndarray]


def bell(hz: float, gain_db: float, q: float, at_hz: npt.ArrayLike) -> Gain:
    """Return a bell: `gain_db` at `hz`; `q` as of `model.filters.EqBand`.

    Audio EQ Cookbook (R. Bristow-Johnson; W3C Working Group Note, 2021): ``(s^2 + s A/Q + 1) / (s^2 + s/(A Q) + 1)``,
    A = 10^(gain / 40).
    """
    x = np.asarray(at_hz, dtype=np.float64) / hz
    a2 = 10.0 ** (gain_db / 20.0)
    apart, wide = (1.0 - x * x) ** 2, (x / q) ** 2
    above, below = apart + a2 * wide, apart + wide / a2
    by_gain = (a2 * wide / above + wide / a2 / below) / 2.0
    by_q = -2.0 * DB / q * (a2 * wide / above - wide / a2 / below)
    turn = -4.0 * x * x * (1.0 - x * x)
    by_hz = -DB / hz * ((turn + 2.0 * a2 * wide) / above - (turn + 2.0 * wide / a2) / below)
    return Gain(DB * np.log(above / below), {"gain_db": by_gain, "q": by_q, "hz": by_hz})


def tilt(hz: float, gain_db: float, at_hz: npt.ArrayLike) -> Gain:
    """Return a tilt: 0 dB at `hz`, `gain_db` far above it, as much less far below: ``(A s + 1) / (s + A)``."""
    x2 = (np.asarray(at_hz, dtype=np.float64) / hz) ** 2
    a2 = 10.0 ** (gain_db / 10.0)
    above, below = a2 * x2 + 1.0, x2 + a2
    by_hz = -2.0 * DB / hz * (a2 * x2 / above - x2 / below)
    return Gain(DB * np.log(above / below), {"gain_db": a2 * x2 / above - a2 / below, "hz": by_hz})


def band_limit(at_hz: npt.ArrayLike, slope_db_oct: float, low_hz: float | None, high_hz: float | None) -> Gain:
    """Return what is left between two passes: Butterworth, -3 dB at `low_hz` and `high_hz`; None leaves a side open.

    Parameters
    ----------
    at_hz : array_like (n,)
    slope_db_oct : float
        of both: a multiple of 6
    low_hz, high_hz : float or None
        what is kept
    """
    at = np.asarray(at_hz, dtype=np.float64)
    twice_order = 2.0 * slope_db_oct / 6.0
    db = np.zeros(at.shape)
    slopes = {}
    for name, corner, sign in (("low_hz", low_hz, 1.0), ("high_hz", high_hz, -1.0)):
        if corner is None:
            continue
        # Beyond _MOST_DB all stays as it is.
        beyond = np.minimum(sign * twice_order * np.log(corner / at), _MOST_DB / DB)
        over = np.exp(beyond)
        db = db - DB * np.log1p(over)
        slopes[name] = np.where(beyond < _MOST_DB / DB, -sign * DB * twice_order / corner * over / (1.0 + over), 0.0)
    return Gain(db, slopes)


def lowered(hz: float, q: float, depth_db: np.ndarray, at_hz: npt.ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Return what a dip leaves at places, and its derivative by the depth, ``(moments, n)`` of depths ``(moments,)``.

    `engine.processors.keyed`: ``1 + (g - 1) B`` with a band-pass B of this `q`; a bell whose Q is that divided by the
    root of g.
    """
    x = np.asarray(at_hz, dtype=np.float64) / hz
    apart, wide = (1.0 - x * x) ** 2, (x / q) ** 2
    left = 10.0 ** (-depth_db[:, None] / 10.0) * wide
    return DB * np.log((apart + left) / (apart + wide)), -left / (apart + left)


def lowered_beyond(
    low_hz: float, high_hz: float, depth_db: np.ndarray, at_hz: npt.ArrayLike
) -> tuple[np.ndarray, np.ndarray]:
    """Return what a duck leaves between two edges, and its derivative by the depth; 0: open on that side.

    With both edges as `lowered`, around their middle; with one, beyond a slope of 6 dB an octave; without any, all.
    """
    at = np.asarray(at_hz, dtype=np.float64)
    power = 10.0 ** (-depth_db[:, None] / 10.0)
    if low_hz and high_hz:
        middle = math.sqrt(low_hz * high_hz)
        return lowered(middle, middle / (high_hz - low_hz), depth_db, at)
    if low_hz:
        inside, outside = (at / low_hz) ** 2, 1.0
    elif high_hz:
        inside, outside = np.ones(at.shape), (at / high_hz) ** 2  # type: ignore[assignment]
    else:
        inside, outside = np.ones(at.shape), 0.0
    left = power * inside
    return DB * np.log((left + outside) / (inside + outside)), -left / (left + outside)
