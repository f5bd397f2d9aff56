# SPDX-License-Identifier: Apache-2.0
"""Crossovers of the C core (csrc/crossover.h); `core.crossover` checks the settings."""

from __future__ import annotations

import ctypes
import functools
from collections.abc import Callable
from typing import Any

import numpy as np

from mixwright.native.library import function, pointer


@functools.cache
def _design() -> Callable[..., Any]:
    arguments = [ctypes.c_void_p, ctypes.c_int32, ctypes.c_int32, ctypes.c_double, ctypes.c_void_p]
    return function("mw_design_crossover", arguments)


@functools.cache
def _split() -> Callable[..., Any]:
    counts = [ctypes.c_int32, ctypes.c_int32]
    arguments = [ctypes.c_void_p, *counts, ctypes.c_void_p, ctypes.c_int32, ctypes.c_void_p, *counts, ctypes.c_void_p]
    return function("mw_crossover", arguments)


def sections(order: int) -> int:
    """Return how many sections the Butterworth filter of a split has."""
    return (order // 2 + 1) // 2


def states(ranges: int, order: int, channels: int) -> int:
    """Return how many numbers of state a crossover needs."""
    splits = ranges - 1
    return 2 * channels * sections(order) * (3 * splits + splits * (splits - 1) // 2)


def design(hz: np.ndarray, order: int, rate_hz: float) -> np.ndarray:
    """Return the coefficients of a crossover with 1 to 4 splits at `hz`, ascending; `order` 2, 4 or 8."""
    given = np.ascontiguousarray(hz, dtype=np.float64)
    coefficients = np.empty(len(given) * 10 * sections(order))
    _design()(pointer(given), len(given) + 1, order, rate_hz, pointer(coefficients))
    return coefficients


def split(coefficients: np.ndarray, order: int, state: np.ndarray, audio: np.ndarray) -> np.ndarray:
    """Return the ranges ``(ranges, frames, channels)`` of float64 audio ``(frames, channels)``, lowest first."""
    ranges = 1 + len(coefficients) // (10 * sections(order))
    given = np.ascontiguousarray(audio)
    out = np.empty((ranges, *given.shape))
    places = (ctypes.c_void_p * ranges)(*(part.ctypes.data for part in out))
    counts = given.shape[1], pointer(given), len(given), 0
    _split()(pointer(coefficients), ranges, order, pointer(state), *counts, places)
    return out
