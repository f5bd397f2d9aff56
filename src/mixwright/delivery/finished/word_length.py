# SPDX-License-Identifier: Apache-2.0
"""How many bits of a file are used, and whether those that were taken away were dithered."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixwright.jobs.progress import Cancel, blocks

_GRID_BITS = 24
#: Codes up to this size are looked at one by one: 48 dB below full scale.
_NEAR_ZERO = 1 << 15
#: Pairs of samples that must be expected on codes side by side before their absence tells anything.
_ENOUGH = 200.0
#: Fewer than this share of them is a coarser grid that was scaled.
_SCARCE = 0.1
#: Beside a code are those 8 to 15 places away (dither moves a sample by two at most), around it those within 512.
_BESIDE, _AROUND = (8, 15), 512
#: Codes that dither alone brings forth are left out.
_AT_REST = 8
_BLOCK_FRAMES = 1 << 17
#: Stretches of 5 ms that hold no more than so many codes to either side of zero show how a quiet sound was rounded.
_WINDOW_S = 0.005
_QUIET_CODES = 4
#: Share of frames equal to the one before: with triangular dither of two steps 0.6 at most, whatever the sound
#: (0.75^2 + 2 x 0.125^2 at rest on a code); rounded alone a quiet low sound stays for long on a code.
_STAYS = 0.7
_LEAST_WINDOWS = 10


@dataclass(frozen=True)
class WordLength:
    """What the samples of a file use.

    `bits`: the shortest word that holds every sample as it is; None where none of 24 bits does (floating point).
    `grid_bits`: the word length of a coarser grid that was scaled into the file (16 bits at another level); None
    where there is none. `rounded_plainly`: quiet parts of a file of up to 16 bits show that it was not dithered.
    """

    bits: int | None
    grid_bits: int | None
    rounded_plainly: bool


def word_length(audio: npt.NDArray[np.float32], rate_hz: int, cancel: Cancel | None = None) -> WordLength:
    """Return the word length that audio ``(frames, channels)`` really uses; it may be mapped, and is read in blocks."""
    used, whole = 0, True
    counts = np.zeros((audio.shape[1], 2 * _NEAR_ZERO + 1), dtype=np.int64)
    for block in blocks(audio, _BLOCK_FRAMES, cancel):
        scaled = block.astype(np.float64) * 2.0 ** (_GRID_BITS - 1)
        codes = np.rint(scaled)
        whole = whole and bool(np.array_equal(codes, scaled))
        held = np.clip(codes, -(2.0**31), 2.0**31 - 1).astype(np.int32)
        used |= int(np.bitwise_or.reduce(held, axis=None))
        for channel, one in enumerate(held.T):
            near = one[np.abs(one) <= _NEAR_ZERO]
            counts[channel] += np.bincount(near + _NEAR_ZERO, minlength=counts.shape[1])
    bits = None
    if whole:
        bits = max(1, _GRID_BITS - _trailing_zeros(used)) if used else _GRID_BITS
    grids = [grid for row in counts if (grid := _grid_bits(row)) is not None]
    plain = bits is not None and bits <= 16 and _rounded_plainly(audio, rate_hz, bits, cancel)
    return WordLength(bits, max(grids) if len(grids) == audio.shape[1] else None, plain)


def _trailing_zeros(word: int) -> int:
    return (word & -word).bit_length() - 1


def _grid_bits(counts: npt.NDArray[np.int64]) -> int | None:
    """Return the word length of the grid that a channel's codes lie on, if it is much coarser than that of 24 bits.

    Codes a little beside one that is met are met as often as any around, unless there is a grid.
    """
    many = counts.astype(np.float64)
    many[_NEAR_ZERO - _AT_REST : _NEAR_ZERO + _AT_REST + 1] = 0.0
    beside = (_mean_of(many, *_BESIDE) + _mean_of(many, -_BESIDE[1], -_BESIDE[0])) / 2.0
    around = _mean_of(many, -_AROUND, _AROUND)
    expected = float(np.sum(many * around))
    if expected < _ENOUGH or float(np.sum(many * beside)) > _SCARCE * expected:
        return None
    gaps = np.diff(np.flatnonzero(many))
    gaps = gaps[(gaps > _BESIDE[0]) & (gaps < _AROUND)]
    return max(1, round(_GRID_BITS - math.log2(float(np.median(gaps))))) if len(gaps) else None


def _mean_of(values: npt.NDArray[np.float64], first: int, last: int) -> npt.NDArray[np.float64]:
    """Return the mean of the values from `first` to `last` places away; beyond the ends lies nothing."""
    sums = np.concatenate(([0.0], np.cumsum(values)))
    places = np.arange(len(values))
    ends = (np.clip(places + edge, 0, len(values)) for edge in (first, last + 1))
    low, high = ends
    return np.asarray((sums[high] - sums[low]) / (last + 1 - first))


def _rounded_plainly(audio: npt.NDArray[np.float32], rate_hz: int, bits: int, cancel: Cancel | None) -> bool:
    """Return whether quiet sound stays on its codes for longer than any that was dithered."""
    window = max(16, round(_WINDOW_S * rate_hz))
    step = 2.0 ** (bits - 1)
    stays: list[npt.NDArray[np.float64]] = []
    for block in blocks(audio, 200 * window, cancel):
        whole = len(block) // window
        for channel in block[: whole * window].T:
            grid = channel.reshape(whole, window)
            top = np.abs(grid).max(axis=1) * step
            quiet = grid[(top >= 0.5) & (top <= _QUIET_CODES)]
            if len(quiet):
                stays.append((quiet[:, 1:] == quiet[:, :-1]).mean(axis=1))
    shares = np.concatenate(stays) if stays else np.zeros(0)
    return len(shares) >= _LEAST_WINDOWS and float(np.median(shares)) > _STAYS
