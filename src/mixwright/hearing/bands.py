# SPDX-License-Identifier: Apache-2.0
"""The bands in which loudness is told: equal steps on the ERB-number scale, whole filters each."""

from __future__ import annotations

import functools

import numpy as np

from mixwright.hearing.scale import FILTERS, STEP_CAM, hz_from_cam

BANDS = 24


@functools.cache
def band_edges() -> np.ndarray:
    """Return the first filter of every band and the end of the last, int32 ``(BANDS + 1,)``."""
    return np.rint(np.linspace(0.0, FILTERS, BANDS + 1)).astype(np.int32)


@functools.cache
def band_edges_hz() -> tuple[float, ...]:
    """Return the edges of the bands in Hz, half a step outside the outer filters."""
    return tuple(float(hz) for hz in hz_from_cam(1.75 + STEP_CAM * (band_edges() - 0.5)))
