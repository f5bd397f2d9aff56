# SPDX-License-Identifier: Apache-2.0
"""Places of half a Cam, in which it is told who takes what, and the bands in which loudness is told: whole places."""

from __future__ import annotations

import functools

import numpy as np

from mixwright.hearing.scale import FILTERS, STEP_CAM, hz_from_cam

BANDS = 24
#: Filters of a place, and how many places there are.
PLACE_FILTERS = 2
PLACES = FILTERS // PLACE_FILTERS


@functools.cache
def band_places() -> np.ndarray:
    """Return the first place of every band and the end of the last, int32 ``(BANDS + 1,)``."""
    return np.rint(np.linspace(0.0, PLACES, BANDS + 1)).astype(np.int32)


@functools.cache
def band_edges() -> np.ndarray:
    """Return the first filter of every band and the end of the last, int32 ``(BANDS + 1,)``."""
    return band_places() * np.int32(PLACE_FILTERS)


@functools.cache
def filter_edges() -> np.ndarray:
    """Return the edges of the filters as those of bands of one filter each, int32 ``(FILTERS + 1,)``."""
    return np.arange(FILTERS + 1, dtype=np.int32)


@functools.cache
def band_edges_hz() -> tuple[float, ...]:
    """Return the edges of the bands in Hz, half a step outside the outer filters."""
    return tuple(hz_from_cam(1.75 + STEP_CAM * (band_edges() - 0.5)).tolist())


def bands_of_filters(values: np.ndarray) -> np.ndarray:
    """Return the sums over the filters of every band, ``(..., BANDS)`` of ``(..., FILTERS)``."""
    return np.asarray(np.add.reduceat(values, band_edges()[:-1], axis=-1))


def bands_of_places(values: np.ndarray) -> np.ndarray:
    """Return the sums over the places of every band, ``(..., BANDS)`` of ``(..., PLACES)``."""
    return np.asarray(np.add.reduceat(values, band_places()[:-1], axis=-1))
