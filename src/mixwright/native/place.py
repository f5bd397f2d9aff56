# SPDX-License-Identifier: Apache-2.0
"""Level, width and position of the C core: a strip's audio added to a stereo bus along its lanes."""

from __future__ import annotations

import ctypes
import functools
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from mixwright.native.library import function, pointer


@functools.cache
def _place(name: str) -> Callable[..., Any]:
    arguments = [ctypes.c_void_p, ctypes.c_int32, ctypes.c_int64, ctypes.c_int64, ctypes.c_void_p]
    return function(name, [*arguments, ctypes.c_double, ctypes.c_double, ctypes.c_void_p])


@functools.cache
def _lane() -> Callable[..., Any]:
    return function("mw_lane", [ctypes.c_void_p, ctypes.c_int64, ctypes.c_int64, ctypes.c_void_p])


@functools.cache
def _pan() -> Callable[..., Any]:
    return function("mw_pan", [ctypes.c_double, ctypes.c_void_p, ctypes.c_int64, ctypes.c_void_p])


def add_placed(audio: np.ndarray, frame: int, lanes: np.ndarray, law: float, scale: float, out: np.ndarray) -> None:
    """Add audio, whose first frame lies at song frame `frame`, to the stereo bus `out`.

    Parameters
    ----------
    audio : ndarray, float32 or float64, (frames, 1|2), C-contiguous
    frame : int
    lanes : ndarray, float64
        the five lanes of LANES, packed: count, then pairs of frame and value
    law : float
        nominal centre attenuation over 3 dB
    scale : float
        factor on top of the lanes
    out : ndarray, float64, (frames, 2), C-contiguous
    """
    frames, channels = audio.shape
    name = "mw_place_float" if audio.dtype == np.float32 else "mw_place"
    _place(name)(pointer(audio), channels, frames, frame, pointer(lanes), law, scale, pointer(out))


def lane_values(packed: np.ndarray, frame: int, frames: int) -> np.ndarray:
    """Return what `add_placed` takes from one packed lane, at `frames` song frames from `frame` on."""
    values = np.empty(frames)
    _lane()(pointer(packed), frame, frames, pointer(values))
    return values


def pan_gains(law: float, position: npt.ArrayLike) -> np.ndarray:
    """Return the gains ``(n, 2)`` into left and right of sources at positions ``(n,)`` from -1 to 1."""
    given = np.ascontiguousarray(position, dtype=np.float64)
    gains = np.empty((given.size, 2))
    _pan()(law, pointer(given), given.size, pointer(gains))
    return gains
