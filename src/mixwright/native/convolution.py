# SPDX-License-Identifier: Apache-2.0
"""Long filters without feedback, and the Fourier transform that runs them (csrc/convolution.h, fft.h)."""

from __future__ import annotations

import ctypes
import functools
from collections.abc import Callable
from typing import Any

import numpy as np

from mixwright.native.chain import STRIDE
from mixwright.native.library import function, pointer

#: By how many frames what comes out is late, without what the filter itself delays.
LATENCY_FRAMES = STRIDE
#: Doubles of a spectrum.
_PART = 2 * STRIDE


@functools.cache
def _waves() -> Callable[..., Any]:
    return function("mw_fft_waves", [ctypes.c_int32, ctypes.c_void_p])


@functools.cache
def _transform(name: str) -> Callable[..., Any]:
    return function(name, [ctypes.c_void_p, ctypes.c_int32, ctypes.c_void_p])


@functools.cache
def _design_convolution() -> Callable[..., Any]:
    return function("mw_design_convolution", [ctypes.c_void_p, ctypes.c_int32, ctypes.c_void_p])


@functools.cache
def _design_linear() -> Callable[..., Any]:
    arguments = [ctypes.c_void_p, ctypes.c_int32, ctypes.c_int32, ctypes.c_void_p, ctypes.c_void_p]
    return function("mw_design_linear", arguments)


def transformed(x: np.ndarray, *, inverse: bool = False) -> np.ndarray:
    """Return the spectrum of n real values, n a power of two, at least 4, or the values again.

    A spectrum is X[0], X[n / 2], then real and imaginary part of X[1] to X[n / 2 - 1].
    """
    out = np.array(x, dtype=np.float64)
    waves = np.empty(len(out))
    _waves()(len(out), pointer(waves))
    _transform("mw_fft_inverse" if inverse else "mw_fft")(pointer(out), len(out), pointer(waves))
    return out


def linear_taps(sections: np.ndarray, half: int) -> np.ndarray:
    """Return ``2 * half`` taps, symmetric around number `half`, with the magnitude of sections ``(n, 5)``.

    `half` is a power of two.
    """
    given = np.ascontiguousarray(sections)
    room, taps = np.empty(16 * half), np.empty(2 * half)
    _design_linear()(pointer(given), len(given), half, pointer(room), pointer(taps))
    return taps


def coefficients(taps: np.ndarray) -> np.ndarray:
    """Return what the chain's convolution needs for taps; their number is a multiple of STRIDE."""
    given, count = np.ascontiguousarray(taps), len(taps) // STRIDE
    found = np.empty(_PART * (1 + count))
    _design_convolution()(pointer(given), count, pointer(found))
    return found


def states(count: int) -> int:
    """Return how many numbers of state a channel needs for ``count * STRIDE`` taps."""
    return _PART + STRIDE + count * _PART
