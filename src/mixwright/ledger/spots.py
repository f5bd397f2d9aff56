# SPDX-License-Identifier: Apache-2.0
"""Where, and when, one layer takes most of what another loses: bands at the resolution of the filters, and times."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mixwright.hearing.bands import PLACE_FILTERS, band_edges, filter_edges
from mixwright.hearing.heard import ALONE, BAND_CELLS, CELL_S, CUED
from mixwright.hearing.scale import FILTERS, STEP_CAM, hz_from_cam

#: A band goes on as far as a layer takes this part of what it takes at the worst filter. Excitation spreads, so the
#: part is well above what a filter beside the band still feels.
EDGE = 0.65
#: A layer that takes less than this, in dB, takes nothing worth telling.
LEAST_DB = 1.5
#: A band holds this part of the layer's loudness at least.
LEAST_PART = 0.05
#: Two bands are one where they share this part of the lesser.
SAME = 0.5
#: Filters with less of the loudest filter's loudness are none of the layer's.
_FAINT = 0.02
#: A time goes on while more is lost than this part of the mean over the section.
_LULL = 0.5


@dataclass(frozen=True)
class Spot:
    """Filters in which a layer (by its index) takes `taken_db` of the rise that another needs.

    `stands_out`: by which part of that it takes less as far again to both sides, 0 (no less) to 1 (nothing).
    """

    taker: int
    filters: slice
    taken_db: float
    stands_out: float

    @property
    def band_hz(self) -> tuple[float, float]:
        """The edges of the band."""
        edges = hz_from_cam(1.75 + STEP_CAM * (np.array([self.filters.start, self.filters.stop]) - 0.5))
        return float(edges[0]), float(edges[1])

    def same(self, other: Spot) -> bool:
        """Tell whether two bands are about one."""
        shared = min(self.filters.stop, other.filters.stop) - max(self.filters.start, other.filters.start)
        lesser = min(one.filters.stop - one.filters.start for one in (self, other))
        return bool(shared >= SAME * lesser)


def by_filter(taken: np.ndarray) -> np.ndarray:
    """Return what is taken at places ``(..., PLACES)`` filter by filter, smoothed over half a Cam."""
    spread = np.repeat(taken, PLACE_FILTERS, axis=-1) / PLACE_FILTERS
    window = np.hanning(7)[1:-1] / np.hanning(7).sum()
    padded = np.pad(spread, [(0, 0)] * (spread.ndim - 1) + [(2, 2)], mode="edge")
    return np.asarray(sum(weight * padded[..., k : k + FILTERS] for k, weight in enumerate(window)))


def spots(alone: np.ndarray, rise_db: np.ndarray, taken: np.ndarray) -> list[Spot]:
    """Return the bands in which single layers take much of what a layer loses, most first, none of them twice.

    Parameters
    ----------
    alone : ndarray (FILTERS,)
        loudness of the layer that loses
    rise_db : ndarray (FILTERS,)
        by how many dB it would have to rise, filter by filter
    taken : ndarray (layers, FILTERS)
        what each of the others takes
    """
    heard = alone >= _FAINT * alone.max()
    fractions = taken / np.maximum(taken.sum(axis=0), 1e-12)
    found = [
        spot
        for taker, part in enumerate(fractions)
        for spot in _of_taker(taker, np.where(heard, rise_db * part, 0.0), alone)
    ]
    kept: list[Spot] = []
    for spot in sorted(found, key=lambda spot: -spot.taken_db):
        if not any(spot.same(other) for other in kept):
            kept.append(spot)
    return kept


def _of_taker(taker: int, taken_db: np.ndarray, alone: np.ndarray) -> list[Spot]:
    """Return the bands of one: around each peak that stands by itself, from the highest on."""
    free = np.ones(FILTERS, dtype=bool)
    found: list[Spot] = []
    while True:
        peak = int(np.argmax(np.where(free, taken_db, -1.0)))
        if not free[peak] or taken_db[peak] < LEAST_DB:
            return found
        above = free & (taken_db >= EDGE * taken_db[peak])
        first, end = _around(above, peak)
        free[slice(*_slopes(taken_db, free, first, end))] = False
        part = float(alone[first:end].sum() / alone.sum())
        if part >= LEAST_PART and end - first > 1:
            mean = float(np.average(taken_db[first:end], weights=alone[first:end]))
            width = end - first
            near = np.concatenate([np.arange(max(first - width, 0), first), np.arange(end, min(end + width, FILTERS))])
            beside = taken_db[near[alone[near] >= _FAINT * alone.max()]]
            # All of the layer stands out from nothing.
            less = max(0.0, 1.0 - float(beside.mean()) / mean) if len(beside) else 0.0
            found.append(Spot(taker, slice(first, end), mean, less))


def _around(above: np.ndarray, at: int) -> tuple[int, int]:
    """Return where a run that holds a filter begins and ends."""
    below = np.flatnonzero(~above)
    before, after = below[below < at], below[below > at]
    return int(before[-1]) + 1 if len(before) else 0, int(after[0]) if len(after) else len(above)


def _slopes(values: np.ndarray, free: np.ndarray, first: int, end: int) -> tuple[int, int]:
    """Return a run with what falls away on both sides of it."""
    while first > 0 and free[first - 1] and values[first - 1] <= values[first]:
        first -= 1
    while end < len(values) and free[end] and values[end] <= values[end - 1]:
        end += 1
    return first, end


def narrowed(bands: np.ndarray, filters: slice, start_s: float) -> tuple[float, float]:
    """Return when in a part of the song most of the loss in some filters happens, in seconds of the song.

    Parameters
    ----------
    bands : ndarray (3, blocks, BANDS)
        loudness of the layer in that part, as in `heard.Heard`
    filters : slice
    start_s : float
        where the part begins
    """
    edges = band_edges()
    shared = np.minimum(edges[1:], filters.stop) - np.maximum(edges[:-1], filters.start)
    weights = np.maximum(shared, 0) / np.diff(edges)
    loss = np.maximum(bands[ALONE] - bands[CUED], 0.0) @ weights
    more = np.concatenate([[0.0], np.cumsum(loss - _LULL * loss.mean())])
    least = np.minimum.accumulate(more)
    end = int(np.argmax(more - least))
    first = int(np.flatnonzero(more[: end + 1] == least[end])[-1])
    block_s = BAND_CELLS * CELL_S
    return round(start_s + first * block_s, 3), round(start_s + max(end, first + 1) * block_s, 3)


def filters_between(low_hz: float, high_hz: float) -> slice:
    """Return the filters whose middles lie in a range."""
    hz = hz_from_cam(1.75 + STEP_CAM * filter_edges()[:-1])
    first, end = np.searchsorted(hz, [low_hz, high_hz])
    return slice(int(first), int(end))
