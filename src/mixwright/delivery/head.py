# SPDX-License-Identifier: Apache-2.0
"""How a file begins: sound that sets in with a step, as an offset or a cut track leaves it, comes in softly."""

from __future__ import annotations

import math

import numpy as np

#: A first frame above -60 dBFS is a step; the fade takes the first millisecond. Both common practice, no source: short
#: enough for a hit on the first frame to stay one.
QUIET_DBFS = -60.0
FADE_S = 0.001


def fade_frames(first: float, rate_hz: int) -> int:
    """Return how many frames are faded in where the first one has this amplitude: none where it is quiet."""
    return 0 if first <= 10.0 ** (QUIET_DBFS / 20.0) else math.ceil(FADE_S * rate_hz)


def faded_in(block: np.ndarray, start: int, frames: int) -> np.ndarray:
    """Return a block with what it holds of the first `frames` frames faded in, from nothing to all.

    The fade is 3 x^2 - 2 x^3: arithmetic alone, so that it is the same on every machine.

    Parameters
    ----------
    block : (n, channels) array
        Not changed.
    start : int
        Its first frame in the file.
    frames : int
        Length of the fade; 0 for none.
    """
    if start >= frames or not len(block):
        return block
    faded = np.array(block, dtype=np.float64)
    x = np.arange(start, min(frames, start + len(block)))[:, np.newaxis] / frames
    faded[: len(x)] *= x * x * (3.0 - 2.0 * x)
    return faded
