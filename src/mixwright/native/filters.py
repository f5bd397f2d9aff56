# SPDX-License-Identifier: Apache-2.0
"""Filter design of the C core; `core.filters` checks the settings."""

from __future__ import annotations

import ctypes
import functools
from collections.abc import Callable
from typing import Any

import numpy as np

from mixwright.native.library import function, pointer

BELL, LOW_SHELF, HIGH_SHELF = range(3)


@functools.cache
def _design_band() -> Callable[..., Any]:
    return function("mw_design_band", [ctypes.c_int32, *[ctypes.c_double] * 4, ctypes.c_void_p])


@functools.cache
def _design_pass() -> Callable[..., Any]:
    arguments = [ctypes.c_int32, ctypes.c_double, ctypes.c_double, ctypes.c_int32, ctypes.c_void_p]
    return function("mw_design_pass", arguments, ctypes.c_int32)


def design_band(kind: int, hz: float, rate_hz: float, gain_db: float, q: float) -> np.ndarray:
    """Return one section ``(1, 5)``: b0 b1 b2 a1 a2, for ``0 < hz < rate_hz / 2`` and ``q > 0``."""
    section = np.empty((1, 5))
    _design_band()(kind, hz, rate_hz, gain_db, q, pointer(section))
    return section


def design_pass(high: bool, hz: float, rate_hz: float, order: int) -> np.ndarray:
    """Return the sections ``(n, 5)`` of a Butterworth high-pass or low-pass, most damped first."""
    sections = np.empty(((order + 1) // 2, 5))
    _design_pass()(int(high), hz, rate_hz, order, pointer(sections))
    return sections
