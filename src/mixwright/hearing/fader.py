# SPDX-License-Identifier: Apache-2.0
"""Fader equivalent: by how many dB a layer must rise in the mix to be heard as loud as asked; solved, not guessed.

It works on a sketch: the powers of the layer, of the rest and of the mix at frames spread over the song. The rest stays
as it is while the layer rises, and the filters are set anew by the mix that results.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.hearing.bands import BANDS, band_edges
from mixwright.hearing.excitation import excitation, levels_per_erb
from mixwright.hearing.kernels import loudness_table, spread_table
from mixwright.hearing.scale import STEP_CAM
from mixwright.native import ear
from mixwright.native.ear import PADDED_FILTERS, PATTERNS

#: How far a fader is asked to go, in dB.
LOWEST_DB, HIGHEST_DB = -60.0, 40.0
_NEAR_DB = 0.005
_FIRST_STEP_DB = 4.0
#: At first so many frames of a chunk are sketched; where there are more in all than may be, every second one goes.
_FRAMES_A_CHUNK, _MOST_FRAMES = 16, 384


@dataclass(frozen=True, eq=False)
class Sketch:
    """Frames in which a layer sounds: float32 ``(2, frames, 134)`` each, power at both ears of layer, rest and mix."""

    layer: np.ndarray
    rest: np.ndarray
    mix: np.ndarray

    def raised(self, gain_db: float) -> Sketch:
        """Return the sketch with the layer's fader moved; what layer and rest have in common is kept."""
        gain = 10.0 ** (gain_db / 20.0)
        common = self.mix - self.layer - self.rest
        mix = np.maximum(self.rest + gain * common + gain * gain * self.layer, 0.0)
        return Sketch((gain * gain * self.layer).astype(np.float32), self.rest, mix.astype(np.float32))


class Sketcher:
    """Sketches a layer while it is heard: frames in which it sounds, spread over all of them, a few hundred at most."""

    def __init__(self, components: int) -> None:
        self._halved = 0
        self._none = np.empty((3, 2, 0, components), dtype=np.float32)
        self._kept: list[tuple[int, np.ndarray, np.ndarray]] = []  # chunk, order of the frames, their powers

    def push(self, chunk: int, powers: Sequence[tuple[np.ndarray, np.ndarray]], sounds: np.ndarray) -> None:
        """Take what there is of a chunk.

        Parameters
        ----------
        chunk : int
            its number
        powers : three pairs of float32 arrays (frames, components)
            both ears' power of layer, rest and mix
        sounds : bool array (frames,)
            where the layer sounds
        """
        order = self._order(chunk)
        # Multiples of the golden ratio: any first few of them are spread evenly, and in step with no beat.
        frames = (((order + 1) * 0.6180339887 + chunk * 0.3819660113) % 1.0 * len(sounds)).astype(int)
        order, frames = order[sounds[frames]], frames[sounds[frames]]
        if len(order):
            kept = np.stack([np.stack([side[frames] for side in both]) for both in powers])
            self._kept.append((chunk, order, kept))
        while sum(len(order) for _, order, _ in self._kept) > _MOST_FRAMES:
            self._halved += 1
            self._kept = [one for one in map(self._thinned, self._kept) if len(one[1])]

    def sketch(self) -> Sketch:
        """Return the sketch of what was heard so far."""
        layer, rest, mix = np.concatenate([self._none, *(kept for _, _, kept in self._kept)], axis=2)
        return Sketch(layer, rest, mix)

    def _order(self, chunk: int) -> np.ndarray:
        frames, skipped = _FRAMES_A_CHUNK >> self._halved, max(0, self._halved - _FRAMES_A_CHUNK.bit_length() + 1)
        return np.arange(max(1, frames) if chunk % (1 << skipped) == 0 else 0)

    def _thinned(self, one: tuple[int, np.ndarray, np.ndarray]) -> tuple[int, np.ndarray, np.ndarray]:
        chunk, order, kept = one
        left = np.isin(order, self._order(chunk))
        return chunk, order[left], kept[:, :, left]


def loudness(sketch: Sketch, *, alone: bool = True) -> np.ndarray:
    """Return the loudness of the layer at the moment of each frame, float32 ``(3, frames)``: alone, strict, cued.

    Where it is not asked how loud the layer is `alone`, the first row means nothing.
    """
    frames = sketch.layer.shape[1]
    patterns = np.zeros((2, frames, PATTERNS, PADDED_FILTERS), dtype=np.float32)
    constants, scale = loudness_table()
    for side in range(2):
        layer, rest, mix = (np.ascontiguousarray(part[side]) for part in (sketch.layer, sketch.rest, sketch.mix))
        levels = levels_per_erb(mix)
        shared, masking = excitation(layer, levels), excitation(rest, levels)
        own = excitation(layer) if alone else shared
        # Every frame on its own: what was before does not linger.
        state = np.zeros((3, PADDED_FILTERS), dtype=np.float32)
        ear.loudness(own, shared, masking, 1, constants, scale, 1.0, 1.0, state, patterns[side])
    out = np.empty((frames, 3, BANDS), dtype=np.float32)
    ear.bands(patterns[0], patterns[1], spread_table(), band_edges(), STEP_CAM, out)
    return np.ascontiguousarray(out.sum(axis=2).T)


class Fader:
    """The mean loudness of a sketched layer in the mix at any fader, each worked out once for both readings."""

    def __init__(self, sketch: Sketch) -> None:
        self._sketch = sketch
        self._heard: dict[float, np.ndarray] = {}

    def loudness(self, gain_db: float, row: int) -> float:
        """Return the loudness in sone with the fader moved by so much; `row`: strict or cued."""
        if gain_db not in self._heard:
            raised = self._sketch.raised(gain_db)
            self._heard[gain_db] = loudness(raised, alone=False).mean(axis=1, dtype=np.float64)
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


def fader_equivalent_db(sketch: Sketch, wanted_sone: float, row: int) -> float | None:
    """Return the dB by which the layer must rise so that its mean loudness in the mix is as wanted, as in Fader."""
    return Fader(sketch).equivalent_db(wanted_sone, row)


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
