# SPDX-License-Identifier: Apache-2.0
"""Slow twin of `mw_true_peak`: every phase of every sample, nothing skipped, the same order of float sums."""

from __future__ import annotations

import numpy as np


def interval_peaks(x: np.ndarray, taps: np.ndarray) -> np.ndarray:
    """Return, for every frame n, the largest magnitude of x[n] and of the points between x[n] and x[n + 1].

    `x` is one channel of float32, taken as silent outside; `taps` is (phases, taps).
    """
    phases, length = taps.shape
    before = length // 2 - 1
    padded = np.concatenate((np.zeros(before), x, np.zeros(length - before))).astype(np.float32)
    peaks = np.abs(x)
    for phase in range(1, phases):
        total = np.zeros(len(x), dtype=np.float32)
        for k in range(length):
            total = total + taps[phase, k] * padded[k : k + len(x)]
        peaks = np.maximum(peaks, np.abs(total))
    return peaks
