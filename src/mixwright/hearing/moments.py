# SPDX-License-Identifier: Apache-2.0
"""Moments of a song at which every layer is known: drawn while a stretch is heard, few enough to be kept.

From them each layer has its sketch, and whatever asks how layers bear on each other has all of them at once.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.hearing.components import RATE_HZ, components
from mixwright.hearing.fader import Sketch, instants, loudness, middle_s, order_of, weighted
from mixwright.hearing.kernels import FRAME

#: So many moments are wanted in a stretch; so many in a second of one at the edge of a section, and so many at least.
MOMENTS, MOMENTS_AT_EDGE, LEAST_AT_EDGE = 160, 20, 14
#: This part of those wanted, at least, is of frames in which a layer sounds, if there are as many; less where so many
#: layers sound seldom that all would be so many times those wanted.
_OF_EACH, _TOO_MANY = (0.3, 0.2, 0.15, 0.1), 2.0
#: They are chosen from so many of each layer, spread evenly.
_CANDIDATES = 256
_Both = tuple[np.ndarray, np.ndarray]  # rows of powers at both ears
Piece = Callable[[], None]


@dataclass(frozen=True, eq=False)
class Moments:
    """Frames of a part of the song at which every layer is known, powers at one of the steps of each.

    Parameters
    ----------
    layers : tuple of str
    at_s : ndarray, float64, (frames,)
        the middle of each frame in the song, ascending
    time_s : ndarray, float64, (frames,)
        of how much of the time in which anything sounds each frame stands for
    power, rest : ndarray, float32, (layers, 2, frames, 134)
        power of each layer, and of the mix without it as a waveform, at both ears
    mix : ndarray, float32, (2, frames, 134)
        that of the mix
    seconds : ndarray, float64, (layers, frames)
        of how much of the time in which the layer sounds each frame stands for, 0 where it is none of the layer's; the
        loudness alone, strict and cued at the frames, so weighted, is that which was heard
    """

    layers: tuple[str, ...]
    at_s: np.ndarray
    time_s: np.ndarray
    power: np.ndarray
    rest: np.ndarray
    mix: np.ndarray
    seconds: np.ndarray

    def __len__(self) -> int:
        """Return how many frames there are."""
        return len(self.at_s)

    def sketch(self, row: int) -> Sketch:
        """Return the frames in which a layer sounds."""
        own = np.flatnonzero(self.seconds[row])
        layer, rest, mix = (part[:, own] for part in (self.power[row], self.rest[row], self.mix))
        return Sketch(layer, rest, mix, self.at_s[own], self.seconds[row, own])

    def sounding_s(self, row: int) -> np.ndarray:
        """Return where in the song they are, float64."""
        return np.asarray(self.at_s[self.seconds[row] > 0.0])


def joined_moments(layers: tuple[str, ...], parts: Sequence[Moments]) -> Moments:
    """Return the moments of parts that follow each other, all of the same layers."""
    count, width = len(layers), len(components().hz)
    none = np.empty((count, 2, 0, width), dtype=np.float32)
    return Moments(
        layers,
        at_s=np.concatenate([np.empty(0), *(one.at_s for one in parts)]),
        time_s=np.concatenate([np.empty(0), *(one.time_s for one in parts)]),
        power=np.concatenate([none, *(one.power for one in parts)], axis=2),
        rest=np.concatenate([none, *(one.rest for one in parts)], axis=2),
        mix=np.concatenate([np.empty((2, 0, width), np.float32), *(one.mix for one in parts)], axis=1),
        seconds=np.concatenate([np.empty((count, 0)), *(one.seconds for one in parts)], axis=1),
    )


@dataclass(frozen=True, eq=False)
class _Taken:
    """Frames of a chunk that may be chosen; of its layers those that are there, which the mask `present` tells."""

    frames: np.ndarray
    present: np.ndarray
    sone: np.ndarray  # (layers, 3, frames)
    power: np.ndarray  # (present, 2, frames, 134)
    rest: np.ndarray
    mix: np.ndarray

    def only(self, chosen: np.ndarray) -> _Taken:
        """Return some of the frames, by their numbers."""
        return _Taken(
            self.frames[chosen],
            self.present,
            self.sone[:, :, chosen],
            *(part.take(chosen, axis=-2) for part in (self.power, self.rest, self.mix)),
        )


class Draw:
    """Draws the moments of a stretch while it is heard.

    Of every layer the first frames of an order are held in which it sounds, with all other layers at them; the moments
    are chosen from these, loud ones more often, and each stands for as many frames as its chance says.

    Parameters
    ----------
    layers : tuple of str
    wanted : int
        how many moments; more where layers sound seldom
    """

    def __init__(self, layers: tuple[str, ...], wanted: int) -> None:
        self._layers, self._wanted = layers, wanted
        self._limits, self._sounding = np.ones(len(layers)), 0
        self._taken: list[_Taken] = []

    def push(self, first: int, rows: Sequence[tuple[_Both, _Both, np.ndarray] | None], mix: _Both) -> list[Piece]:
        """Choose from a chunk; it is taken by doing all of what is returned, in any order and by any threads.

        Parameters
        ----------
        first : int
            its first frame, counted from the start of the song
        rows : sequence of (layer, rest, sone), or None for a layer of which there is nothing
            both ears' rows of powers of the layer and of the mix without it, by `kernels.fine_steps`; float32
            (3, frames), its short-term loudness alone, strict and cued, 0 alone where it does not sound
        mix : pair of float32 arrays
            both ears' rows of powers of the mix
        """
        there = [one for one in rows if one is not None]
        if not there:
            return []
        present = np.array([one is not None for one in rows])
        sone = np.zeros((len(rows), *there[0][2].shape), dtype=np.float32)
        sone[present] = [one[2] for one in there]
        orders = order_of(first + np.arange(sone.shape[2]))
        self._sounding += int(np.count_nonzero(sone[:, 0].any(axis=0)))
        here = np.flatnonzero(((sone[:, 0] > 0.0) & (orders < self._limits[:, None])).any(axis=0))
        if not len(here):
            return []
        whole = np.empty((2, len(here), len(components().hz)), dtype=np.float32)
        power, rest = (np.empty((len(there), *whole.shape), dtype=np.float32) for _ in range(2))
        self._taken.append(_Taken(first + here, present, sone[:, :, here], power, rest, whole))

        def take(both: _Both, out: np.ndarray) -> None:
            out[:] = instants(both, first, here)

        outs = [(mix, whole), *zip([one[0] for one in there], power, strict=True)]
        outs += zip([one[1] for one in there], rest, strict=True)
        return [functools.partial(take, *one) for one in outs]

    def drawn(self) -> Drawn:
        """Return the moments chosen."""
        count = len(self._layers)
        if not self._taken:
            return Drawn(joined_moments(self._layers, []), np.zeros((count, 0), dtype=bool))
        frames, sone = self._frames(), np.concatenate([one.sone for one in self._taken], axis=2)
        sounding = sone[:, 0] > 0.0
        # A frame is here if the first layer in whose part of the order it lies sounds in it.
        stand_for = 1.0 / np.where(sounding, self._limits[:, None], 0.0).max(axis=0)
        chances, least = _chances(sone, stand_for, self._wanted)
        chosen = _chosen(chances, sounding, least)
        time_s = (stand_for / chances)[chosen]
        all_s = self._sounding * FRAME / RATE_HZ
        parts = [one.only(np.flatnonzero(np.isin(one.frames, frames[chosen]))) for one in self._taken]
        power, rest, mix = self._dense(parts, len(chosen))
        moments = Moments(
            self._layers,
            at_s=middle_s(frames[chosen]),
            time_s=time_s * all_s / time_s.sum(),
            power=power,
            rest=rest,
            mix=mix,
            seconds=np.zeros((count, len(chosen))),
        )
        return Drawn(moments, sounding[:, chosen])

    def _dense(self, parts: Sequence[_Taken], count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return powers of all layers; where there is nothing of one, the rest is the mix."""
        mix = np.concatenate([one.mix for one in parts], axis=1)
        power = np.zeros((len(self._layers), 2, count, mix.shape[2]), dtype=np.float32)
        rest = np.repeat(mix[None], len(self._layers), axis=0)
        at = 0
        for one in parts:
            end = at + len(one.frames)
            power[one.present, :, at:end], rest[one.present, :, at:end] = one.power, one.rest
            at = end
        return power, rest, mix

    def _frames(self) -> np.ndarray:
        return np.concatenate([one.frames for one in self._taken])

    def thin(self) -> None:
        """Hold the first of the order of each layer alone, and what others need."""
        if not self._taken:
            return
        orders = order_of(self._frames())
        sounding = np.concatenate([one.sone[:, 0] for one in self._taken], axis=1) > 0.0
        inside = sounding & (orders < self._limits[:, None])
        full = np.flatnonzero(inside.sum(axis=1) > 2 * _CANDIDATES)
        if not len(full):
            return
        for row in full:
            own = orders[inside[row]]
            self._limits[row] = np.partition(own, _CANDIDATES)[_CANDIDATES]
        held = (sounding & (orders < self._limits[:, None])).any(axis=0)
        ends = np.cumsum([len(one.frames) for one in self._taken])
        parts = zip(self._taken, np.split(held, ends[:-1]), strict=True)
        self._taken = [one if which.all() else one.only(np.flatnonzero(which)) for one, which in parts if which.any()]


@dataclass(frozen=True, eq=False)
class Drawn:
    """Moments whose `seconds` are not yet known, and in which of them every layer sounds, bool (layers, frames)."""

    moments: Moments
    sounding: np.ndarray

    def weigh(self, row: int, active_s: float, sone: np.ndarray) -> None:
        """Write the seconds of one layer, so that it is as loud in its frames as it was heard.

        Parameters
        ----------
        row : int
            its number
        active_s : float
            for how long it sounded
        sone : float array (3,)
            its mean loudness over that time, alone, strict and cued
        """
        time_s = self.moments.time_s * self.sounding[row]
        if not time_s.any() or active_s <= 0.0:
            return
        seconds = self.moments.seconds[row]
        seconds[:] = time_s * (active_s / time_s.sum())
        found = self.moments.sketch(row)
        seconds[seconds > 0.0] = weighted(found.seconds, loudness(found), sone)


def _chances(sone: np.ndarray, stand_for: np.ndarray, wanted: int) -> tuple[np.ndarray, int]:
    """Return with which chance each frame is chosen, (frames,), so that about as many are as wanted.

    Frames in which layers are loud, alone, strict or cued, have more, the same of each layer; and of every layer some
    are chosen, if all others leave it none: the second result is how many at least.
    """
    sounding = sone[:, 0] > 0.0
    active = (sounding * stand_for).sum(axis=1)
    mean = (sone * stand_for).sum(axis=2) / np.maximum(active, 1.0)[:, None]
    sizes = np.divide(sone, mean[:, :, None], out=np.zeros(sone.shape), where=mean[:, :, None] > 0.0).sum(axis=1)
    sizes = stand_for * (sounding + 3.0 * sizes)
    base = _shared_out((sizes / np.maximum(active, 1.0)[:, None]).sum(axis=0), wanted)
    for part in _OF_EACH:
        least, chances = round(part * wanted), base.copy()
        for own, size in zip(sounding, sizes, strict=True):
            if chances[own].sum() < least:
                chances[own] = np.maximum(chances[own], _shared_out(size[own], least))
        if chances.sum() <= _TOO_MANY * wanted:
            break
    return chances, least


def _shared_out(sizes: np.ndarray, count: int) -> np.ndarray:
    """Return chances up to 1 in proportion to sizes, which add up to `count` or to as many as there are."""
    chances = np.ones(len(sizes))
    free = np.ones(len(sizes), dtype=bool)
    while len(sizes) > count:
        chances[free] = sizes[free] * (count - np.count_nonzero(~free)) / sizes[free].sum()
        if not (chances > 1.0).any():
            break
        free &= chances < 1.0
        chances = np.minimum(chances, 1.0)
    return chances


def _chosen(chances: np.ndarray, sounding: np.ndarray, least: int) -> np.ndarray:
    """Return which frames are chosen: by a comb of equal steps over the chances added up, spread over time.

    A layer of which fewer than `least` happen to be has more of its own.
    """
    ends = np.cumsum(chances)
    chosen = np.floor(ends - 0.5) > np.floor(ends - chances - 0.5)
    for own in sounding:
        missing = min(least, int(own.sum())) - int((own & chosen).sum())
        if missing > 0:
            left = np.flatnonzero(own & ~chosen)
            chosen[left[((np.arange(missing) + 0.5) * len(left) / missing).astype(int)]] = True
    return np.flatnonzero(chosen)
