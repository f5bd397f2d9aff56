# SPDX-License-Identifier: Apache-2.0
"""Kernels of the ear; `hearing` builds their tables and checks what they are given. All arrays are C-contiguous."""

from __future__ import annotations

import ctypes
import functools
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from mixwright.native.library import function, pointer

_ADDRESS, _COUNT, _LONG, _FLOAT = ctypes.c_void_p, ctypes.c_int32, ctypes.c_int64, ctypes.c_float
_SIGNATURES: dict[str, list[object]] = {
    "mw_ear_spectrum": [_ADDRESS, _COUNT, _COUNT, *[_ADDRESS] * 6],
    "mw_ear_power": [_ADDRESS, _ADDRESS, _COUNT, _ADDRESS, _ADDRESS, _ADDRESS, _COUNT, _ADDRESS],
    "mw_ear_levels": [_ADDRESS, _LONG, *[_ADDRESS] * 4],
    "mw_ear_excitation": [_ADDRESS, _ADDRESS, _LONG, *[_ADDRESS] * 3],
    "mw_ear_shared_excitation": [_ADDRESS, _ADDRESS, _COUNT, _ADDRESS, _LONG, *[_ADDRESS] * 3],
    "mw_ear_loudness": [*[_ADDRESS] * 3, _LONG, _COUNT, _ADDRESS, *[_FLOAT] * 3, _ADDRESS, _ADDRESS],
    "mw_ear_bands": [_ADDRESS, _ADDRESS, _LONG, _ADDRESS, _ADDRESS, _COUNT, _FLOAT, _ADDRESS],
}

#: Patterns of a cell: means of the smoothed specific loudness alone, strict and cued; of the loss strict and cued; of
#: the excitation of the layer and of what is left without it.
PATTERNS = 7
#: Filters with room for whole vectors.
PADDED_FILTERS = 160


@functools.cache
def _kernel(name: str) -> Callable[..., Any]:
    return function(name, _SIGNATURES[name])


def spectrum(
    audio: np.ndarray,
    frames: int,
    margin: int,
    shape: np.ndarray,
    half_band: np.ndarray,
    ear: np.ndarray,
    waves: np.ndarray,
    bins: np.ndarray,
    room: np.ndarray,
) -> None:
    """Write the bins of frames; `audio` is float32, with `margin` samples before the first frame and after the last."""
    start = ctypes.c_void_p(audio.ctypes.data + 4 * margin)
    tables = (pointer(shape), pointer(half_band), pointer(ear), pointer(waves))
    _kernel("mw_ear_spectrum")(start, frames, margin, *tables, pointer(bins), pointer(room))


def power(
    bins: np.ndarray,
    other: np.ndarray | None,
    shape: np.ndarray,
    counts: np.ndarray,
    scale: np.ndarray,
    out: np.ndarray,
) -> None:
    """Write the power ``(frames, components)`` of bins, or of `other` minus bins."""
    frames, components = out.shape
    second = None if other is None else pointer(other)
    tables = (pointer(shape), pointer(counts), pointer(scale))
    _kernel("mw_ear_power")(pointer(bins), second, frames, *tables, components, pointer(out))


def levels(power: np.ndarray, around: np.ndarray, first: np.ndarray, last: np.ndarray, out: np.ndarray) -> None:
    """Write the level per ERB around every component, uint8, in dB from -20 on."""
    _kernel("mw_ear_levels")(pointer(power), len(power), pointer(around), pointer(first), pointer(last), pointer(out))


def excitation(power: np.ndarray, levels: np.ndarray, table: np.ndarray, reach: np.ndarray, out: np.ndarray) -> None:
    """Write the excitation ``(frames, PADDED_FILTERS)`` of one sound through its own filters."""
    _kernel("mw_ear_excitation")(
        pointer(power), pointer(levels), len(power), pointer(table), pointer(reach), pointer(out)
    )


def shared_excitation(
    powers: Sequence[np.ndarray],
    levels: np.ndarray,
    table: np.ndarray,
    reach: np.ndarray,
    room: np.ndarray,
    outs: Sequence[np.ndarray],
) -> None:
    """Write the excitations of sounds, four at a time, through the same filters."""
    sources = (ctypes.c_void_p * len(powers))(*(array.ctypes.data for array in powers))
    targets = (ctypes.c_void_p * len(outs))(*(array.ctypes.data for array in outs))
    tables = (pointer(levels), len(levels), pointer(table), pointer(reach), pointer(room))
    _kernel("mw_ear_shared_excitation")(sources, targets, len(powers), *tables)


def loudness(
    own: np.ndarray,
    shared: np.ndarray,
    rest: np.ndarray,
    hold: int,
    constants: np.ndarray,
    scale: float,
    attack: float,
    release: float,
    state: np.ndarray,
    out: np.ndarray,
) -> None:
    """Write the patterns ``(frames / hold, PATTERNS, PADDED_FILTERS)`` of one ear of a layer; `state` goes on."""
    sounds = (pointer(own), pointer(shared), pointer(rest), len(own), hold)
    _kernel("mw_ear_loudness")(*sounds, pointer(constants), scale, attack, release, pointer(state), pointer(out))


def bands(
    left: np.ndarray, right: np.ndarray, spread: np.ndarray, edges: np.ndarray, step_cam: float, out: np.ndarray
) -> None:
    """Write the loudness of both ears together ``(cells, 3, bands)`` from their patterns."""
    tables = (pointer(spread), pointer(edges), len(edges) - 1)
    _kernel("mw_ear_bands")(pointer(left), pointer(right), len(left), *tables, step_cam, pointer(out))
