# SPDX-License-Identifier: Apache-2.0
"""Slow twin of `mw_sub_blocks`: one sample at a time."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np


def sub_block_sums(audio: np.ndarray, edges: Sequence[int], coefficients: np.ndarray) -> np.ndarray:
    """Return K-weighted square sums, sums, square sums per channel and the product of the first two, per sub-block.

    `audio` is (frames, channels); the filters are in direct form 1, in double precision.
    """
    b0, b1, b2, a1, a2, c1, c2 = (float(value) for value in coefficients)
    channels = audio.shape[1]
    rows = np.zeros((len(edges) - 1, 3 * channels + 1))
    weighted = np.zeros(audio.shape)
    for c in range(channels):
        x1 = x2 = y1 = y2 = v1 = v2 = 0.0
        for n, x in enumerate(audio[:, c].astype(np.float64).tolist()):
            y = b0 * x + b1 * x1 + b2 * x2 - a1 * y1 - a2 * y2
            v = y - 2.0 * y1 + y2 - c1 * v1 - c2 * v2
            x1, x2, y1, y2, v1, v2 = x, x1, y, y1, v, v1
            weighted[n, c] = v
    for row, start, end in zip(rows, edges[:-1], edges[1:], strict=True):
        part = audio[start:end].astype(np.float64)
        row[:channels] = np.square(weighted[start:end]).sum(axis=0)
        row[channels : 2 * channels] = part.sum(axis=0)
        row[2 * channels : 3 * channels] = np.square(part).sum(axis=0)
        row[-1] = part[:, 0] @ part[:, 1] if channels > 1 else 0.0
    return rows
