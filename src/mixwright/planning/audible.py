# SPDX-License-Identifier: Apache-2.0
"""How loud leads and supports of a section are under any gains of any rows, with derivatives."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.hearing.bands import PLACES
from mixwright.hearing.place_loudness import alone_slope, cued_slopes
from mixwright.planning.excited import Excited
from mixwright.planning.powers import PER_DB, factor, in_places, product, thinned
from mixwright.planning.spared import Spared

#: So many moments answer for a row in a section.
MOMENTS = 32
#: What no move touches is known at shifts of all rows by so many dB, and between them by cubic pieces.
_KNOT_DB = 3.0
#: So many choices of places are held ready.
_HELD = 3
_LEAST = 1e-9
#: What of a row lies further below its strongest cell is nothing of its loudness.
_FAINT = 1e-5
_EVERYWHERE = np.arange(PLACES)


@dataclass(frozen=True, eq=False)
class Heard:
    """What is heard of the rows of a section: specific loudness in sone, mean over the time in which each sounds.

    float64 (rows, PLACES): `alone`; `cued`, in the mix; `raised`, cued with the fader of that row up by what is asked.
    Rows as in `Audible.judged`. `took`, (shares, PLACES): what the taker of each share takes.
    """

    alone: np.ndarray
    cued: np.ndarray
    raised: np.ndarray
    took: np.ndarray

    def between(self, other: Heard, slope: Heard, other_slope: Heard, t: float, step: float) -> tuple[Heard, Heard]:
        """Return what lies between two of known slopes, `t` of the `step` away, and its slope: cubic pieces."""
        found, by = [], []
        for name in ("alone", "cued", "raised", "took"):
            a, b = getattr(self, name), getattr(other, name)
            da, db = step * getattr(slope, name), step * getattr(other_slope, name)
            bent, turned = 3.0 * (b - a) - 2.0 * da - db, 2.0 * (a - b) + da + db
            found.append(a + t * (da + t * (bent + t * turned)))
            by.append((da + t * (2.0 * bent + 3.0 * t * turned)) / step)
        return Heard(*found), Heard(*by)

    def dot(self, other: Heard) -> float:
        """Return the sum of the products."""
        names = ("alone", "cued", "raised", "took")
        return sum(float((getattr(self, name) * getattr(other, name)).sum()) for name in names)


@dataclass(frozen=True)
class Share:
    """Asks which part of what `row` loses is `taker`'s: both are rows of the section."""

    row: int
    taker: int


@dataclass(frozen=True, eq=False)
class _Cells:
    """Some places of a section: excitation of the judged rows at their moments (2, moments, places), `total` of all."""

    places: np.ndarray
    own: np.ndarray
    alone: np.ndarray
    ratio: np.ndarray
    total: np.ndarray


class Audible:
    """One section: how loud its leads and supports are when rows are moved.

    The filters stay as the mix sets them, and what cancels or adds in phase keeps its ratio; so does the inhibition of
    both ears. Who takes what is told by excitation, as in `hearing.attribution`.

    Parameters
    ----------
    excited : Excited
    judged : sequence of int
        the rows whose loudness counts
    raised_db : mapping
        by row, how far its fader is raised where it is asked for `Heard.raised`; of the others that is `cued`
    shares : sequence of Share
    """

    def __init__(
        self, excited: Excited, judged: Sequence[int], raised_db: Mapping[int, float], shares: Sequence[Share] = ()
    ) -> None:
        self.excited, self.section = excited, excited.section
        self.own, self.seconds, self.k_power = excited.own, excited.seconds, excited.k_power
        self.judged, self.shares = tuple(judged), tuple(shares)
        self.raised_db = dict(raised_db)
        self.at = {row: k for k, row in enumerate(self.judged)}
        self.spans: list[slice] = []
        frames, weights = [np.empty(0, dtype=int)], [np.empty(0)]
        for row in self.judged:
            chosen, share = thinned(excited.seconds[row], MOMENTS)
            first = sum(map(len, frames))
            self.spans.append(slice(first, first + len(chosen)))
            frames.append(chosen)
            weights.append(share)
        self.frames = np.concatenate(frames)
        rows = np.repeat(np.array(self.judged, dtype=int), [one.stop - one.start for one in self.spans])
        share = np.concatenate(weights)
        self.in_mix = share * excited.inhibited[rows, self.frames]
        self.by_itself = share * excited.inhibited_alone[rows, self.frames]
        self.row_of = np.repeat(np.arange(len(self.judged)), [one.stop - one.start for one in self.spans])
        own, alone, ratio = (
            np.ascontiguousarray(values[rows, :, self.frames].transpose(1, 0, 2))
            for values in (excited.own, excited.alone, excited.ratio)
        )
        total = excited.own.sum(axis=0, dtype=np.float64)
        self._whole = _Cells(_EVERYWHERE, own, alone, ratio, total)
        self._cells: dict[bytes, _Cells] = {}
        self._knots: dict[int, tuple[Heard, Heard]] = {}
        self.spared: dict[int, Spared] = {}

    def spare(self, inside_phon: Mapping[int, float]) -> None:
        """Ask the faders of rows only where they may have lost what they lie inside, by row in phon: see `Spared`."""
        still = self.still(0.0)[0]
        self.spared = {
            row: Spared(inside, still.alone[self.at[row]], still.cued[self.at[row]])
            for row, inside in inside_phon.items()
        }

    def heard(self, gains: Mapping[int, np.ndarray], shift_db: float, places: np.ndarray | None = None) -> Hearer:
        """Return what is heard when rows are moved by `gains` in dB, and all of them by `shift_db`.

        Parameters
        ----------
        gains : mapping
            by row, broadcastable to (2, frames, PLACES)
        shift_db : float
        places : int array, optional
            the only places in which gains do anything worth hearing
        """
        return Hearer(self, gains, shift_db, self._at(places))

    def still(self, shift_db: float) -> tuple[Heard, Heard]:
        """Return what is heard when all rows are moved alike, and its derivative by that."""
        first = math.floor(shift_db / _KNOT_DB)
        (a, by_a), (b, by_b) = (self._knot(first + k) for k in (0, 1))
        return a.between(b, by_a, by_b, shift_db / _KNOT_DB - first, _KNOT_DB)

    def k_change(self, gains: Mapping[int, np.ndarray]) -> float:
        """Return which part of the mix's K-weighted energy comes or goes with `gains`; 0 where none does."""
        return sum(product(self.k_power[row], factor(gain) - 1.0) for row, gain in gains.items())

    def change_db(self, row: int, gain: np.ndarray) -> np.ndarray:
        """Return by how much a gain of a row changes at most what is heard at each place, in dB, (PLACES,)."""
        own, total = self.own[row], self._whole.total
        change = np.abs(gain)
        if row in self.at:
            sounds = (own > _FAINT * own.max(initial=0.0)).any(axis=(0, 1))
            return np.where(sounds, np.broadcast_to(change, own.shape).max(axis=(0, 1)), 0.0)
        part = np.divide(own, total, out=np.zeros(total.shape), where=total > 0.0)
        return np.asarray((np.minimum(part, 1.0) * np.maximum(change, factor(change) - 1.0)).max(axis=(0, 1)))

    def _at(self, places: np.ndarray | None) -> _Cells:
        if places is None:
            return self._whole
        key = places.tobytes()
        if key not in self._cells:
            while len(self._cells) >= _HELD:
                self._cells.pop(next(iter(self._cells)))
            one = self._whole
            parts = (part[:, :, places] for part in (one.own, one.alone, one.ratio, one.total))
            self._cells[key] = _Cells(places, *(np.ascontiguousarray(part) for part in parts))
        return self._cells[key]

    def _knot(self, step: int) -> tuple[Heard, Heard]:
        if step not in self._knots:
            self._knots[step] = _everything(self, self._whole, 10.0 ** (step * _KNOT_DB / 10.0))
        return self._knots[step]

    def by_row(self, cells: np.ndarray, weights: np.ndarray) -> np.ndarray:
        """Return sums over ears and weighted moments of cells (2, moments, places): (rows, places)."""
        both = (cells[0] + cells[1]) * weights[:, None]
        return np.array([both[span].sum(axis=0) for span in self.spans]).reshape(len(self.judged), cells.shape[2])


class Hearer:
    """Loudness under certain gains, and what it would be worth to change them: see `Audible.heard`.

    Attributes
    ----------
    heard : Heard
    """

    def __init__(self, audible: Audible, gains: Mapping[int, np.ndarray], shift_db: float, cells: _Cells) -> None:
        self._of, self._cells, self._gains = audible, cells, gains
        self._shift = 10.0 ** (shift_db / 10.0)
        self._still, self._still_slope = audible.still(shift_db)
        self._factors = {row: factor(in_places(gain, cells.places)) for row, gain in gains.items()}
        shape = cells.total.shape
        total = cells.total
        for row, by in self._factors.items():
            total = total + audible.own[row][:, :, cells.places] * (by - 1.0)
        own = cells.own.astype(np.float64)
        for row, by in self._factors.items():
            if row in audible.at:
                span = audible.spans[audible.at[row]]
                own[:, span] *= np.broadcast_to(by, shape)[:, audible.frames[span]]
        self._own = own * self._shift
        self._others = np.maximum(np.maximum(total, 0.0)[:, audible.frames] - own, 0.0) * self._shift
        self._rest = cells.ratio * self._others
        self._alone: dict[int, tuple[np.ndarray, np.ndarray]] = {}
        self._raised: dict[int, tuple[np.ndarray, np.ndarray]] = {}
        self._lost: list[tuple[np.ndarray, np.ndarray]] = []
        self.heard = self._listen()

    def _listen(self) -> Heard:
        one, where = self._of, self._cells.places
        alone, cued, raised, took = (getattr(self._still, name).copy() for name in ("alone", "cued", "raised", "took"))
        sone, self._by_own, self._by_rest = cued_slopes(_single(self._own), _single(self._rest), where)
        now = one.by_row(sone, one.in_mix)
        raised[:, where] += now - cued[:, where]
        cued[:, where] = now
        for row, by in self._factors.items():
            if row in one.at:
                k, span = one.at[row], one.spans[one.at[row]]
                moved = np.broadcast_to(by, self._cells.total.shape)[:, one.frames[span]]
                cells = self._cells.alone[:, span] * moved * self._shift
                own_sone, slope = alone_slope(_single(cells), where)
                alone[k, where] = (own_sone[0] + own_sone[1]).T @ one.by_itself[span]
                self._alone[row] = cells, slope
        for row, db in one.raised_db.items():
            k, span, up = one.at[row], one.spans[one.at[row]], 10.0 ** (db / 10.0)
            if row in one.spared and one.spared[row].still_inside(alone[k], cued[k]):
                continue
            up_sone, by_own, by_rest = cued_slopes(
                _single(self._own[:, span] * up), _single(self._rest[:, span]), where
            )
            raised[k, where] = (up_sone[0] + up_sone[1]).T @ one.in_mix[span]
            self._raised[row] = up * by_own, by_rest
        for n, share in enumerate(one.shares):
            span = one.spans[one.at[share.row]]
            quiet, quiet_slope = alone_slope(_single(self._own[:, span]), where)
            lost = np.maximum(quiet - sone[:, span], 0.0)
            taker, others = self._taker(share, span), np.maximum(self._others[:, span], _LEAST)
            took[n, where] = (lost * np.minimum(taker / others, 1.0)).sum(axis=0).T @ one.in_mix[span]
            self._lost.append((lost, quiet_slope))
        return Heard(alone, cued, raised, took)

    def _taker(self, share: Share, span: slice) -> np.ndarray:
        """Return the excitation by who takes at the moments of who loses."""
        frames = self._of.frames[span]
        found = self._of.own[share.taker][:, frames][:, :, self._cells.places] * self._shift
        if share.taker in self._factors:
            found = found * np.broadcast_to(self._factors[share.taker], self._cells.total.shape)[:, frames]
        return np.asarray(found)

    def slopes(self, by: Heard) -> Slopes:
        """Return what a sum changes by with the gains, from its derivatives by what is heard."""
        one, where = self._of, self._cells.places
        kept = np.ones(PLACES, dtype=bool)
        kept[where] = False
        names = ("alone", "cued", "raised", "took")
        by_shift = sum(float((getattr(by, name) * getattr(self._still_slope, name))[:, kept].sum()) for name in names)
        weight = one.in_mix[:, None] * self._by_cued(by)[one.row_of]
        by_own, by_rest = self._by_own * weight, self._by_rest * weight
        for row, (own, rest) in self._raised.items():
            k, span = one.at[row], one.spans[one.at[row]]
            here = one.in_mix[span, None] * by.raised[k, where]
            by_own[:, span] += own * here
            by_rest[:, span] += rest * here
        by_others = self._cells.ratio * by_rest
        taken: dict[int, list[tuple[slice, np.ndarray]]] = {}
        for share, (lost, quiet_slope), by_took in zip(one.shares, self._lost, by.took, strict=True):
            span = one.spans[one.at[share.row]]
            taker, others = self._taker(share, span), np.maximum(self._others[:, span], _LEAST)
            here = one.in_mix[span, None] * by_took[where]
            by_lost = np.where(lost > 0.0, here * np.minimum(taker / others, 1.0), 0.0)
            by_own[:, span] += by_lost * (quiet_slope - self._by_own[:, span])
            by_others[:, span] -= by_lost * self._cells.ratio[:, span] * self._by_rest[:, span]
            inside = np.where(taker < others, here * lost / others, 0.0)
            by_others[:, span] -= inside * taker / others
            direct = inside * taker * PER_DB
            by_shift += float(direct.sum())
            taken.setdefault(share.taker, []).append((span, direct))
        by_shift += float((by_own * self._own).sum() + (by_others * self._others).sum()) * PER_DB
        alone = {}
        for row, (cells, slope) in self._alone.items():
            k, span = one.at[row], one.spans[one.at[row]]
            alone[row] = cells * slope * (one.by_itself[span, None] * by.alone[k, where]) * PER_DB
            by_shift += float(alone[row].sum())
        for k, row in enumerate(one.judged):
            if row not in self._alone:
                by_shift += float((by.alone[k, where] * self._still_slope.alone[k, where]).sum())
        mine = (by_own - by_others) * self._own * PER_DB
        everyone = np.zeros(self._cells.total.shape)
        for span in one.spans:
            everyone[:, one.frames[span]] += by_others[:, span]
        everyone *= self._shift * PER_DB
        return Slopes(one, self._cells, self._factors, everyone, mine, alone, taken, by.alone, self._shift, by_shift)

    def _by_cued(self, by: Heard) -> np.ndarray:
        """Return the derivatives by loudness in the mix; where no raised fader is asked it is that, too."""
        asked = np.array([row in self._raised for row in self._of.judged], dtype=bool)
        found = by.cued + np.where(asked[:, None], 0.0, by.raised)
        return np.asarray(found[:, self._cells.places])


@dataclass(frozen=True, eq=False)
class Slopes:
    """Derivatives of a sum by the gain of any row in dB, in some places, and by the shift of all, per dB."""

    _of: Audible
    _cells: _Cells
    _factors: Mapping[int, np.ndarray]
    _everyone: np.ndarray
    _mine: np.ndarray
    _alone: Mapping[int, np.ndarray]
    _taken: Mapping[int, list[tuple[slice, np.ndarray]]]
    _by_alone: np.ndarray
    _shift: float
    by_shift: float

    @property
    def places(self) -> np.ndarray:
        """The places."""
        return self._cells.places

    def of(self, row: int, more: float = 0.0) -> np.ndarray:
        """Return the derivative by the gain of a row, (2, frames, places).

        `more`: the derivative by the K-weighted energy of the section, as a part of what it is.
        """
        one, where = self._of, self._cells.places
        found = one.own[row][:, :, where] * self._everyone
        if more:
            found += (more * PER_DB) * one.k_power[row][:, :, where]
        if row in self._factors:
            found *= self._factors[row]
        if row in one.at:
            span = one.spans[one.at[row]]
            direct = self._mine[:, span]
            found[:, one.frames[span]] += direct + self._alone[row] if row in self._alone else direct
            if row not in self._alone:
                found[:, one.frames[span]] += self._alone_of(row, span)
        for span, direct in self._taken.get(row, ()):
            found[:, one.frames[span]] += direct
        return np.asarray(found)

    def _alone_of(self, row: int, span: slice) -> np.ndarray:
        """Return that by the loudness alone of a row that no move touches."""
        by_alone = self._by_alone[self._of.at[row]]
        if not by_alone.any():
            return np.zeros(())
        cells = self._cells.alone[:, span] * (self._shift)
        _, slope = alone_slope(_single(cells), self._cells.places)
        return np.asarray(cells * slope * (self._of.by_itself[span, None] * by_alone[self._cells.places]) * PER_DB)


def _everything(one: Audible, cells: _Cells, shift: float) -> tuple[Heard, Heard]:
    """Return what is heard of a section in which nothing but the level of all changes, and its derivative by dB."""
    own = cells.own.astype(np.float64)
    others = np.maximum(cells.total[:, one.frames] - own, 0.0) * shift
    own *= shift
    rest = cells.ratio * others
    sone, by_own, by_rest = cued_slopes(_single(own), _single(rest))
    change = (by_own * own + by_rest * rest) * PER_DB
    by_itself = cells.alone * shift
    quiet, slope = alone_slope(_single(by_itself))
    alone = one.by_row(quiet, one.by_itself), one.by_row(slope * by_itself * PER_DB, one.by_itself)
    cued = one.by_row(sone, one.in_mix), one.by_row(change, one.in_mix)
    raised = cued[0].copy(), cued[1].copy()
    for row, db in one.raised_db.items():
        k, span, up = one.at[row], one.spans[one.at[row]], 10.0 ** (db / 10.0)
        up_sone, up_own, up_rest = cued_slopes(_single(own[:, span] * up), _single(rest[:, span]))
        steeper = (up_own * up * own[:, span] + up_rest * rest[:, span]) * PER_DB
        for found, cell in zip(raised, (up_sone, steeper), strict=True):
            found[k] = (cell[0] + cell[1]).T @ one.in_mix[span]
    took = np.zeros((2, len(one.shares), PLACES))
    for n, share in enumerate(one.shares):
        span = one.spans[one.at[share.row]]
        taker = one.own[share.taker][:, one.frames[span]] * shift
        part = np.minimum(taker / np.maximum(others[:, span], _LEAST), 1.0)
        silent, steep = alone_slope(_single(own[:, span]))
        lost = np.maximum(silent - sone[:, span], 0.0)
        steeper = np.where(lost > 0.0, steep * own[:, span] * PER_DB - change[:, span], 0.0)
        for k, cell in enumerate((lost, steeper)):
            took[k, n] = (cell * part).sum(axis=0).T @ one.in_mix[span]
    return Heard(alone[0], cued[0], raised[0], took[0]), Heard(alone[1], cued[1], raised[1], took[1])


def _single(values: np.ndarray) -> np.ndarray:
    return values.astype(np.float32)
