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
    "mw_ear_power": [_ADDRESS, _COUNT, *[_ADDRESS] * 4, _COUNT, _ADDRESS],
    "mw_ear_powers": [_ADDRESS, *[_COUNT] * 3, *[_ADDRESS] * 8, _COUNT, *[_ADDRESS] * 3],
    "mw_ear_levels": [_ADDRESS, _LONG, _COUNT, *[_ADDRESS] * 4],
    "mw_ear_excitation": [_ADDRESS, _ADDRESS, _LONG, _ADDRESS, _COUNT, *[_ADDRESS] * 3],
    "mw_ear_shared_excitation": [_ADDRESS, _ADDRESS, _COUNT, _ADDRESS, _LONG, _ADDRESS, _COUNT, *[_ADDRESS] * 3],
    "mw_ear_loudness": [*[_ADDRESS] * 3, _LONG, _COUNT, _ADDRESS, _COUNT, _ADDRESS, _FLOAT, *[_ADDRESS] * 4],
    "mw_ear_moments": [_ADDRESS, _ADDRESS, _ADDRESS, _COUNT, _ADDRESS, _COUNT, _ADDRESS],
    "mw_ear_share": [_ADDRESS, _ADDRESS, _COUNT, _COUNT, _LONG, _LONG, *[_COUNT] * 4, *[_ADDRESS] * 4],
    "mw_ear_alone": [_ADDRESS, _LONG, _COUNT, _ADDRESS, _FLOAT, _ADDRESS, _ADDRESS],
    "mw_ear_partial": [_ADDRESS, _ADDRESS, _LONG, _COUNT, _ADDRESS, _ADDRESS, _FLOAT, *[_ADDRESS] * 3],
    "mw_ear_bands": [_ADDRESS, _ADDRESS, _LONG, _ADDRESS, _ADDRESS, _COUNT, _FLOAT, _ADDRESS],
}

#: Patterns of a cell: means of the smoothed specific loudness alone, strict and cued; of the loss strict and cued; of
#: the excitation of the layer and of what is left without it.
PATTERNS = 7
#: Filters with room for whole vectors. How rows of powers and of excitations are laid out is said in csrc/ear.h;
#: `parts` are int32 (parts, 4).
PADDED_FILTERS = 160
PLACED_FILTERS = 150


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
    bins: np.ndarray, shape: np.ndarray, counts: np.ndarray, scale: np.ndarray, parts: np.ndarray, out: np.ndarray
) -> None:
    """Write rows of powers of bins."""
    tables = (pointer(shape), pointer(counts), pointer(scale), pointer(parts), len(parts))
    _kernel("mw_ear_power")(pointer(bins), len(out), *tables, pointer(out))


def powers(
    audio: Sequence[np.ndarray],
    margin: int,
    shape: np.ndarray,
    half_band: np.ndarray,
    ear: np.ndarray,
    waves: np.ndarray,
    other: Sequence[np.ndarray],
    counts: np.ndarray,
    scale: np.ndarray,
    parts: np.ndarray,
    out: Sequence[np.ndarray],
    rest: Sequence[np.ndarray],
    room: np.ndarray,
) -> None:
    """Write rows of powers of each channel of a sound, and of another without it, whose bins are `other`."""
    tables = (pointer(shape), pointer(half_band), pointer(ear), pointer(waves), _pointers(other))
    rows = (pointer(counts), pointer(scale), pointer(parts), len(parts), _pointers(out), _pointers(rest))
    _kernel("mw_ear_powers")(_pointers(audio), len(audio), len(out[0]), margin, *tables, *rows, pointer(room))


def _pointers(arrays: Sequence[np.ndarray]) -> Any:
    return (ctypes.c_void_p * len(arrays))(*(array.ctypes.data for array in arrays))


def levels(power: np.ndarray, around: np.ndarray, first: np.ndarray, last: np.ndarray, out: np.ndarray) -> None:
    """Write the level per ERB around every component, uint8, in dB from -20 on."""
    tables = (pointer(around), pointer(first), pointer(last))
    _kernel("mw_ear_levels")(pointer(power), *power.shape, *tables, pointer(out))


def excitation(
    power: np.ndarray, levels: np.ndarray, parts: np.ndarray, table: np.ndarray, reach: np.ndarray, out: np.ndarray
) -> None:
    """Write rows of excitations by one sound through its own filters."""
    tables = (pointer(parts), len(parts), pointer(table), pointer(reach))
    _kernel("mw_ear_excitation")(pointer(power), pointer(levels), len(power), *tables, pointer(out))


def shared_excitation(
    powers: Sequence[np.ndarray],
    levels: np.ndarray,
    parts: np.ndarray,
    table: np.ndarray,
    reach: np.ndarray,
    room: np.ndarray,
    outs: Sequence[np.ndarray],
) -> None:
    """Write the excitations of sounds through the same filters."""
    tables = (pointer(levels), len(levels), pointer(parts), len(parts), pointer(table), pointer(reach), pointer(room))
    _kernel("mw_ear_shared_excitation")(_pointers(powers), _pointers(outs), len(powers), *tables)


def loudness(
    own: np.ndarray | None,
    shared: np.ndarray,
    rest: np.ndarray,
    hold: int,
    parts: np.ndarray,
    constants: np.ndarray,
    scale: float,
    attack: np.ndarray,
    release: np.ndarray,
    state: np.ndarray,
    out: np.ndarray,
) -> None:
    """Write the patterns ``(frames / hold, PATTERNS, PADDED_FILTERS)`` of one ear of a layer; `state` goes on.

    Without `own` loudness alone is left out: zero.
    """
    alone = None if own is None else pointer(own)
    sounds = (alone, pointer(shared), pointer(rest), len(shared), hold)
    tables = (pointer(parts), len(parts), pointer(constants), scale, pointer(attack), pointer(release))
    _kernel("mw_ear_loudness")(*sounds, *tables, pointer(state), pointer(out))


def alone(
    own: np.ndarray, constants: np.ndarray, scale: float, sone: np.ndarray, by_own: np.ndarray | None = None
) -> None:
    """Write `scale` times the specific loudness of excitations ``(..., places)``, and its derivative by them."""
    places = own.shape[-1]
    tables = (pointer(constants), scale)
    slope = None if by_own is None else pointer(by_own)
    _kernel("mw_ear_alone")(pointer(own), own.size // places, places, *tables, pointer(sone), slope)


def partial(
    own: np.ndarray,
    rest: np.ndarray,
    constants: np.ndarray,
    ratio: np.ndarray,
    scale: float,
    sone: np.ndarray,
    slopes: tuple[np.ndarray, np.ndarray] | None = None,
) -> None:
    """Write the same of excitations in the rest, masked by a `ratio` of signal to noise, and by both its `slopes`."""
    places = own.shape[-1]
    tables = (pointer(constants), pointer(ratio), scale)
    by_own, by_rest = (None, None) if slopes is None else map(pointer, slopes)
    sounds = (pointer(own), pointer(rest), own.size // places, places)
    _kernel("mw_ear_partial")(*sounds, *tables, pointer(sone), by_own, by_rest)


def bands(
    left: np.ndarray, right: np.ndarray, spread: np.ndarray, edges: np.ndarray, step_cam: float, out: np.ndarray
) -> None:
    """Write the loudness of both ears together ``(cells, 3, bands)`` from their patterns."""
    tables = (pointer(spread), pointer(edges), len(edges) - 1)
    _kernel("mw_ear_bands")(pointer(left), pointer(right), len(left), *tables, step_cam, pointer(out))


def moments(power: np.ndarray, chosen: np.ndarray, moment: np.ndarray, parts: np.ndarray, out: np.ndarray) -> None:
    """Write the powers at one moment (float32, 0 to below 1) of some frames (int32) from rows of powers."""
    tables = (pointer(parts), len(parts), pointer(out))
    _kernel("mw_ear_moments")(pointer(power), pointer(chosen), pointer(moment), len(chosen), *tables)


def share(
    patterns: Sequence[np.ndarray],
    which: np.ndarray,
    cells: slice,
    places: slice,
    shares: np.ndarray,
    losses: np.ndarray,
    apart: np.ndarray,
) -> None:
    """Add who takes what in some cells and places of one ear; `which`: int32, the numbers of the layers given.

    `shares` (2, places, all, all), `losses` (2, places, all), `apart` (places, all): float64, they grow.
    """
    count, all_, every = len(patterns), shares.shape[2], shares.shape[1]
    padded = -(-count // 8) * 8
    room = np.empty(16 * padded + 2 * count * padded + 3 * count, dtype=np.float32)
    filters = PLACED_FILTERS // every
    tables = (pointer(shares), pointer(losses), pointer(apart), pointer(room))
    span = (cells.start, cells.stop, filters, places.start, places.stop, every)
    _kernel("mw_ear_share")(_pointers(patterns), pointer(which), count, all_, *span, *tables)
