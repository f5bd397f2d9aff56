# SPDX-License-Identifier: Apache-2.0
"""How layers stand in one section beside how they stand in the others: a hint at who is off there, and by how far."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from mixwright.hearing.bands import PLACES
from mixwright.hearing.place_loudness import place_hz
from mixwright.ledger.findings import LEAST_S
from mixwright.model.words import Place
from mixwright.planning.excited import Excited
from mixwright.planning.powers import PER_DB, factor

#: What a dB counts, in phon, by which a layer is moved towards where it stands elsewhere, and over how many dB from
#: there that wears off: songs are arranged, so that a few dB between sections tell nothing.
DB_WEIGHT, ROUND_DB = 0.2, 3.0
#: A layer that stands apart by less, in dB, is where it stands elsewhere; a bell of less is none.
LEAST_DB, LEAST_BELL_DB = 2.0, 4.0
#: So many layers must be heard in two sections to tell what is common to all of them.
_LEAST_ROWS = 3
#: What is usual between two sections: so many dB, and so many times the median of what layers differ by; of the shape
#: of a layer, what it differs by at single places, half as much again. Of what is usual half counts. Sections between
#: which more than so many times as much is usual as between those most alike are not compared.
_USUAL_DB, _USUAL_TIMES, _SHAPE_TIMES, _ALIKE = 2.0, 2.0, 1.5, 1.5
#: Levels and shapes are means over so many places to both sides; what lies so far below the strongest place of a layer
#: is none of it, and a bell is not looked for where less than this part of its loudness is.
_BESIDE, _BELOW_DB, _LEAST_PART = 2, 40.0, 0.002
#: Loudness goes with about this power of excitation.
_LOUDNESS = 0.25
_WIDEST_Q, _NARROWEST_Q = 0.7, 3.0
_LEAST = 1e-12


@dataclass(frozen=True, eq=False)
class Standing:
    """How one row of a section stands apart.

    Attributes
    ----------
    apart_db : ndarray, (PLACES,)
        by how much it stands higher at each place than in any other section that is alike, or, below 0, lower; beside
        what is common to all rows, and less where that is usual. 0 where it is higher than in one and lower than in
        another.
    weight : ndarray, (PLACES,)
        the part of each place in the loudness of the row, about; adds up to 1
    """

    apart_db: np.ndarray
    weight: np.ndarray

    @property
    def level_db(self) -> float:
        """By how much it stands higher as a whole: in nine tenths of what it is, which hardly a bell reaches."""
        return max(_quantile(self.apart_db, self.weight, 0.1), 0.0)

    @property
    def mean_db(self) -> float:
        """By how much it stands higher on average, or, below 0, lower."""
        return float(self.weight @ self.apart_db)

    @property
    def size_db(self) -> float:
        """How far it stands apart, up or down: root of the mean square."""
        return math.sqrt(float(self.weight @ self.apart_db**2))

    def between(self, low_hz: float, high_hz: float) -> float:
        """Return by how much it stands apart between two frequencies beside the whole of it, in dB."""
        weight = self.weight * ((place_hz() >= low_hz) & (place_hz() <= high_hz))
        return float(weight @ self.apart_db) / max(float(weight.sum()), _LEAST) - self.level_db

    def bell(self) -> tuple[float, float, float] | None:
        """Return frequency, Q and height in dB of the bell by which it stands higher than elsewhere; None without one.

        That is beside the whole of it, and reaches to where half of the height is left.
        """
        over = self.apart_db - self.level_db
        best = int(np.argmax(np.where(self.weight > _LEAST_PART, over, 0.0)))
        height = float(over[best])
        if height < LEAST_BELL_DB:
            return None
        below = np.flatnonzero(over < 0.5 * height)
        edges = np.searchsorted(below, best)
        low = below[edges - 1] if edges > 0 else 0
        high = below[edges] if edges < len(below) else PLACES - 1
        low_hz, high_hz = (math.sqrt(float(place_hz()[k] * place_hz()[beside])) for k, beside in _beside(low, high))
        hz = math.sqrt(low_hz * high_hz)
        return hz, round(min(max(hz / (high_hz - low_hz), _WIDEST_Q), _NARROWEST_Q), 1), height

    def cost(self, gain_db: np.ndarray) -> tuple[float, np.ndarray]:
        """Return what it costs, in phon, to move the row by a gain at each place, (PLACES,) or one, and the slopes.

        ``DB_WEIGHT * sum(weight * (f(apart + gain) - f(apart)))`` with ``f(x) = sqrt(x^2 + ROUND_DB^2)``: below 0 where
        it comes nearer to where it stands elsewhere.
        """
        now = np.hypot(self.apart_db + gain_db, ROUND_DB)
        value = float(self.weight @ (now - np.hypot(self.apart_db, ROUND_DB)))
        return DB_WEIGHT * value, DB_WEIGHT * self.weight * (self.apart_db + gain_db) / now


def standings(sections: Sequence[Excited]) -> list[dict[int, Standing]]:
    """Return of each section which of its rows stand apart from where they stand in the other sections, and how.

    Two sections in which at least three rows sound are compared beside what is common to these, the median of what they
    change by. Of several that are alike the nearest counts: what stands apart does so from all of them.
    """
    levels = [_levels(one) for one in sections]
    found: list[dict[int, Standing]] = []
    for here in levels:
        apart: dict[int, list[tuple[float, np.ndarray]]] = {}
        for there in levels:
            both = sorted(here.keys() & there.keys())
            if there is here or len(both) < _LEAST_ROWS:
                continue
            changes = np.array([_db(here[row].sum()) - _db(there[row].sum()) for row in both])
            common = float(np.median(changes))
            usual_db = _USUAL_DB + _USUAL_TIMES * float(np.median(np.abs(changes - common)))
            for row in both:
                apart.setdefault(row, []).append((usual_db, _db(here[row]) - _db(there[row]) - common))
        known = {}
        for row, of in apart.items():
            weight = _weight(here[row])
            known[row] = Standing(_nearest(of, weight), weight)
        found.append({row: one for row, one in known.items() if one.size_db >= LEAST_DB})
    return found


def believed(standing: Mapping[int, Standing], places: Mapping[int, Place]) -> dict[int, Standing]:
    """Return what is believed of how the rows of a section stand apart: of all but leads only where they stand higher.

    Layers come and go: that one is softer than elsewhere is how the song is arranged, and no reason to raise it.
    """
    found = {
        row: one if places.get(row) == "lead" else replace(one, apart_db=np.maximum(one.apart_db, 0.0))
        for row, one in standing.items()
    }
    return {row: one for row, one in found.items() if one.size_db >= LEAST_DB}


def mean_gain(own: np.ndarray, seconds: np.ndarray, gain: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the gain of a row at each place, mean over its energy, and the part of each cell in it.

    `own` (2, frames, PLACES), `seconds` (frames,), `gain` in dB, broadcastable to `own`: it is itself where it is the
    same at all moments.
    """
    if gain.ndim < 2:
        return gain, np.ones(())
    power = own * seconds[:, None]
    now = power * factor(gain)
    before, after = (np.maximum(one.sum(axis=(0, 1), dtype=np.float64), _LEAST) for one in (power, now))
    return np.asarray(np.log(after / before) / PER_DB), now / after


def _levels(excited: Excited) -> dict[int, np.ndarray]:
    """Return the mean power of the rows that sound long enough, at every place, of both ears together."""
    return {
        int(row): _smooth(np.tensordot(excited.seconds[row], excited.own[row].sum(axis=0), 1) / excited.active_s[row])
        for row in np.flatnonzero(excited.active_s >= LEAST_S)
    }


def _nearest(apart: Sequence[tuple[float, np.ndarray]], weight: np.ndarray) -> np.ndarray:
    """Return of differences to some sections, each with what is usual there, the smallest; 0 where they disagree."""
    most_alike = min(usual_db for usual_db, _ in apart)
    found = []
    for usual_db, differs in apart:
        if usual_db <= _ALIKE * most_alike:
            level = _quantile(differs, weight, 0.5)  # no bell on a layer moves where the rest of it stands
            shape = _smooth(differs - level)
            found.append([_beyond(level, usual_db), *_beyond(shape, _SHAPE_TIMES * usual_db)])
    each = np.array(found)
    agree = np.abs(np.sign(each).sum(axis=0)) == len(each)
    nearest = np.where(agree, np.sign(each[0]) * np.abs(each).min(axis=0), 0.0)
    return np.asarray(nearest[0] + nearest[1:])


def _beyond(differs_db: np.ndarray | float, usual_db: float) -> np.ndarray:
    """Return what counts of a difference: little of what is usual, nearly all of what is far more."""
    return np.asarray(differs_db**3 / (np.square(differs_db) + usual_db**2))


def _quantile(values: np.ndarray, weight: np.ndarray, part: float) -> float:
    order = np.argsort(values, kind="stable")
    return float(values[order][np.searchsorted(np.cumsum(weight[order]), part * weight.sum())])


def _smooth(values: np.ndarray) -> np.ndarray:
    over = 2 * _BESIDE + 1
    return np.convolve(np.pad(values, _BESIDE, mode="edge"), np.full(over, 1.0 / over), mode="valid")


def _weight(power: np.ndarray) -> np.ndarray:
    most = float(power.max(initial=0.0))
    weight = np.where(power > most * 10.0 ** (-_BELOW_DB / 10.0), power, 0.0) ** _LOUDNESS
    return np.asarray(weight / max(float(weight.sum()), _LEAST))


def _beside(low: int, high: int) -> tuple[tuple[int, int], tuple[int, int]]:
    """Return both edges of a bell as pairs of places: the last one outside, and the first one inside."""
    return (low, min(low + 1, PLACES - 1)), (high, max(high - 1, 0))


def _db(power: np.ndarray) -> np.ndarray:
    return np.asarray(10.0 * np.log10(np.maximum(power, _LEAST)))
