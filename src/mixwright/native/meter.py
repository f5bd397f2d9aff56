# SPDX-License-Identifier: Apache-2.0
"""Metering kernels of the C core; callers check shapes."""

from __future__ import annotations

import ctypes
import functools
from collections.abc import Callable
from typing import Any

import numpy as np

from mixwright.native.library import function, pointer

#: Frames around every segment that :func:`true_peak` reads.
FRAMES_BEFORE = 40
FRAMES_AFTER = 128

_POINTER = ctypes.c_void_p
_INT32 = ctypes.c_int32
_INT64 = ctypes.c_int64
_TRUE_PEAK = [_POINTER, _INT64, _INT32, _POINTER, _INT32, _POINTER, _POINTER, _POINTER, _POINTER]


@functools.cache
def _kernel(name: str) -> Callable[..., Any]:
    arguments, result = {
        "mw_planar_f32": ([_POINTER, _INT64, _INT32, _POINTER, _INT64], _INT64),
        "mw_planar_f64": ([_POINTER, _INT64, _INT32, _POINTER, _INT64], _INT64),
        "mw_sub_blocks": ([_POINTER, _INT64, _INT32, _POINTER, _INT32, _POINTER, _POINTER, _POINTER], None),
        "mw_true_peak": (_TRUE_PEAK, None),
        "mw_true_peak_16": (_TRUE_PEAK, None),
    }[name]
    return function(name, arguments, result)


def _address(planar: np.ndarray, first: int) -> ctypes.c_void_p:
    return ctypes.c_void_p(planar.ctypes.data + planar.itemsize * first)


def to_planar(block: np.ndarray, planar: np.ndarray, first: int) -> int:
    """Write an interleaved block into `planar` from column `first` on.

    Parameters
    ----------
    block : (frames, channels) array, C-contiguous, float32 or float64
    planar : (channels, columns) float32 array, C-contiguous

    Returns
    -------
    int
        first frame of the block with a sample that is not finite, or beyond 1e30; -1 when there is none
    """
    name = "mw_planar_f32" if block.dtype == np.float32 else "mw_planar_f64"
    frames, channels = block.shape
    return int(_kernel(name)(pointer(block), frames, channels, _address(planar, first), planar.shape[1]))


def sub_blocks(
    planar: np.ndarray, first: int, edges: np.ndarray, coefficients: np.ndarray, state: np.ndarray
) -> np.ndarray:
    """Return the sums of every sub-block, and advance the filter state.

    Parameters
    ----------
    planar : (channels, columns) float32 array
    first : int
        Column that the edges count from.
    edges : (blocks + 1,) int32 array, rising
    coefficients : (7,) float64 array
        Shelf b0 b1 b2 a1 a2, high-pass a1 a2.
    state : (channels, 4) float64 array

    Returns
    -------
    (blocks, 3 * channels + 1) float64 array
        K-weighted square sums, plain sums, plain square sums of each channel; sum of the products of the first two.
    """
    channels = len(planar)
    out = np.empty((len(edges) - 1, 3 * channels + 1))
    _kernel("mw_sub_blocks")(
        _address(planar, first),
        planar.shape[1],
        channels,
        pointer(edges),
        len(out),
        pointer(coefficients),
        pointer(state),
        pointer(out),
    )
    return out


def true_peak(
    planar: np.ndarray,
    first: int,
    edges: np.ndarray,
    taps: np.ndarray,
    bounds: np.ndarray,
    work: np.ndarray,
    *,
    at_least: float = 0.0,
) -> np.ndarray:
    """Return the true peak (amplitude) of every segment, over all channels, or `at_least` where that is larger.

    Parameters
    ----------
    planar : (channels, columns) float32 array
        Readable from `FRAMES_BEFORE` before to `FRAMES_AFTER` after every segment.
    first : int
        Column that the edges count from.
    edges : (segments + 1,) int32 array, rising
    taps : (8, 64) or (16, 64) float32 array
    bounds : (5,) float32 array
        See :func:`mixwright.meter.true_peak.bounds`.
    work : (3,) int64 array
        Raised by the number of blocks met, half computed, computed whole.

    Returns
    -------
    (segments,) float32 array
    """
    peaks = np.full(len(edges) - 1, at_least, dtype=np.float32)
    _kernel("mw_true_peak" if len(taps) == 8 else "mw_true_peak_16")(
        _address(planar, first),
        planar.shape[1],
        len(planar),
        pointer(edges),
        len(peaks),
        pointer(taps),
        pointer(bounds),
        pointer(peaks),
        pointer(work),
    )
    return peaks
