# SPDX-License-Identifier: Apache-2.0
"""Decibels, seconds and frames: the few conversions everything shares.

Gains used while rendering come from the C core instead (same bits on every platform); these are for
measuring and for settings.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt


def db_from_ratio(amplitude: float) -> float | None:
    """Return ``20 log10(amplitude)``, or None for zero, so that no infinity reaches a document."""
    return 20.0 * math.log10(amplitude) if amplitude > 0.0 else None


def db_from_power(power: float) -> float | None:
    """Return ``10 log10(power)``, or None for zero."""
    return 10.0 * math.log10(power) if power > 0.0 else None


def ratio_from_db(db: npt.ArrayLike) -> np.ndarray:
    """Return the amplitude ratio of a level difference in dB."""
    return np.power(10.0, np.asarray(db, dtype=np.float64) / 20.0)


def frames_from_s(seconds: float, rate_hz: int) -> int:
    """Return the nearest frame to a time from the start of the song."""
    return round(seconds * rate_hz)
