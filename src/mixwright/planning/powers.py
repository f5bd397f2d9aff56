# SPDX-License-Identifier: Apache-2.0
"""Gains in dB as factors, loudness in phon, sums of what is broadcast, and which moments answer for a layer."""

from __future__ import annotations

import bisect
import math

import numpy as np

from mixwright.hearing.bands import PLACES
from mixwright.hearing.tables import TONE_DB_SPL, TONE_SONE_ISO_532_3

#: Nepers of power in a dB.
PER_DB = math.log(10.0) / 10.0
_TONE_SONE, _TONE_DB = [float(one) for one in TONE_SONE_ISO_532_3], [float(one) for one in TONE_DB_SPL]
_PHON_PER_E = (np.diff(_TONE_DB) / np.diff(np.log(_TONE_SONE))).tolist()


def factor(gain_db: np.ndarray) -> np.ndarray:
    """Return a gain in dB as a factor of power."""
    return np.asarray(np.exp(np.asarray(gain_db, dtype=np.float64) * PER_DB))


def phon(sone: float) -> tuple[float, float]:
    """Return a loudness in phon, as `hearing.phon`, and its derivative by sone: that of the piece that it lies in."""
    if not _TONE_SONE[0] < sone < _TONE_SONE[-1]:
        return (_TONE_DB[0] if sone <= _TONE_SONE[0] else _TONE_DB[-1]), 0.0
    k = bisect.bisect_left(_TONE_SONE, sone)
    return _TONE_DB[k - 1] + math.log(sone / _TONE_SONE[k - 1]) * _PHON_PER_E[k - 1], _PHON_PER_E[k - 1] / sone


def in_places(gain: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Return a gain or a slope, broadcastable to (2, frames, PLACES), in some places."""
    return gain[..., places] if gain.ndim and gain.shape[-1] == PLACES and len(places) < PLACES else gain


def product(power: np.ndarray, by: np.ndarray) -> float:
    """Return the sum of products with what is broadcast: sums first."""
    missing = power.ndim - by.ndim
    over = tuple(k for k in range(power.ndim) if k < missing or by.shape[k - missing] == 1)
    summed = power.sum(axis=over, dtype=np.float64, keepdims=True) if over else power
    return float((summed * by).sum())


def thinned(seconds: np.ndarray, most: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the moments that answer for a row, evenly over its time, and which part of that each stands for."""
    own = np.flatnonzero(seconds > 0.0)
    if not len(own):
        return own, np.empty(0)
    if len(own) > most:
        ends = np.cumsum(seconds[own])
        at = np.searchsorted(ends, (np.arange(most) + 0.5) * ends[-1] / most)
        own, counts = np.unique(own[np.minimum(at, len(own) - 1)], return_counts=True)
        return own, counts / counts.sum()
    return own, seconds[own] / seconds[own].sum()
