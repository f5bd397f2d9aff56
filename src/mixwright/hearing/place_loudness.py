# SPDX-License-Identifier: Apache-2.0
"""Loudness of places of half a Cam at moments by themselves, and how it changes with what excites them."""

from __future__ import annotations

import functools

import numpy as np

from mixwright.hearing.bands import PLACE_FILTERS, PLACES
from mixwright.hearing.constants import CUED_DB, constants_at
from mixwright.hearing.scale import STEP_CAM, hz_from_cam
from mixwright.native import ear


@functools.cache
def place_hz() -> np.ndarray:
    """Return the frequencies in the middle of places on the scale of Cam, ``(PLACES,)``."""
    first_cam = 1.75 + STEP_CAM * (PLACE_FILTERS - 1) / 2.0
    return hz_from_cam(first_cam + STEP_CAM * PLACE_FILTERS * np.arange(PLACES))


def alone_in_places(own: np.ndarray) -> np.ndarray:
    """Return the loudness alone of one ear in every place.

    Parameters
    ----------
    own : ndarray, float32, (..., PLACES)
        excitation through filters that the sound itself sets, mean of the filters of each place

    Returns
    -------
    ndarray, float32, (..., PLACES)
        sone, as if the other ear inhibited nothing; their sum over places and ears times `Excited.inhibited_alone` is
        the loudness
    """
    constants, _, scale = _tables()
    own = np.ascontiguousarray(own)
    sone = np.empty_like(own)
    ear.alone(own, constants, scale, sone)
    return sone


def alone_slope(own: np.ndarray, places: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Return the same, and the derivative of every place by its excitation; `places`: the only ones there are."""
    constants, _, scale = _tables_at(places)
    own = np.ascontiguousarray(own)
    sone, slope = np.empty_like(own), np.empty_like(own)
    ear.alone(own, constants, scale, sone, slope)
    return sone, slope


def cued_in_places(own: np.ndarray, rest: np.ndarray) -> np.ndarray:
    """Return the loudness of one ear in the rest of the mix in every place, cued.

    Parameters
    ----------
    own, rest : ndarray, float32, (..., PLACES)
        excitation by the sound and by what else there is, through filters that the mix sets

    Returns
    -------
    ndarray, float32, (..., PLACES)
        sone, as `alone_in_places`
    """
    constants, ratio, scale = _tables()
    own, rest = np.ascontiguousarray(own), np.ascontiguousarray(rest)
    sone = np.empty_like(own)
    ear.partial(own, rest, constants, ratio, scale, sone)
    return sone


def cued_slopes(
    own: np.ndarray, rest: np.ndarray, places: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the same, and the derivatives of every place by its excitation and by that of the rest."""
    constants, ratio, scale = _tables_at(places)
    own, rest = np.ascontiguousarray(own), np.ascontiguousarray(rest)
    sone, by_own, by_rest = (np.empty_like(own) for _ in range(3))
    ear.partial(own, rest, constants, ratio, scale, sone, (by_own, by_rest))
    return sone, by_own, by_rest


def _tables_at(places: np.ndarray | None) -> tuple[np.ndarray, np.ndarray, float]:
    constants, ratio, scale = _tables()
    if places is None or len(places) == PLACES:
        return constants, ratio, scale
    return np.ascontiguousarray(constants[:, places]), np.ascontiguousarray(ratio[places]), scale


@functools.cache
def _tables() -> tuple[np.ndarray, np.ndarray, float]:
    """Return rows of constants at the places, the cued ratio at masked threshold, and C times the width of a place."""
    c = constants_at(place_hz())
    floor = c.offset**c.exponent
    least = (c.gain * c.threshold + c.offset) ** c.exponent - floor
    cued = c.masked_ratio * 10.0 ** (CUED_DB / 10.0)
    rows = np.stack([c.gain, c.offset, c.exponent, floor, c.threshold, least, c.masked_ratio, cued])
    made = rows.astype(np.float32)
    return made, np.ascontiguousarray(made[-1]), c.scale * STEP_CAM * PLACE_FILTERS
