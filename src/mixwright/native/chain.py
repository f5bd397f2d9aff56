# SPDX-License-Identifier: Apache-2.0
"""Chains of the C core: a list of operations run over a block; `engine.chain` builds and checks the lists."""

from __future__ import annotations

import ctypes
import functools
from collections.abc import Callable
from typing import Any

import numpy as np

from mixwright.native.library import function, pointer

GAIN, DELAY, SECTIONS, REVERB = range(4)

_LIST = [ctypes.c_void_p, ctypes.c_int32, ctypes.c_void_p, ctypes.c_void_p, ctypes.c_int32]


@functools.cache
def _chain() -> Callable[..., Any]:
    return function("mw_chain", [*_LIST, ctypes.c_void_p, ctypes.c_int64])


@functools.cache
def _chain_float() -> Callable[..., Any]:
    return function("mw_chain_float", [*_LIST, ctypes.c_void_p, ctypes.c_void_p, ctypes.c_int64])


def run(rows: np.ndarray, coefficients: np.ndarray, state: np.ndarray, audio: np.ndarray) -> None:
    """Run int32 rows ``(operations, 4)`` over float64 audio ``(frames, 1|2)`` in place."""
    frames, channels = audio.shape
    _chain()(pointer(rows), len(rows), pointer(coefficients), pointer(state), channels, pointer(audio), frames)


def run_float(
    rows: np.ndarray, coefficients: np.ndarray, state: np.ndarray, audio: np.ndarray, out: np.ndarray
) -> None:
    """Run the rows over float32 audio into float32 `out`, both ``(frames, 1|2)``, computing in float64."""
    frames, channels = audio.shape
    _chain_float()(
        pointer(rows), len(rows), pointer(coefficients), pointer(state), channels, pointer(audio), pointer(out), frames
    )
