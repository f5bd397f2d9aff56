# SPDX-License-Identifier: Apache-2.0
"""Chains of the C core: a list of operations run over a block; `engine.chain` builds and checks the lists."""

from __future__ import annotations

import ctypes
import functools
from collections.abc import Callable
from typing import Any

import numpy as np

from mixwright.native.library import function, pointer

#: In the order of csrc/chain.c.
GAIN, DELAY, SECTIONS, REVERB, KEEP, BLEND = range(6)
COMPRESSOR, EXPANDER, SATURATION, AGAINST, DIP, DUCK, PEAKS = range(6, 13)
TRANSIENTS, DE_ESSER = range(13, 15)
BASS_HARMONICS, LEVELS, CONVOLUTION = range(15, 18)
BOTH, MIDDLE, SIDE, LEFT, RIGHT = range(5)
#: Columns of a row of the list.
ROW = 9
#: Frames of a stride, and most coefficients of a row that may move.
STRIDE = 256
MOST_MOVING = 256

_BESIDE = [*[ctypes.c_void_p] * 4, ctypes.c_int32]


class _List(ctypes.Structure):
    """`mw_list` of csrc/chain.c."""

    _fields_ = (
        ("rows", ctypes.c_void_p),
        ("count", ctypes.c_int32),
        ("coefficients", ctypes.c_void_p),
        ("state", ctypes.c_void_p),
        ("channels", ctypes.c_int32),
        ("key_count", ctypes.c_int32),
        ("gain_count", ctypes.c_int32),
        ("replay", ctypes.c_int32),
    )


@functools.cache
def _chain() -> Callable[..., Any]:
    return function("mw_chain", [*_BESIDE, ctypes.c_void_p, ctypes.c_int64])


@functools.cache
def _chain_float() -> Callable[..., Any]:
    return function("mw_chain_float", [*_BESIDE, ctypes.c_void_p, ctypes.c_void_p, ctypes.c_int64])


class OperationList:
    """Rows int32 ``(operations, ROW)`` with coefficients and state, both float64.

    Keys are float32 ``(frames, keys, 2)``, gains float32 ``(frames, gains)``, written, or read where `replay` is set;
    `moving` holds the tables of coefficients that move over the block, from its first stride on (csrc/chain.c). All
    are C-contiguous, None where there are none.
    """

    def __init__(
        self,
        rows: np.ndarray,
        coefficients: np.ndarray,
        state: np.ndarray,
        channels: int,
        *,
        keys: int = 0,
        gains: int = 0,
        replay: bool = False,
    ) -> None:
        self.state = state
        self._arrays = rows, coefficients
        self._list = _List(
            pointer(rows), len(rows), pointer(coefficients), pointer(state), channels, keys, gains, int(replay)
        )

    def run(
        self,
        audio: np.ndarray,
        keys: np.ndarray | None,
        gains: np.ndarray | None,
        moving: np.ndarray | None,
    ) -> None:
        """Run over float64 audio ``(frames, channels)`` in place."""
        beside = _pointer(keys), _pointer(gains), _pointer(moving), int(self.state[0]) // STRIDE
        _chain()(ctypes.byref(self._list), *beside, pointer(audio), len(audio))

    def run_float(
        self,
        audio: np.ndarray,
        out: np.ndarray,
        keys: np.ndarray | None,
        gains: np.ndarray | None,
        moving: np.ndarray | None,
    ) -> None:
        """Run over float32 audio into float32 `out`, both ``(frames, channels)``, computing in float64."""
        beside = _pointer(keys), _pointer(gains), _pointer(moving), int(self.state[0]) // STRIDE
        _chain_float()(ctypes.byref(self._list), *beside, pointer(audio), pointer(out), len(audio))


def _pointer(array: np.ndarray | None) -> ctypes.c_void_p | None:
    return None if array is None else pointer(array)
