# SPDX-License-Identifier: Apache-2.0
"""Flat tops: what clipping leaves, at any level, also after a fade or dither.

A wave that is clipped runs into its top and out of it with the slope that it had, and between the two does not move.
Natural peaks bend: beside a frame that hardly moves lie frames that move little.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixwright.jobs.progress import Cancel

#: Frames that do not move, at least (four equal ones in a row).
_LEAST_STEPS = 3
#: Steps within a top, as a share of those into it and out of it.
_STILL = 0.04
#: Tops lie above this share of the channel's peak within the second.
_HIGH = 0.4
#: Below -40 dBFS nothing is looked for.
_LOWEST = 0.01


@dataclass(frozen=True)
class FlatTops:
    """How many flat tops there are, the first frame of the first, and the frames of the longest."""

    count: int
    first_frame: int | None
    longest: int


def flat_tops(audio: npt.NDArray[np.float32], rate_hz: int, step: float, cancel: Cancel | None = None) -> FlatTops:
    """Return the flat tops of audio ``(frames, channels)``; it may be mapped, and is read by seconds.

    Parameters
    ----------
    step : float
        Of the file's word length (2^-15 for 16 bits); dither moves a top by up to two of them.
    """
    firsts: list[int] = []
    longest = 0
    margin = 4096
    for start in range(0, len(audio), rate_hz):
        if cancel is not None:
            cancel.check()
        block = np.asarray(audio[max(0, start - 8) : start + rate_hz + margin], dtype=np.float32)
        for sound in block.T:
            begins, lengths = _tops(sound, step)
            own = (begins + max(0, start - 8) >= start) & (begins + max(0, start - 8) < start + rate_hz)
            firsts += (begins[own] + max(0, start - 8)).tolist()
            longest = max(longest, int(lengths[own].max(initial=0)))
    return FlatTops(len(firsts), min(firsts, default=None), longest)


def _tops(sound: npt.NDArray[np.float32], step: float) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Return first frame and length of the flat tops of one channel."""
    none = np.zeros(0, dtype=np.intp)
    size = np.abs(sound)
    floor = max(_LOWEST, _HIGH * float(size.max(initial=0.0)))
    moves = np.diff(sound)
    # A step within the top is small beside what a top of this height can be told by: 2.5 steps of the file, or a
    # two-hundredth of its height in a fade.
    still = (np.abs(moves) <= 2.5 * step + 1e-4 * size[1:]) & (size[1:] > floor)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], still, [False])).astype(np.int8)))
    begins, ends = edges[::2], edges[1::2]
    long = (ends - begins >= _LEAST_STEPS) & (begins >= 2) & (ends + 2 <= len(moves))
    begins, ends = begins[long], ends[long]
    if not len(begins):
        return none, none
    sign = np.sign(sound[begins + 1])
    into = np.maximum(moves[begins - 1] * sign, moves[begins - 2] * sign)
    out = np.maximum(-moves[ends] * sign, -moves[ends + 1] * sign)
    within = np.maximum.reduceat(np.abs(moves), np.stack((begins, ends), axis=1).ravel()[: 2 * len(begins)])[::2]
    top = np.minimum(into, out) * _STILL > np.maximum(within, 0.0)
    # Neighbours of the top move as the wave did: none of the natural kind lies between.
    return begins[top], (ends - begins + 1)[top]
