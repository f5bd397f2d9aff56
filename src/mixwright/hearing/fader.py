# SPDX-License-Identifier: Apache-2.0
"""Fader equivalent: by how many dB a layer must rise in the mix to be heard as loud as asked; solved, not guessed.

It works on a sketch: the powers of the layer, of the rest and of the mix at frames in which it sounds. The rest stays
as it is while the layer rises, and the filters are set anew by the mix that results.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from mixwright.hearing.bands import band_edges
from mixwright.hearing.components import RATE_HZ, components
from mixwright.hearing.excitation import excitation, levels_per_erb
from mixwright.hearing.kernels import FRAME, fine_steps, loudness_table, spread_table, whole_frames
from mixwright.hearing.scale import STEP_CAM
from mixwright.jobs.progress import Cancel
from mixwright.native import ear
from mixwright.native.ear import PADDED_FILTERS, PATTERNS

#: How far a fader is asked to go, in dB.
LOWEST_DB, HIGHEST_DB = -60.0, 40.0
_NEAR_DB = 0.005
_FIRST_STEP_DB = 4.0
#: So many frames of a layer tell how loud it is; where phrases are asked this part of all is sketched, or so many.
FRAMES, DENSE, LEAST_DENSE = 128, 0.18, 512
#: Frames are weighted in so many rounds at most, with the first of these ridges by which loudness is as near as this.
_ROUNDS, _RIDGES, _ENOUGH = 30, (0.0, 0.003, 0.03, 0.3), 0.003


@dataclass(frozen=True, eq=False)
class Sketch:
    """Moments at which a layer sounds: float32 ``(2, frames, 134)`` each, power at both ears of layer, rest and mix.

    Each is the power at one of the steps of a frame. `at_s`: float64 (frames,), the middle of each frame in the song,
    ascending; `seconds`: float64 (frames,), how much of the time in which the layer sounds each stands for.
    """

    layer: np.ndarray
    rest: np.ndarray
    mix: np.ndarray
    at_s: np.ndarray
    seconds: np.ndarray

    def __len__(self) -> int:
        """Return how many frames there are."""
        return len(self.at_s)

    def raised(self, gain_db: float) -> Sketch:
        """Return the sketch with the layer's fader moved; what layer and rest have in common is kept."""
        gain = 10.0 ** (gain_db / 20.0)
        common = self.mix - self.layer - self.rest
        mix = np.maximum(self.rest + gain * common + gain * gain * self.layer, 0.0)
        layer = (gain * gain * self.layer).astype(np.float32)
        return replace(self, layer=layer, mix=mix.astype(np.float32))

    def louder(self, db: float) -> Sketch:
        """Return all of it as heard at another listening level."""
        gain = np.float32(10.0 ** (db / 10.0))
        return replace(self, layer=self.layer * gain, rest=self.rest * gain, mix=self.mix * gain)

    def within(self, start_s: float, end_s: float) -> Sketch:
        """Return the frames of a part of the song, a section or a phrase."""
        return self._frames(np.flatnonzero((self.at_s >= start_s) & (self.at_s < end_s)))

    def thinned(self, frames: int) -> Sketch:
        """Return no more than so many frames, spread evenly over the time that these stand for."""
        if len(self) <= frames:
            return self
        whole = float(self.seconds.sum())
        at = np.searchsorted(np.cumsum(self.seconds), (np.arange(frames) + 0.5) * whole / frames)
        thin = self._frames(np.minimum(at, len(self) - 1))
        return replace(thin, seconds=np.full(frames, whole / frames))

    def mean(self, values: np.ndarray) -> np.ndarray:
        """Return the mean over time of values ``(..., frames)``."""
        return np.asarray(values @ (self.seconds / max(float(self.seconds.sum()), 1e-9)))

    def _frames(self, chosen: np.ndarray) -> Sketch:
        layer, rest, mix = (part[:, chosen] for part in (self.layer, self.rest, self.mix))
        return Sketch(layer, rest, mix, self.at_s[chosen], self.seconds[chosen])


def joined(sketches: Sequence[Sketch]) -> Sketch:
    """Return the frames of sketches of one layer, each from another stretch of the song, in order."""
    none = np.empty((2, 0, len(components().hz)), dtype=np.float32)
    layer, rest, mix = (
        np.concatenate([none, *parts], axis=1)
        for parts in ([one.layer for one in sketches], [one.rest for one in sketches], [one.mix for one in sketches])
    )
    at_s, seconds = (
        np.concatenate([np.empty(0), *parts])
        for parts in ([one.at_s for one in sketches], [one.seconds for one in sketches])
    )
    return Sketch(layer, rest, mix, at_s, seconds)


class Sketcher:
    """Sketches a layer of which phrases are asked while a stretch is heard: 18 % of the frames in which it sounds.

    LEAST_DENSE of them at least, if there are as many.
    """

    def __init__(self) -> None:
        self._limit = 1.0
        self._kept: list[tuple[np.ndarray, np.ndarray]] = []  # frames of the song, powers

    def push(self, first: int, powers: Sequence[tuple[np.ndarray, np.ndarray]], sounding: np.ndarray) -> None:
        """Take what there is of a chunk.

        Parameters
        ----------
        first : int
            its first frame, counted from the start of the song
        powers : three pairs of float32 arrays
            both ears' rows of powers of layer, rest and mix, by `kernels.fine_steps`
        sounding : bool array (frames,)
            in which it sounds and may be sketched
        """
        here = np.flatnonzero(sounding)
        here = here[order_of(first + here) < self._limit]
        if not len(here):
            return
        self._kept.append((first + here, np.stack([instants(both, first, here) for both in powers])))
        if sum(len(frames) for frames, _ in self._kept) > 2 * LEAST_DENSE:
            self._thin()

    def sketch(self, active_s: float, sone: np.ndarray) -> Sketch:
        """Return the sketch of what was heard.

        Parameters
        ----------
        active_s : float
            for how long it sounded
        sone : float array (3,)
            its mean loudness over that time, as which the sketch is weighted to be heard
        """
        self._thin()
        if not self._kept:
            return joined([])
        frames = np.concatenate([one for one, _ in self._kept])
        layer, rest, mix = np.concatenate([powers for _, powers in self._kept], axis=2)
        seconds = np.full(len(frames), active_s / len(frames))
        found = Sketch(layer, rest, mix, middle_s(frames), seconds)
        return replace(found, seconds=weighted(seconds, loudness(found), sone))

    def _thin(self) -> None:
        """Keep the first of the order alone."""
        orders = np.concatenate([np.empty(0), *(order_of(frames) for frames, _ in self._kept)])
        if len(orders) <= LEAST_DENSE:
            return
        self._limit = max(float(np.partition(orders, LEAST_DENSE)[LEAST_DENSE]), DENSE)
        chosen = [order_of(frames) < self._limit for frames, _ in self._kept]
        self._kept = [
            (frames[which], powers[:, :, which])
            for (frames, powers), which in zip(self._kept, chosen, strict=True)
            if which.any()
        ]


def order_of(frames: np.ndarray) -> np.ndarray:
    """Return the place of every frame of the song in an order from 0 to 1, the same for all layers.

    Multiples of the golden ratio: any first few of them are spread evenly, and in step with no beat.
    """
    return _multiples(frames, 0.6180339887498949)


def instants(both: tuple[np.ndarray, np.ndarray], first: int, here: np.ndarray) -> np.ndarray:
    """Return powers at one moment of some frames of a chunk, float32 ``(2, frames, 134)``: for each frame the same one.

    `both`: its rows of powers at both ears; `first`: its first frame in the song; `here`: which of its frames.
    """
    return fine_steps().instants(both, here, _multiples(first + here, 0.7548776662466927))


def middle_s(frames: np.ndarray) -> np.ndarray:
    """Return where the middle of frames lies in the song, in seconds."""
    return np.asarray((frames + 0.5) * FRAME / RATE_HZ)


def _multiples(frames: np.ndarray, ratio: float) -> np.ndarray:
    return np.asarray((frames * ratio) % 1.0)


def weighted(seconds: np.ndarray, moments: np.ndarray, sone: np.ndarray) -> np.ndarray:
    """Return weights near to those given, by which the mean loudness of moments (3, frames) is `sone` (3,).

    Raking (Deville and Saerndal 1992): the least change of the weights by their ratio. It takes out the chance of the
    choice, and that loudness falls more slowly than it rises. No weight is changed by more than a factor of 10. Few
    moments may not hold it all: then as near as some ridge leads.
    """
    asked = np.flatnonzero(sone > 1e-6)
    aims = moments[asked].astype(np.float64) / sone[asked, None] - 1.0
    start = seconds / seconds.sum()
    best, least = start, np.inf
    for ridge in _RIDGES:
        weights = _raked(start, aims, ridge)
        missed = float(np.abs(aims @ weights).max(initial=0.0))
        if missed < least:
            best, least = weights, missed
        if missed < _ENOUGH:
            break
    return np.asarray(best * seconds.sum())


def _raked(start: np.ndarray, aims: np.ndarray, ridge: float) -> np.ndarray:
    """Return weights that add up to 1, by which the means of `aims` are 0, or the nearer to it the less the ridge."""
    steps, weights, most = np.zeros(len(aims)), start, math.log(10.0)
    for _ in range(_ROUNDS):
        missed = aims @ weights + ridge * steps
        if np.abs(missed).max(initial=0.0) < 1e-4:
            break
        spread = (aims * weights) @ aims.T + max(ridge, 1e-6) * np.eye(len(aims))
        steps -= np.linalg.solve(spread, missed)
        weights = start * np.exp(np.clip(steps @ aims, -most, most))
        weights /= weights.sum()
    return weights


def loudness(sketch: Sketch, *, alone: bool = True) -> np.ndarray:
    """Return the loudness of the layer at the moment of each frame, float32 ``(3, frames)``: alone, strict, cued.

    Where it is not asked how loud the layer is `alone`, the first row means nothing.
    """
    return np.ascontiguousarray(loudness_by_band(sketch, alone=alone).sum(axis=2))


def loudness_by_band(sketch: Sketch, edges: np.ndarray | None = None, *, alone: bool = True) -> np.ndarray:
    """Return the same in every band, float32 ``(3, frames, bands)``; `edges`: of other bands, as `bands.band_edges`."""
    ears = []
    for side in range(2):
        layer, rest, mix = (np.ascontiguousarray(part[side]) for part in (sketch.layer, sketch.rest, sketch.mix))
        levels = levels_per_erb(mix)
        shared, masking = excitation(layer, levels), excitation(rest, levels)
        ears.append((excitation(layer) if alone else shared, shared, masking))
    return loudness_of_excitations(ears, band_edges() if edges is None else edges)


def loudness_of_excitations(ears: Sequence[tuple[np.ndarray, np.ndarray, np.ndarray]], edges: np.ndarray) -> np.ndarray:
    """Return the loudness of a layer at moments by themselves, float32 ``(3, frames, bands)``: alone, strict, cued.

    Parameters
    ----------
    ears : pairs of (own, shared, masking), float32, (frames, 160)
        of both ears: excitation by the layer through filters that it sets itself; by the layer and by what is left
        without it through those that the mix sets; from `excitation`
    edges : ndarray, int32, (bands + 1,)
        as `bands.band_edges`
    """
    frames = len(ears[0][0])
    patterns = np.zeros((2, frames, PATTERNS, PADDED_FILTERS), dtype=np.float32)
    constants, scale = loudness_table()
    at_once, parts = np.ones(1, dtype=np.float32), whole_frames().parts
    for excited, pattern in zip(ears, patterns, strict=True):
        # Every frame on its own: what was before does not linger.
        state = np.zeros((3, PADDED_FILTERS), dtype=np.float32)
        ear.loudness(*excited, 1, parts, constants, scale, at_once, at_once, state, pattern)
    out = np.empty((frames, 3, len(edges) - 1), dtype=np.float32)
    ear.bands(patterns[0], patterns[1], spread_table(), edges, STEP_CAM, out)
    return out.transpose(1, 0, 2)


class Fader:
    """The mean loudness of a sketched layer in the mix at any fader, each worked out once for both readings.

    The switch to stop is looked at before each.
    """

    def __init__(self, sketch: Sketch, cancel: Cancel | None = None) -> None:
        self._sketch = sketch
        self._cancel = cancel or Cancel()
        self._heard: dict[float, np.ndarray] = {}

    def loudness(self, gain_db: float, row: int) -> float:
        """Return the loudness in sone with the fader moved by so much; `row`: strict or cued."""
        if gain_db not in self._heard:
            self._cancel.check()
            raised = self._sketch.raised(gain_db)
            self._heard[gain_db] = raised.mean(loudness(raised, alone=False).astype(np.float64))
        return float(self._heard[gain_db][row])

    def equivalent_db(self, wanted_sone: float, row: int) -> float | None:
        """Return by how many dB the layer must rise so that its mean loudness in the mix is as wanted.

        Parameters
        ----------
        wanted_sone : float
            mean over the sketch's frames, above 0
        row : int
            which loudness: strict or cued

        Returns
        -------
        float or None
            negative where it is heard louder already; None where no fader between LOWEST_DB and HIGHEST_DB reaches it
        """

        def missing(gain_db: float) -> float:
            # Close to straight over dB, as loudness is close to a power of power.
            return float(np.log(wanted_sone) - np.log(max(self.loudness(gain_db, row), 1e-9)))

        low_db, high_db = LOWEST_DB, HIGHEST_DB
        at_db, step_db, missed = 0.0, _FIRST_STEP_DB, missing(0.0)
        up = missed > 0.0
        while (missed > 0.0) == up and missed != 0.0:  # widening steps, until it lies between two faders
            if at_db in (LOWEST_DB, HIGHEST_DB):
                return None
            low_db, high_db = (at_db, high_db) if up else (low_db, at_db)
            at_db = min(at_db + step_db, HIGHEST_DB) if up else max(at_db - step_db, LOWEST_DB)
            step_db, missed = 2.0 * step_db, missing(at_db)
        low_db, high_db = (low_db, at_db) if up else (at_db, high_db)
        return _root(missing, low_db, high_db)


def _root(missing: Callable[[float], float], low_db: float, high_db: float) -> float:
    """Return where something that falls passes 0 between two faders: straight lines, the end that stays halved."""
    low, high = missing(low_db), missing(high_db)
    before = 0
    while high_db - low_db > _NEAR_DB and low != high:
        at_db = min(max(low_db + (high_db - low_db) * low / (low - high), low_db), high_db)
        now = missing(at_db)
        if abs(now) < 1e-5:  # of a hundredth of a phon
            return at_db
        if now > 0.0:
            low_db, low, high, before = at_db, now, high / 2.0 if before > 0 else high, 1
        else:
            high_db, high, low, before = at_db, now, low / 2.0 if before < 0 else low, -1
    return high_db if high == 0.0 else (low_db + high_db) / 2.0
