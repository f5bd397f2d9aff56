# SPDX-License-Identifier: Apache-2.0
"""What of a layer is essential to it in a section, and how far a static shape may go without taking it away.

The idea, cuts of what is not essential to the masker alone, is that of Hafezi and Reiss (2015); which cells are
essential is a rule of our own.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from mixwright.hearing.bands import PLACES
from mixwright.hearing.place_loudness import place_hz
from mixwright.planning.candidate import Candidate, Setting
from mixwright.planning.excited import Excited
from mixwright.planning.limits import ESSENTIAL_DB

#: What changes the spectrum of a layer for good, and so is held against what is essential to it.
STATIC_SHAPES = frozenset({"band_limit", "shape", "tilt"})
#: A cell of a harmonic or formant stands so far over the places beside it; one of an onset is of a moment that stands
#: so far over the mean. Neither lies more than so far below the strongest cell of its moment, nor below the rest.
_PEAK_DB, _ONSET_DB, _BELOW_DB, _COVERED_DB = 3.0, 6.0, 15.0, 10.0
#: What stands so far over all others together is still heard after a cut.
_SPARE_DB = 6.0
#: Where a harmonic is looked for beside: so many places away, 1.5 Cam.
_BESIDE = 3
#: Rows that sound for less in a section do not count there; and less than this part of a first try is no try.
_LEAST_S, _WORTH = 1.0, 0.25
_HALVINGS = 12
_LEAST = 1e-12


def essential(excited: Excited, row: int) -> np.ndarray:
    """Return which cells are essential to a row, bool ``(frames, PLACES)``; both ears together.

    Those in which it is the loudest of all rows, and those that carry its own onsets and harmonics and are not covered.
    """
    own, most, total = _all_rows(excited)
    mine = own[row]
    strongest = mine.max(axis=1, keepdims=True)
    counts = mine > strongest * _ratio(-_BELOW_DB)
    loudest = mine >= most
    padded = np.pad(mine, ((0, 0), (_BESIDE, _BESIDE)), mode="edge")
    beside = np.minimum(padded[:, : -2 * _BESIDE], padded[:, 2 * _BESIDE :])
    stands_out = mine > beside * _ratio(_PEAK_DB)
    power = mine.sum(axis=1)
    sounds = excited.seconds[row] > 0.0
    mean = float(power[sounds].mean()) if sounds.any() else 0.0
    onset = (power > mean * _ratio(_ONSET_DB))[:, None]
    heard = mine > (total - mine) * _ratio(-_COVERED_DB)
    return np.asarray(counts & (loudest | (heard & (stands_out | onset))) & (mine > 0.0))


@functools.lru_cache(maxsize=2)
def _all_rows(excited: Excited) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return excitation over both ears of every row, of the loudest and of all together; row by row in one section."""
    own = excited.own.sum(axis=1)
    return own, own.max(axis=0), own.sum(axis=0)


@dataclass(frozen=True, eq=False)
class _Held:
    """A row in a section: energy by place, both ears together, (PLACES,) each.

    All of it, what is essential, and what of that would go under when it is lowered.
    """

    whole: np.ndarray
    essential: np.ndarray
    tight: np.ndarray

    def change_db(self, gains_db: np.ndarray, *, beside_whole: bool) -> float:
        """Return by how much what is essential changes for a gain at each place, by itself or beside the whole."""
        if not self.essential.sum() > 0.0:
            return 0.0
        power = 10.0 ** (gains_db / 10.0)
        kept = float(self.essential @ power / self.essential.sum())
        whole = float(self.whole @ power / self.whole.sum()) if beside_whole else 1.0
        return float(10.0 * np.log10(max(kept, _LEAST) / max(whole, _LEAST)))


class Essentials:
    """What is essential to each row in each section, worked out once.

    Parameters
    ----------
    sections : sequence of Excited
    kept : function of row and name of a section
        whether the row's essentials are held there: those of leads and supports are
    """

    def __init__(self, sections: Sequence[Excited], kept: Callable[[int, str], bool]) -> None:
        self._sections = sections
        self._held = [
            {row: _held(excited, row) for row in range(len(excited.rows)) if excited.active_s[row] > 0.0}
            for excited in sections
        ]
        self._kept = kept

    def share(self, row: int, section: str, low_hz: float, high_hz: float) -> float:
        """Return which part of a row's energy between two frequencies a cut would take from it, 0 to 1.

        That is what is essential to it and does not stand so far over all others that a cut leaves it in front.
        """
        inside = (place_hz() >= low_hz) & (place_hz() <= high_hz)
        for excited, held in zip(self._sections, self._held, strict=True):
            if excited.section.name == section and row in held:
                one = held[row]
                return float(one.tight[inside].sum() / max(float(one.whole[inside].sum()), _LEAST))
        return 0.0

    def change_db(self, candidate: Candidate, values: Sequence[float] | np.ndarray) -> float:
        """Return by how much what is essential to a row that is held changes, in dB.

        Of all such rows in all sections the one that loses most: beside the whole of it, as a fader takes nothing that
        is essential; by a pass, which takes without end, also by itself. 0 for level, place, and what follows a key or
        levels: these have a price instead.
        """
        if candidate.kind not in STATIC_SHAPES:
            return 0.0
        return min(
            (
                held[row].change_db(np.broadcast_to(gain, (PLACES,)), beside_whole=beside)
                for beside in ((False, True) if candidate.kind == "band_limit" else (True,))
                for excited, held in zip(self._sections, self._held, strict=True)
                for row, gain in candidate.gains_db(values, excited).items()
                if row in held and excited.active_s[row] >= _LEAST_S and self._kept(row, excited.section.name)
            ),
            default=0.0,
        )

    def allowed(self, candidate: Candidate, values: Sequence[float] | np.ndarray) -> bool:
        """Tell whether a candidate leaves every row what is essential to it."""
        return self.change_db(candidate, values) >= -ESSENTIAL_DB.value

    def within(self, candidate: Candidate) -> Candidate | None:
        """Return a candidate whose bounds leave every row what is essential to it; None where next to nothing is left.

        Each setting is narrowed by itself, on the way from its start to either end, by bisection; several that are all
        taken to their ends may go further together, so look again at what was chosen.
        """
        if candidate.kind not in STATIC_SHAPES:
            return candidate
        settings = []
        for k, one in enumerate(candidate.settings):
            low, high = (self._furthest(candidate, k, end) for end in (one.low, one.high))
            settings.append(replace(one, low=low, high=high, first=min(max(one.first, low), high)))
        pairs = zip(settings, candidate.settings, strict=True)
        left = any(_way(now) > _WORTH * _way(was) for now, was in pairs)
        return replace(candidate, settings=tuple(settings)) if left else None

    def _furthest(self, candidate: Candidate, k: int, end: float) -> float:
        """Return how far one setting may go towards an end."""
        one, values = candidate.settings[k], candidate.start
        in_octaves = one.name in ("low_hz", "high_hz")

        def fits(part: float) -> bool:
            values[k] = one.start * (end / one.start) ** part if in_octaves else one.start + part * (end - one.start)
            return self.allowed(candidate, values)

        if fits(1.0):
            return end
        near, far = 0.0, 1.0
        for _ in range(_HALVINGS):
            middle = 0.5 * (near + far)
            near, far = (middle, far) if fits(middle) else (near, middle)
        fits(near)
        return float(values[k])


def _way(one: Setting) -> float:
    """Return how far a first try goes, of a corner in octaves."""
    if one.name in ("low_hz", "high_hz"):
        return abs(math.log2(one.first / one.start))
    return abs(one.first - one.start)


def _held(excited: Excited, row: int) -> _Held:
    energy = (excited.own[row].sum(axis=0) * excited.seconds[row][:, None]).astype(np.float64)
    cells = essential(excited, row)
    own, _, total = _all_rows(excited)
    spare = own[row] > (total - own[row]) * _ratio(_SPARE_DB)
    return _Held(energy.sum(axis=0), (energy * cells).sum(axis=0), (energy * (cells & ~spare)).sum(axis=0))


def _ratio(db: float) -> float:
    return float(10.0 ** (db / 10.0))
