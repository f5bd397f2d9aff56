# SPDX-License-Identifier: Apache-2.0
"""How a file begins and ends: sound that sets in or breaks off with a step, as an offset leaves it, is faded."""

from __future__ import annotations

import math

import numpy as np

#: A first or last frame above -60 dBFS is a step; the fade takes a millisecond. Both common practice, no source: short
#: enough for a hit on the first frame to stay one.
QUIET_DBFS = -60.0
FADE_S = 0.001


def fade_frames(edge: float, rate_hz: int) -> int:
    """Return how many frames are faded where the first, or the last, has this amplitude: none where it is quiet."""
    return 0 if edge <= 10.0 ** (QUIET_DBFS / 20.0) else math.ceil(FADE_S * rate_hz)


def faded(block: np.ndarray, start: int, frames: int, *, fade_in: int, fade_out: int) -> np.ndarray:
    """Return a block with what it holds of a file's first and last frames faded, in from nothing and out to nothing.

    The fades are 3 x^2 - 2 x^3: arithmetic alone, so that they are the same on every machine.

    Parameters
    ----------
    block : (n, channels) array
        Not changed.
    start : int
        Its first frame in the file.
    frames : int
        Of the file.
    fade_in, fade_out : int
        Frames that are faded; 0 for none.
    """
    end = start + len(block)
    if start >= fade_in and end <= frames - fade_out:
        return block
    found = np.array(block, dtype=np.float64)
    places = np.arange(start, end)[:, np.newaxis]
    for length, distance in ((fade_in, places), (fade_out, frames - 1 - places)):
        if length:
            x = np.minimum(1.0, distance / length)
            found *= x * x * (3.0 - 2.0 * x)
    return found
