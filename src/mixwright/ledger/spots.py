# SPDX-License-Identifier: Apache-2.0
"""Where, and when, one layer takes most of what another loses: bands at the resolution of the filters, and times."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from mixwright.hearing.bands import PLACE_FILTERS, band_edges, filter_edges
from mixwright.hearing.heard import ALONE, BAND_CELLS, CELL_S, CUED
from mixwright.hearing.scale import FILTERS, STEP_CAM, hz_from_cam

#: A band goes on, down and up, as far as there is this part of what there is at its peak. Excitation spreads, so the
#: part is well above what a filter beside the band still feels; and upward it spreads further.
EDGE_DOWN, EDGE_UP = 0.6, 0.75
#: A layer that takes less than this part of another's loudness in a band takes nothing worth telling.
LEAST_PART = 0.01
#: A band holds this part of the layer's loudness at least.
HELD = 0.05
#: Two bands are one where this part of what both cover together is in both.
SAME = 0.5
#: The two that take most of a band take this part of it: else it is lost to many.
FEW = 0.6
#: Who takes less than this part of what another takes there has no band of its own.
AS_WELL = 0.4
#: What is taken over more than so many octaves counts by the octave.
WIDE_OCTAVES = 1.0
#: So many bands of one layer that takes are looked at.
_MOST_PEAKS = 6
#: Filters with less of the loudest filter's loudness are none of the layer's.
FAINT = 0.02
#: A time goes on while more is lost than this part of the mean over the section.
_LULL = 0.5


@dataclass(frozen=True)
class Spot:
    """Filters in which a layer (by its index) takes `part` of all the loudness that another has alone.

    `stands_out`: by which part of that it takes less as far again to both sides, 0 (no less) to 1 (nothing).
    """

    taker: int
    filters: slice
    part: float
    stands_out: float

    @property
    def band_hz(self) -> tuple[float, float]:
        """The edges of the band."""
        return edges_hz(self.filters)

    @property
    def counts(self) -> float:
        """Return which part of what is taken there counts: what stands out, of a wide band what is in an octave."""
        low_hz, high_hz = self.band_hz
        return self.stands_out / max(1.0, math.log2(high_hz / low_hz) / WIDE_OCTAVES)

    def same(self, other: Spot) -> bool:
        """Tell whether two bands are about one."""
        shared = min(self.filters.stop, other.filters.stop) - max(self.filters.start, other.filters.start)
        both = sum(one.filters.stop - one.filters.start for one in (self, other)) - shared
        return bool(shared >= SAME * both)


def edges_hz(filters: slice) -> tuple[float, float]:
    """Return the edges of a run of filters."""
    edges = hz_from_cam(1.75 + STEP_CAM * (np.array([filters.start, filters.stop]) - 0.5))
    return float(edges[0]), float(edges[1])


def by_filter(taken: np.ndarray) -> np.ndarray:
    """Return what is taken at places ``(..., PLACES)`` filter by filter, smoothed over half a Cam."""
    spread = np.repeat(taken, PLACE_FILTERS, axis=-1) / PLACE_FILTERS
    window = np.hanning(7)[1:-1] / np.hanning(7).sum()
    padded = np.pad(spread, [(0, 0)] * (spread.ndim - 1) + [(2, 2)], mode="edge")
    return np.asarray(sum(weight * padded[..., k : k + FILTERS] for k, weight in enumerate(window)))


def spots(alone: np.ndarray, lost: np.ndarray, taken: np.ndarray) -> list[Spot]:
    """Return the bands in which single layers take most of what a layer loses there, most first, none of them twice.

    Parameters
    ----------
    alone : ndarray (FILTERS,)
        loudness of the layer that loses
    lost : ndarray (FILTERS,)
        what of it is lost
    taken : ndarray (layers, FILTERS)
        in which proportion the others take it
    """
    fractions = taken / np.maximum(taken.sum(axis=0), 1e-12)
    found = [spot for taker, part in enumerate(fractions) for spot in _of_taker(taker, lost * part, alone)]
    kept: list[Spot] = []
    for spot in sorted(found, key=lambda spot: -spot.part):
        there = taken[:, spot.filters].sum(axis=1)
        few = np.sort(there)[-2:].sum() >= FEW * there.sum()
        if few and there[spot.taker] >= AS_WELL * there.max() and not any(spot.same(other) for other in kept):
            kept.append(spot)
    return kept


def spot_at(taker: int, filters: slice, alone: np.ndarray, lost: np.ndarray, taken: np.ndarray) -> Spot:
    """Return the band of a layer that lies in given filters, whatever it takes there; the others as for `spots`."""
    took = lost * taken[taker] / np.maximum(taken.sum(axis=0), 1e-12)
    heard = alone >= FAINT * alone.max()
    holds = alone[filters].sum() > 0.0
    stands_out = _stands_out(took, alone, heard, filters.start, filters.stop) if holds and took[filters].any() else 0.0
    return Spot(taker, filters, float(took[filters].sum() / max(float(alone.sum()), 1e-12)), stands_out)


def _of_taker(taker: int, took: np.ndarray, alone: np.ndarray) -> list[Spot]:
    """Return the bands of one, which takes so much of each filter.

    A band is cut from the geometric mean of what is taken and of the part that this is of the filter: neither the
    filters that hold most of the layer, nor those that hold next to nothing of it and lose all, decide alone.
    """
    if took.sum() < LEAST_PART * alone.sum():
        return []
    heard = alone >= FAINT * alone.max()
    found: list[Spot] = []
    for band in cut(np.where(heard, took / np.sqrt(np.maximum(alone, 1e-12)), 0.0)):
        first, end = band.start, band.stop
        part = float(took[band].sum() / alone.sum())
        holds = float(alone[band].sum() / alone.sum())
        if part >= LEAST_PART and holds >= HELD and end - first > 1:
            found.append(Spot(taker, band, part, _stands_out(took, alone, heard, first, end)))
    return found


def cut(curve: np.ndarray, down: float = EDGE_DOWN, up: float = EDGE_UP) -> Iterator[slice]:
    """Yield the bands of a curve (FILTERS,), highest peak first: around each that stands by itself.

    A band goes on `down` and `up` as far as there are these parts of its peak.
    """
    free = np.ones(FILTERS, dtype=bool)
    for _ in range(_MOST_PEAKS):
        peak = int(np.argmax(np.where(free, curve, -1.0)))
        if not free[peak] or curve[peak] <= 0.0:
            return
        first, _ = _around(free & (curve >= down * curve[peak]), peak)
        _, end = _around(free & (curve >= up * curve[peak]), peak)
        free[slice(*_slopes(curve, free, first, end))] = False
        yield slice(first, end)


def _stands_out(took: np.ndarray, alone: np.ndarray, heard: np.ndarray, first: int, end: int) -> float:
    """Return by which part less of a layer is taken beside a band, as far again to both sides."""
    width = end - first
    near = np.concatenate([np.arange(max(first - width, 0), first), np.arange(end, min(end + width, FILTERS))])
    near = near[heard[near]]
    if not len(near):
        return 0.0  # all of the layer stands out from nothing
    inside = float(took[first:end].sum() / alone[first:end].sum())
    return max(0.0, 1.0 - float(took[near].sum() / alone[near].sum()) / inside)


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
