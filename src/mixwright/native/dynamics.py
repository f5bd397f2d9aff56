# SPDX-License-Identifier: Apache-2.0
"""The limiter of the C core; `engine.dynamics` checks the settings."""

from __future__ import annotations

import ctypes
import functools
from collections.abc import Callable
from typing import Any, TypeAlias

import numpy as np

from mixwright.native.library import function, pointer

_POINTER = ctypes.c_void_p


class LimiterPass(ctypes.Structure):
    """One pass of the limiter: frames of each box, frames held, interpolator; the caller keeps the arrays."""

    _fields_ = [
        ("box", ctypes.c_int32),
        ("hold", ctypes.c_int32),
        ("phases", ctypes.c_int32),
        ("taps", _POINTER),
        ("bounds", _POINTER),
    ]


LimiterPasses: TypeAlias = "ctypes.Array[LimiterPass]"


@functools.cache
def _limiter() -> Callable[..., Any]:
    arguments = [_POINTER, ctypes.c_int32, ctypes.c_double, ctypes.c_double, _POINTER, _POINTER, _POINTER]
    return function("mw_limiter", [*arguments, ctypes.c_int64])


@functools.cache
def _count(name: str) -> Callable[..., Any]:
    return function(name, [_POINTER, ctypes.c_int32], ctypes.c_int64)


def limiter_passes(passes: list[tuple[int, int, np.ndarray, np.ndarray]]) -> ctypes.Array[LimiterPass]:
    """Return passes given as frames of a box, frames held, taps ``(phases, 64)`` and bounds ``(5,)``, both float32."""
    rows = [LimiterPass(box, hold, len(taps), pointer(taps), pointer(bounds)) for box, hold, taps, bounds in passes]
    return (LimiterPass * len(rows))(*rows)


def limiter_state_doubles(passes: ctypes.Array[LimiterPass]) -> int:
    """Return the length of the limiter's state, which is all zeros at reset."""
    return int(_count("mw_limiter_state")(ctypes.byref(passes), len(passes)))


def limiter_latency_frames(passes: ctypes.Array[LimiterPass]) -> int:
    """Return by how many frames the limiter delays."""
    return int(_count("mw_limiter_latency")(ctypes.byref(passes), len(passes)))


def limit(
    passes: ctypes.Array[LimiterPass],
    ceiling: float,
    release_octaves: float,
    state: np.ndarray,
    audio: np.ndarray,
    gains: np.ndarray,
) -> None:
    """Limit float64 audio ``(frames, 2)`` in place; the float32 gains ``(frames,)`` are written."""
    _limiter()(
        ctypes.byref(passes),
        len(passes),
        ceiling,
        release_octaves,
        pointer(state),
        pointer(audio),
        pointer(gains),
        len(audio),
    )
