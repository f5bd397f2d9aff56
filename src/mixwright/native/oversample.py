# SPDX-License-Identifier: Apache-2.0
"""Oversampling of the C core (csrc/oversample.h): what processors that need it have to know of it."""

from __future__ import annotations

import ctypes

import numpy as np

from mixwright.native.library import function, pointer

#: Doubles of state a channel.
STATES = 272

#: Frames by which audio comes later, by factor.
LATENCY_FRAMES = {2: 61, 4: 69, 8: 72}


def oversample(audio: np.ndarray, factor: int, state: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Return float64 mono audio at `factor` (2, 4, 8) times its rate, and that brought back.

    `state`, of `STATES` doubles, carries on from block to block; the latency of up and down together is
    `LATENCY_FRAMES`.
    """
    x = np.ascontiguousarray(audio, dtype=np.float64)
    up, back = np.empty(factor * len(x)), np.empty(len(x))
    state = np.zeros(STATES) if state is None else state
    arguments = [ctypes.c_int32, ctypes.c_void_p, ctypes.c_void_p, ctypes.c_int64, ctypes.c_void_p, ctypes.c_void_p]
    stages = factor.bit_length() - 1
    function("mw_oversample_array", arguments)(stages, pointer(state), pointer(x), len(x), pointer(up), pointer(back))
    return up, back
