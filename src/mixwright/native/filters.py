# SPDX-License-Identifier: Apache-2.0
"""Filter design of the C core; `core.filters` checks the settings."""

from __future__ import annotations

import ctypes
import functools
from collections.abc import Callable
from typing import Any

import numpy as np

from mixwright.native.library import function, pointer

#: In the order of csrc/design.c.
BELL, LOW_SHELF, HIGH_SHELF, NOTCH, BAND_PASS, TILT = range(6)


@functools.cache
def _design_band() -> Callable[..., Any]:
    return function("mw_design_band", [ctypes.c_int32, *[ctypes.c_double] * 4, ctypes.c_void_p], ctypes.c_int32)


@functools.cache
def _design_pass() -> Callable[..., Any]:
    arguments = [ctypes.c_int32, ctypes.c_double, ctypes.c_double, ctypes.c_int32, ctypes.c_void_p]
    return function("mw_design_pass", arguments, ctypes.c_int32)


@functools.cache
def _design_bands() -> Callable[..., Any]:
    settings = [ctypes.c_void_p, ctypes.c_double, ctypes.c_void_p, ctypes.c_void_p]
    return function("mw_design_bands", [ctypes.c_int32, *settings, ctypes.c_int64, ctypes.c_void_p])


@functools.cache
def _design_passes() -> Callable[..., Any]:
    settings = [ctypes.c_void_p, ctypes.c_double, ctypes.c_int32]
    return function("mw_design_passes", [ctypes.c_int32, *settings, ctypes.c_int64, ctypes.c_void_p])


def design_band(kind: int, hz: float, rate_hz: float, gain_db: float, q: float) -> np.ndarray:
    """Return the sections ``(1 or 2, 5)`` of a band, for ``0 < hz < rate_hz / 2`` and ``q > 0``."""
    sections = np.empty((2, 5))
    count = _design_band()(kind, hz, rate_hz, gain_db, q, pointer(sections))
    return sections[:count]


def design_pass(high: bool, hz: float, rate_hz: float, order: int) -> np.ndarray:
    """Return the sections ``(n, 5)`` of a Butterworth high-pass or low-pass, most damped first."""
    sections = np.empty(((order + 1) // 2, 5))
    _design_pass()(int(high), hz, rate_hz, order, pointer(sections))
    return sections


def design_bands(kind: int, hz: np.ndarray, rate_hz: float, gain_db: np.ndarray, q: np.ndarray) -> np.ndarray:
    """Return the sections ``(n, 2, 5)`` of a band at n settings; the second of them may do nothing."""
    given = [np.ascontiguousarray(one, dtype=np.float64) for one in (hz, gain_db, q)]
    sections = np.empty((len(given[0]), 2, 5))
    _design_bands()(
        kind, pointer(given[0]), rate_hz, pointer(given[1]), pointer(given[2]), len(sections), pointer(sections)
    )
    return sections


def design_passes(high: bool, hz: np.ndarray, rate_hz: float, order: int) -> np.ndarray:
    """Return the sections ``(n, sections, 5)`` of a high-pass or low-pass at n frequencies."""
    given = np.ascontiguousarray(hz, dtype=np.float64)
    sections = np.empty((len(given), (order + 1) // 2, 5))
    _design_passes()(int(high), pointer(given), rate_hz, order, len(given), pointer(sections))
    return sections
