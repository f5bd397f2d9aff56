# SPDX-License-Identifier: Apache-2.0
"""The components of the running spectrum: bins of six windows, each in its own range of frequencies."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

#: The rate at which the ear listens.
RATE_HZ = 48000
#: Six Hann windows, longest first, and the edges of their ranges (Glasberg and Moore 2002; ISO 532-3:2023).
WINDOW_MS = (64, 32, 16, 8, 4, 2)
RANGE_HZ = (20.0, 80.0, 500.0, 1250.0, 2540.0, 4050.0, 15000.0)
#: Components of a steady tone add up to its power; this makes their loudness that of the tone (ISO 532-3:2023).
SPREAD_DB = -0.94


@dataclass(frozen=True, eq=False)
class Components:
    """`hz` and `window` (index into WINDOW_MS) of every component, and `first` component of each window, ``(7,)``."""

    hz: np.ndarray
    window: np.ndarray
    first: np.ndarray


@functools.cache
def components() -> Components:
    """Return the components: windows padded to twice their length, bins from the lower edge to below the upper."""
    hz: list[np.ndarray] = []
    for k, window_ms in enumerate(WINDOW_MS):
        step = 500.0 / window_ms
        bins = np.arange(np.ceil(RANGE_HZ[k] / step), np.ceil(RANGE_HZ[k + 1] / step))
        hz.append(bins * step)
    first = np.cumsum([0, *map(len, hz)])
    return Components(np.concatenate(hz), np.repeat(np.arange(6), np.diff(first)), first)
