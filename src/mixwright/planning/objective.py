# SPDX-License-Identifier: Apache-2.0
"""What a song with some moves falls short of, what these cost, and by what that changes with every setting."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from mixwright.hearing.bands import PLACES
from mixwright.jobs.pool import Team
from mixwright.ledger.findings import LedgerRow
from mixwright.model.ledger import Finding
from mixwright.planning.audible import Audible, Heard, Hearer, Slopes
from mixwright.planning.candidate import Candidate
from mixwright.planning.covered_term import covered_terms
from mixwright.planning.essentials import STATIC_SHAPES
from mixwright.planning.excited import Excited
from mixwright.planning.known_section import Essential, Known, known_section
from mixwright.planning.powers import factor, in_places, phon, product
from mixwright.planning.standing import believed, mean_gain, standings
from mixwright.planning.terms import (
    BED_FREE_DB,
    BED_WEIGHT,
    Moved,
    Part,
    added_up,
    hinge,
)

#: What the first move is priced at beside its size, in phon, and by how much more each further one than the one before
#: it: an engineer has to make it, and hear whether it is right, and a plan is few moves.
A_MOVE, A_FURTHER_MOVE = 0.2, 0.5
#: What a dB costs by which the essential part of a lead or a support moves beside the rest of it, beyond the limit.
ESSENTIAL_WEIGHT = 8.0
#: What changes the mix by less at a place is not heard there, in dB.
_UNHEARD_DB = 0.02
#: So much at most is believed to come of where rows stand elsewhere; less energy than this part is left of no mix.
_MOST_APART_PHON, _LEAST_ENERGY, _LEAST = 12.0, 1e-3, 1e-9
_DB = 10.0 / math.log(10.0)

Chosen = Sequence[tuple[Candidate, np.ndarray]]
#: Of each section some places.
Places = Sequence[np.ndarray]


@dataclass(frozen=True, eq=False)
class Cost:
    """What is wrong with a song, what its moves harm, what they are priced at: all in phon, weighted.

    `wrong` is findings, less what leads and supports gain: it may be below 0. `apart`: how much further moves in single
    sections take these from how the song stands in the others; below 0 where they bring them nearer.
    """

    wrong: float
    harm: float
    price: float
    apart: float = 0.0

    @property
    def total(self) -> float:
        """What a plan makes as small as it can."""
        return self.wrong + self.harm + self.price + self.apart


class Objective:
    """J of a song with moves: ``wrong + harm + price + apart``, at equal loudness of the mix.

    ``apart`` is told of moves in single sections: whether they bring layers nearer to how these stand in the others
    (`standing`), and who is heard nearer to how that would be (`terms.LossTerm`); below 0 where they do.

    ``wrong`` is what lies outside the tolerances, at all and by how much (`terms.WholeTerm`, `terms.BandTerm`,
    `covered_term.CoveredTerm`), less what leads and supports gain that are not moved; ``harm`` what they lose
    (`terms.LossTerm`), what static shapes take of their essential regions and by how much beds are moved; ``price``
    that of n moves: ``n * A_MOVE + n * (n - 1) / 2 * A_FURTHER_MOVE`` and that of their sizes
    (`candidate.Candidate.price`).
    The formulation is that of mixing research: audibility that falls short, and the fewest and smallest moves (Hafezi &
    Reiss 2015; Ronan et al. 2018; Lee et al. 2024); the terms are ours.

    Parameters
    ----------
    sections : iterable of Excited
        read once, in order
    rows : sequence of LedgerRow
        what the song says of each row
    findings : sequence of Finding
        that are to be mended
    kept : mapping
        of rows that moves already proposed will move: their gain in dB
    energy : mapping
        by the name of a section, its part of the energy of the mix; by default all are alike by their length
    essential : mapping
        by the name of a section and row: where that is itself
    """

    def __init__(
        self,
        sections: Iterable[Excited],
        rows: Sequence[LedgerRow],
        findings: Sequence[Finding],
        *,
        kept: Mapping[int, float] | None = None,
        energy: Mapping[str, float] | None = None,
        essential: Mapping[tuple[str, int], Essential] | None = None,
    ) -> None:
        found = [known_section(one, rows, findings, kept or {}, energy, essential or {}) for one in sections]
        self.covered = tuple(covered_terms(found, rows, findings))
        stand = standings([one.audible.excited for one in found])
        self.sections = tuple(
            replace(one, standing=believed(here, one.places)) for one, here in zip(found, stand, strict=True)
        )
        self.team = Team(1)
        self._apart: dict[tuple[int, int], np.ndarray | None] = {}
        self._touched: dict[Candidate, list[np.ndarray]] = {}  # by identity: candidates are not compared

    @contextmanager
    def together(self) -> Iterator[None]:
        """Let several threads hear the sections in what is done within; the results are the same."""
        with Team() as team:
            self.team = team
            try:
                yield
            finally:
                self.team = Team(1)

    def cost(self, chosen: Chosen, places: Places | None = None) -> Cost:
        """Return what there is wrong with moves, what they harm and are priced at."""
        return State(self, chosen, places).cost

    def shift_db(self, chosen: Chosen) -> float:
        """Return by how much all rows are moved so that the mix is as loud with moves as without."""
        return State(self, chosen).shift_db

    def touched(self, candidates: Iterable[Candidate]) -> Places:
        """Return the places of each section in which candidates can do anything worth hearing within their bounds."""
        masks = [np.zeros(PLACES, dtype=bool) for _ in self.sections]
        for candidate in candidates:
            for mask, found in zip(masks, self._touched_by(candidate), strict=True):
                np.logical_or(mask, found, out=mask)
        for mask in masks:
            mask[0] = mask[0] or not mask.any()  # one place at least
        return [np.flatnonzero(mask) for mask in masks]

    def apart(self, k: int, row: int) -> np.ndarray | None:
        """Return by how much each judged row of a section would change if a row stood in it as elsewhere, in phon.

        None where nothing is known of that.
        """
        if (k, row) not in self._apart:
            self._apart[k, row] = self._moved_back(self.sections[k], row)
        return self._apart[k, row]

    def stands_apart_db(self, candidate: Candidate) -> float | None:
        """Return by how much what a move in single sections moves stands higher there than in the others, or lower.

        Of several rows and sections it is the furthest; None where nothing is known.
        """
        found = [
            known.standing[row].mean_db
            for known in self.sections
            if known.name in candidate.sections
            for row in candidate.rows
            if row in known.standing
        ]
        return max(found, key=abs, default=None)

    def _moved_back(self, known: Known, row: int) -> np.ndarray | None:
        if row not in known.standing:
            return None
        gains = {row: -known.standing[row].apart_db}
        whole = sum(one.weight for one in self.sections)
        part = 1.0 + known.weight * known.audible.k_change(gains) / max(whole, _LEAST)
        shift_db = -10.0 * math.log10(max(part, _LEAST_ENERGY))
        heard = known.audible.heard(gains, shift_db).heard, known.audible.still(0.0)[0]
        there, here = (np.array([phon(float(row.sum()))[0] for row in one.cued]) for one in heard)
        return np.asarray(np.clip(there - here, -_MOST_APART_PHON, _MOST_APART_PHON))

    def _touched_by(self, candidate: Candidate) -> list[np.ndarray]:
        if candidate not in self._touched:
            most = [np.zeros(PLACES) for _ in self.sections]
            for values in itertools.product(*((one.low, one.high) for one in candidate.settings)):
                for here, known in zip(most, self.sections, strict=True):
                    for row, gain in candidate.gains_db(values, known.audible.excited).items():
                        np.maximum(here, known.audible.change_db(row, gain), out=here)
            self._touched[candidate] = [here > _UNHEARD_DB for here in most]
        return self._touched[candidate]


@dataclass(frozen=True, eq=False)
class _Pressed:
    """A cost of moving a row in a section, and its derivative `by` the gain there.

    `static`: that of static shapes alone; `here`: that of moves which are made in some sections alone.
    """

    section: int
    row: int
    static: bool
    value: float
    by: np.ndarray
    here: bool = False

    def of(self, candidate: Candidate) -> bool:
        """Tell whether it is one of a candidate."""
        return (candidate.kind in STATIC_SHAPES or not self.static) and (bool(candidate.sections) or not self.here)


class State:
    """A song with moves: its cost, and the derivatives of it; `places`: the only ones where they do anything."""

    def __init__(self, objective: Objective, chosen: Chosen, places: Places | None = None) -> None:
        self._of, self._chosen, self._places = objective, list(chosen), places
        self._made = [
            [candidate.gains(values, known.audible.excited) for candidate, values in self._chosen]
            for known in objective.sections
        ]
        self._gains: list[dict[int, np.ndarray]] = []
        for here in self._made:
            found: dict[int, np.ndarray] = {}
            for made in here:
                for row, gain in made.items():
                    found[row] = found[row] + gain.db if row in found else gain.db
            self._gains.append(found)
        self._shift_of()
        self._hearers: dict[int, Hearer] = {}
        objective.team.do([partial(self._hearer, k) for k, gains in enumerate(self._gains) if gains])
        self._parts: list[Part] = []
        for k, known in enumerate(objective.sections):
            moved = {known.audible.at[row] for row in self._gains[k] if row in known.audible.at}
            back = [objective.apart(k, row) for row in self._alone(k)]
            apart = [one for one in back if one is not None]
            elsewhere = sum(apart[1:], apart[0]) if apart else None
            self._parts.append(added_up(known.terms, self.heard(k), Moved(moved, elsewhere, self._lead_raised(k))))
        for term in objective.covered:
            term.add_to(self._parts, {one.section: self.heard(one.section) for one in term.where})
        self._pressed = list(self._essentials())
        self._maps: dict[tuple[int, int], np.ndarray] = {}
        self._slopes: dict[int, Slopes] = {}
        self.cost = Cost(
            sum(one.wrong for one in self._parts),
            sum(one.harm for one in self._parts) + sum(one.value for one in self._pressed if not one.here),
            sum(
                A_MOVE + A_FURTHER_MOVE * k + candidate.price(values)[0]
                for k, (candidate, values) in enumerate(self._chosen)
            ),
            sum(one.apart for one in self._parts) + sum(one.value for one in self._pressed if one.here),
        )

    def _shift_of(self) -> None:
        """Find the shift that keeps the mix as loud, and how much energy it has with moves."""
        sections = self._of.sections
        whole = sum(known.weight for known in sections)
        change = sum(
            known.weight * known.audible.k_change(here) for known, here in zip(sections, self._gains, strict=True)
        )
        part = max(1.0 + change / max(whole, _LEAST), _LEAST_ENERGY)
        self._energy, self.shift_db = part * whole, -10.0 * math.log10(part)

    def _essentials(self) -> Iterable[_Pressed]:
        """Yield what static shapes take of essentials, by how much beds are moved, how rows stand beside elsewhere."""
        for k, known in enumerate(self._of.sections):
            for row, essential in known.essential.items():
                static = [
                    made[row].db
                    for (candidate, _), made in zip(self._chosen, self._made[k], strict=True)
                    if candidate.kind in STATIC_SHAPES and row in made
                ]
                if static:
                    gain = sum(static[1:], static[0])
                    change_db, slope = essential_change(known.audible, row, essential.where, gain)
                    value, by = hinge(-change_db - essential.limit_db + 0.1, 0.1)
                    yield _Pressed(k, row, True, ESSENTIAL_WEIGHT * value, -ESSENTIAL_WEIGHT * by * slope)
            for row in {row for made in self._made[k] for row in made}:
                if known.places.get(row) == "bed":
                    change_db, slope = level_change(known.audible, row, self._gains[k][row])
                    sign = math.copysign(1.0, change_db)
                    value, by = hinge(sign * change_db - BED_FREE_DB)
                    yield _Pressed(k, row, False, BED_WEIGHT * value, BED_WEIGHT * by * sign * slope)
            for row, gains in self._alone(k).items():
                if row in known.standing:
                    own, seconds = known.audible.own[row], known.audible.seconds[row]
                    gain, part = mean_gain(own, seconds, sum(gains[1:], gains[0]))
                    value, slope = known.standing[row].cost(gain)
                    yield _Pressed(k, row, False, value, slope * part, here=True)

    def _lead_raised(self, k: int) -> bool:
        """Tell whether a lead that is short as a whole in a section is moved up as a whole there."""
        short = self._of.sections[k].short_leads
        return any(
            candidate.kind == "level" and row in short and float(gain.db.min()) > 0.0
            for (candidate, _), made in zip(self._chosen, self._made[k], strict=True)
            for row, gain in made.items()
        )

    def _alone(self, k: int) -> dict[int, list[np.ndarray]]:
        """Return the gains of rows by moves that are not made in the whole song: what these do between sections."""
        found: dict[int, list[np.ndarray]] = {}
        for (candidate, _), made in zip(self._chosen, self._made[k], strict=True):
            if candidate.sections:
                for row, gain in made.items():
                    found.setdefault(row, []).append(gain.db)
        return found

    def heard(self, k: int) -> Heard:
        """Return what is heard of a section."""
        return self._hearer(k).heard if self._gains[k] else self._of.sections[k].audible.still(self.shift_db)[0]

    def gains(self, k: int) -> Mapping[int, np.ndarray]:
        """Return the gains of all rows that are moved in a section, in dB."""
        return self._gains[k]

    def map_of(self, k: int, row: int) -> np.ndarray:
        """Return the derivative of ``wrong + harm`` by the gain of a row in a section, (2, frames, PLACES), per dB.

        Every row is shifted with it so that the mix stays as loud.
        """
        if (k, row) not in self._maps:
            self._maps[k, row] = self._slopes_of(k).of(row, self._by_energy() * self._of.sections[k].weight)
        return self._maps[k, row]

    def gradient(self) -> list[np.ndarray]:
        """Return the derivatives of the cost by the settings of every move."""
        found = [np.array(candidate.price(values)[1], dtype=np.float64) for candidate, values in self._chosen]
        moved = [k for k, gains in enumerate(self._gains) if gains]
        self._of.team.do([partial(self._slopes_of, k) for k in moved])
        for k in moved:
            pressed = [one for one in self._pressed if one.section == k]
            where = self._slopes_of(k).places
            for m, (candidate, _) in enumerate(self._chosen):
                for row, gain in self._made[k][m].items():
                    for at, setting in enumerate(candidate.settings):
                        slope = gain.slopes.get(setting.name)
                        if slope is None:
                            continue
                        found[m][at] += product(self.map_of(k, row), in_places(slope, where))
                        for one in pressed:
                            if one.row == row and one.of(candidate):
                                found[m][at] += product(one.by, slope)
        return found

    def _hearer(self, k: int) -> Hearer:
        if k not in self._hearers:
            places = None if self._places is None else self._places[k]
            self._hearers[k] = self._of.sections[k].audible.heard(self._gains[k], self.shift_db, places)
        return self._hearers[k]

    def _slopes_of(self, k: int) -> Slopes:
        if k not in self._slopes:
            self._slopes[k] = self._hearer(k).slopes(self._parts[k].by)
        return self._slopes[k]

    def _by_energy(self) -> float:
        """Return the derivative by the energy of the mix: more of it, and every row is shifted down."""
        by_shift = 0.0
        for k, known in enumerate(self._of.sections):
            if self._gains[k]:
                by_shift += self._slopes_of(k).by_shift
            else:
                by_shift += known.audible.still(self.shift_db)[1].dot(self._parts[k].by)
        return -by_shift * _DB / self._energy

    def predicted(self, candidate: Candidate, values: np.ndarray) -> float:
        """Return by how much ``wrong + harm`` would change with one more move, from the slopes alone."""
        change = 0.0
        for k, known in enumerate(self._of.sections):
            for row, gain in candidate.gains(values, known.audible.excited).items():
                change += product(self.map_of(k, row), gain.db)
        return change


def essential_change(audible: Audible, row: int, where: np.ndarray, gain: np.ndarray) -> tuple[float, np.ndarray]:
    """Return by how many dB a row's essential part changes beside the whole of it, and the slope (frames, PLACES)."""
    power = audible.own[row].sum(axis=0, dtype=np.float64) * audible.seconds[row][:, None]
    now = power * factor(gain)
    part, whole = np.where(where, power, 0.0).sum(), power.sum()
    if part <= 0.0 or whole <= 0.0:
        return 0.0, np.zeros_like(power)
    part_now, whole_now = np.where(where, now, 0.0).sum(), now.sum()
    change = 10.0 * math.log10(part_now / part) - 10.0 * math.log10(whole_now / whole)
    return change, np.where(where, now, 0.0) / part_now - now / whole_now


def level_change(audible: Audible, row: int, gain: np.ndarray) -> tuple[float, np.ndarray]:
    """Return by how many dB the level of a row changes, and the slope (2, frames, PLACES)."""
    power = audible.own[row] * audible.seconds[row][:, None]
    now = power * factor(gain)
    whole, whole_now = float(power.sum()), float(now.sum())
    if whole <= 0.0 or whole_now <= 0.0:
        return 0.0, np.zeros_like(power)
    return 10.0 * math.log10(whole_now / whole), now / whole_now
