# SPDX-License-Identifier: Apache-2.0
"""Filters from settings as second-order sections, and how long they ring.

A section is a row b0 b1 b2 a1 a2 with a0 = 1. Bell and shelves follow the Audio EQ Cookbook (R. Bristow-Johnson;
W3C Working Group Note, 2021), high-pass and low-pass are Butterworth through the bilinear transform.
"""

from __future__ import annotations

import math

import numpy as np

from mixwright.errors import SettingError
from mixwright.model.filters import EqBand, Pass
from mixwright.model.strip import Strip
from mixwright.native import filters

_KINDS = {"bell": filters.BELL, "low_shelf": filters.LOW_SHELF, "high_shelf": filters.HIGH_SHELF}


def design_band(band: EqBand, rate_hz: int) -> np.ndarray:
    """Return the section ``(1, 5)`` of one equaliser band.

    Raises
    ------
    SettingError
        where its frequency does not lie below half the rate
    """
    check_hz(band.hz, rate_hz)
    return filters.design_band(_KINDS[band.kind], band.hz, rate_hz, band.gain_db, band.q)


def design_high_pass(cut: Pass, rate_hz: int) -> np.ndarray:
    """Return the sections ``(n, 5)`` of a high-pass; raises SettingError like `design_band`."""
    check_hz(cut.hz, rate_hz)
    return filters.design_pass(True, cut.hz, rate_hz, cut.slope_db_oct // 6)


def design_low_pass(cut: Pass, rate_hz: int) -> np.ndarray:
    """Return the sections ``(n, 5)`` of a low-pass; raises SettingError like `design_band`."""
    check_hz(cut.hz, rate_hz)
    return filters.design_pass(False, cut.hz, rate_hz, cut.slope_db_oct // 6)


def strip_sections(strip: Strip, rate_hz: int) -> np.ndarray:
    """Return the sections ``(n, 5)`` of a strip: high-pass, low-pass, bands; bands at 0 dB are left out.

    Raises
    ------
    SettingError
        where a frequency does not lie below half the rate
    """
    parts = [np.empty((0, 5))]
    if strip.high_pass is not None:
        parts.append(design_high_pass(strip.high_pass, rate_hz))
    if strip.low_pass is not None:
        parts.append(design_low_pass(strip.low_pass, rate_hz))
    parts += [design_band(band, rate_hz) for band in strip.eq if band.gain_db != 0.0]
    return np.concatenate(parts)


def memory_frames(sections: np.ndarray, rate_hz: int) -> int:
    """Return how long the sections ring: until the slowest pole has fallen by 200 dB, at most 5 s.

    Rounded up to a multiple of 1024 frames, so that platforms agree.
    """
    slowest = 0.0
    for a1, a2 in sections[:, 3:]:
        root = a1 * a1 - 4.0 * a2
        slowest = max(slowest, math.sqrt(a2) if root < 0.0 else (abs(a1) + math.sqrt(root)) / 2.0)
    if slowest == 0.0:
        return 2 if len(sections) else 0
    frames = math.log(1e-10) / math.log(slowest) if slowest < 1.0 else math.inf
    return math.ceil(min(frames, 5.0 * rate_hz) / 1024) * 1024


def check_hz(hz: float, rate_hz: int) -> None:
    """Raise SettingError where a frequency does not lie below half the rate."""
    if not 0.0 < hz < rate_hz / 2:
        raise SettingError(
            f"a filter at {hz:g} Hz does not fit a song of {rate_hz} Hz",
            hint=f"set it below {rate_hz / 2:g} Hz, or take it out",
        )
