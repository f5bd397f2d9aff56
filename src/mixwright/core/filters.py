# SPDX-License-Identifier: Apache-2.0
"""Filters from settings as second-order sections, and how long they ring.

A section is a row b0 b1 b2 a1 a2 with a0 = 1. Bell, shelves, notch and band-pass follow the prototypes of the Audio EQ
Cookbook (R. Bristow-Johnson; W3C Working Group Note, 2021), high-pass and low-pass are Butterworth, tilt is
(A s + 1) / (s + A). All are as the analogue prototype is, up to two thirds of half the rate (csrc/design.c).
"""

from __future__ import annotations

import math

import numpy as np

from mixwright.errors import SettingError
from mixwright.model.filters import EqBand, Pass
from mixwright.model.strip import Strip
from mixwright.native import filters
from mixwright.native.mathematics import cos, exp2, log2, sin

_KINDS = {
    "bell": filters.BELL,
    "low_shelf": filters.LOW_SHELF,
    "high_shelf": filters.HIGH_SHELF,
    "notch": filters.NOTCH,
    "band_pass": filters.BAND_PASS,
    "tilt": filters.TILT,
}
#: Kinds of band that act whatever their gain says.
_WITHOUT_GAIN = ("notch", "band_pass")
#: How near to half the rate a frequency goes that moves.
_HIGHEST = 0.499
#: Most by which a bandwidth is stretched ahead of the bilinear transform.
_STRETCHED = 8.0


def design_band(band: EqBand, rate_hz: int) -> np.ndarray:
    """Return the sections ``(1 or 2, 5)`` of one equaliser band.

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


def band_beside(hz: float, q: float, rate_hz: int) -> np.ndarray:
    """Return a band-pass ``(1, 5)`` that is exactly 1 at `hz`, for what is added to what goes in.

    With a factor ``g - 1`` it makes a bell that is exactly g at `hz`: its phase is 0 there, which that of `design_band`
    is not. Audio EQ Cookbook, its width in octaves kept by the bilinear transform (the cookbook's alpha for BW).

    Raises
    ------
    SettingError
        where its frequency does not lie below half the rate
    """
    check_hz(hz, rate_hz)
    w = 2.0 * math.pi * hz / rate_hz
    half = 0.5 / q
    octaves = min(w / float(sin(w)), _STRETCHED) * float(log2(half + math.sqrt(half * half + 1.0)))
    alpha = 0.5 * float(sin(w)) * float(exp2(octaves) - exp2(-octaves))
    a0 = 1.0 + alpha
    return np.array([[alpha / a0, 0.0, -alpha / a0, -2.0 * float(cos(w)) / a0, (1.0 - alpha) / a0]])


def strip_sections(strip: Strip, rate_hz: int) -> np.ndarray:
    """Return the sections ``(n, 5)`` of a strip: high-pass, low-pass, bands; what acts by 0 dB is left out.

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
    parts += [design_band(band, rate_hz) for band in strip.eq if acts(band)]
    return np.concatenate(parts)


def acts(band: EqBand) -> bool:
    """Return whether a band does anything: one with a gain of 0 dB does not."""
    return band.gain_db != 0.0 or band.kind in _WITHOUT_GAIN


def moving_band(band: EqBand, rate_hz: int, hz: np.ndarray, gain_db: np.ndarray, q: np.ndarray) -> np.ndarray:
    """Return the sections ``(n, 2, 5)`` of a band whose settings move, at n of them.

    `hz`, `gain_db`, `q`: arrays ``(n,)``; frequencies stay below half the rate. Between two rows that follow each other
    any part of the way is a stable filter: stable sections of second order fill a triangle.
    """
    return filters.design_bands(_KINDS[band.kind], np.minimum(hz, _HIGHEST * rate_hz), rate_hz, gain_db, q)


def moving_band_at(band: EqBand, rate_hz: int) -> np.ndarray:
    """Return the sections ``(2, 5)`` of a band whose settings move, as it stands; raises like `design_band`."""
    check_hz(band.hz, rate_hz)
    sections: np.ndarray = moving_band(band, rate_hz, *(np.full(1, one) for one in (band.hz, band.gain_db, band.q)))[0]
    return sections


def moving_pass(cut: Pass, rate_hz: int, hz: np.ndarray, *, high: bool) -> np.ndarray:
    """Return the sections ``(n, sections, 5)`` of a high-pass or low-pass whose frequency moves, at n of them."""
    return filters.design_passes(high, np.minimum(hz, _HIGHEST * rate_hz), rate_hz, cut.slope_db_oct // 6)


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
