# SPDX-License-Identifier: Apache-2.0
"""Where a song changes: boundaries by how much what sounds differs before and after, and which parts are alike."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

#: Parts that differ by less than this on average, of 0 to 1, are the same part.
_SAME_PART = 0.15


def boundaries(activity: Floats, edges: Floats, shortest: int, step_s: float, least: float) -> list[int]:
    """Return the steps at which what sounds changes most, each at least `shortest` steps from the next.

    Parameters
    ----------
    activity : (steps, sources) array
        How much each source sounds in each step, 0 to 1.
    edges : (steps + 1,) array
        Where the steps begin and end, in s; the song's ends do not lie on the grid.
    shortest : int
        Steps of the shortest part.
    step_s : float
        Length of a step.
    least : float
        Change of the mean before and after, summed over the sources, from which on it is a boundary.
    """
    steps, sources = activity.shape
    sums = np.concatenate([np.zeros((1, sources)), np.cumsum(activity, axis=0)])
    change = np.zeros(steps + 1)
    for i in range(1, steps):
        before, after = max(0, i - shortest), min(steps, i + shortest)
        change[i] = np.abs((sums[after] - sums[i]) / (after - i) - (sums[i] - sums[before]) / (i - before)).sum()
    chosen: list[int] = []
    # Half a step of grace: the song's ends do not lie on the grid.
    least_s = (min(shortest, len(edges) / 2.0) - 0.5) * step_s
    for i in np.argsort(-change, kind="stable").tolist():
        if change[i] < least:
            break
        if all(abs(edges[i] - edges[other]) >= least_s for other in (0, *chosen, steps)):
            chosen.append(i)
    return sorted(chosen)


def kinds_of(means: Floats) -> list[int]:
    """Return for each part, (parts, sources) of 0 to 1, the number of the first part that is like it."""
    kinds: list[int] = []
    for i, mean in enumerate(means):
        near = [(float(np.abs(means[k] - mean).mean()), k) for k in dict.fromkeys(kinds)]
        distance, kind = min(near, default=(np.inf, i))
        kinds.append(kind if distance < _SAME_PART else i)
    return kinds


def letters(index: int) -> str:
    """Return the letters of a number from 0: ``a`` to ``z``, ``aa``, ``ab``."""
    return letters(index // 26 - 1) + "abcdefghijklmnopqrstuvwxyz"[index % 26] if index >= 26 else chr(97 + index)
