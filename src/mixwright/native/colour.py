# SPDX-License-Identifier: Apache-2.0
"""Curves of the C core (csrc/colour.h)."""

from __future__ import annotations

import ctypes
import functools
from collections.abc import Callable
from typing import Any

import numpy as np

from mixwright.native.library import function, pointer

SMOOTH, GENTLE, HARD, CLIP = range(4)


@functools.cache
def _curve_gains() -> Callable[..., Any]:
    arguments = [ctypes.c_int32, ctypes.c_void_p, ctypes.c_void_p, ctypes.c_int32, ctypes.c_void_p]
    return function("mw_curve_gains", arguments)


def curve_gains(kind: int, curve: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Return what a curve (drive, bias; csrc/colour.h) gives for float64 values, divided by them, as float32."""
    given, gains = np.ascontiguousarray(values, dtype=np.float64), np.empty(len(values), dtype=np.float32)
    _curve_gains()(kind, pointer(np.ascontiguousarray(curve)), pointer(given), len(given), pointer(gains))
    return gains
