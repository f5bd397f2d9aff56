# SPDX-License-Identifier: Apache-2.0
"""Decibels, seconds, frames and bands: the few conversions everything shares.

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


def band_words(low_hz: float, high_hz: float, joint: str = "-") -> str:
    """Return a band by its edges, to two figures: ``250-310 Hz``, ``900 Hz-2.7 kHz``, ``1.2-1.5 kHz``."""
    (low, low_unit), (high, high_unit) = (
        (f"{hz / 1000.0:g}", "kHz") if hz >= 1000.0 else (f"{hz:g}", "Hz")
        for hz in (float(f"{edge:.2g}") for edge in (low_hz, high_hz))
    )
    return f"{low}{joint}{high} {high_unit}" if low_unit == high_unit else f"{low} {low_unit}{joint}{high} {high_unit}"
