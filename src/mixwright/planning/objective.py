# SPDX-License-Identifier: Apache-2.0
"""What a song with some moves falls short of, what these cost, and by what that changes with every setting."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from mixwright.hearing.bands import PLACES
from mixwright.ledger.findings import LEAST_S, LedgerRow
from mixwright.ledger.tolerances import WHOLE
from mixwright.model.ledger import Finding
from mixwright.model.words import Place
from mixwright.planning.audible import Audible, Heard, Hearer, Share, Slopes
from mixwright.planning.candidate import Candidate
from mixwright.planning.essentials import STATIC_SHAPES
from mixwright.planning.excited import Excited
from mixwright.planning.powers import factor, in_places, phon, product
from mixwright.planning.terms import (
    BED_FREE_DB,
    BED_WEIGHT,
    BandTerm,
    LossTerm,
    Part,
    Term,
    WholeTerm,
    added_up,
    blamed,
    hinge,
    places_between,
)

#: What the first move is priced at beside its size, in phon, and by how much more each further one than the one before
#: it: an engineer has to make it, and hear whether it is right, and a plan is few moves.
A_MOVE, A_FURTHER_MOVE = 0.2, 0.5
#: What a dB costs by which the essential part of a lead or a support moves beside the rest of it, beyond the limit.
ESSENTIAL_WEIGHT = 8.0
#: Rows that lie further inside than this, in phon, are not asked whether they still do.
_FAR_INSIDE_PHON = 6.0
#: What the ear's model of a plan differs by from the ledger is taken over up to here: phon, and a factor.
_MOST_OFFSET_PHON, _MOST_SCALE = 6.0, 60.0
#: So far outside a layer as a whole is believed to lie, and so many phon are a dB of its fader, at least and at most.
_MOST_EXCESS_DB, _PHON_PER_DB = 12.0, (0.3, 1.5)
_ONLY_COVERED_DB = 3.0
#: What changes the mix by less at a place is not heard there, in dB.
_UNHEARD_DB = 0.02
_DB = 10.0 / math.log(10.0)

Chosen = Sequence[tuple[Candidate, np.ndarray]]
#: Of each section some places.
Places = Sequence[np.ndarray]


@dataclass(eq=False)
class Essential:
    """Where a row of a section is itself, bool (frames, PLACES); so much of it static shapes may take."""

    where: np.ndarray
    limit_db: float


@dataclass(frozen=True, eq=False)
class Known:
    """One section as the plan knows it: `weight` is its part of the mix's energy.

    `places`: of each row what it is for in this section; `terms` are of leads and supports.
    """

    audible: Audible
    places: Mapping[int, Place]
    terms: Sequence[Term]
    essential: Mapping[int, Essential]
    weight: float

    @property
    def name(self) -> str:
        """The name of the section."""
        return self.audible.section.name


@dataclass(frozen=True, eq=False)
class Cost:
    """What is wrong with a song, what its moves harm, what they are priced at: all in phon, weighted.

    `wrong` is findings, less what leads and supports gain: it may be below 0.
    """

    wrong: float
    harm: float
    price: float

    @property
    def total(self) -> float:
        """What a plan makes as small as it can."""
        return self.wrong + self.harm + self.price


class Objective:
    """J of a song with moves: ``wrong + harm + price``, at equal loudness of the mix.

    ``wrong`` is what lies outside the tolerances, at all and by how much (`terms.WholeTerm`, `terms.BandTerm`), less
    what leads and supports gain that are not moved; ``harm`` what they lose (`terms.LossTerm`), what static shapes take
    of their essential regions and by how much beds are moved; ``price`` that of n moves: ``n * A_MOVE +
    n * (n - 1) / 2 * A_FURTHER_MOVE`` and that of their sizes (`candidate.Candidate.price`).
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
        self.sections = tuple(_known(one, rows, findings, kept or {}, energy, essential or {}) for one in sections)
        self._touched: dict[Candidate, list[np.ndarray]] = {}  # by identity: candidates are not compared

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
    """A cost of moving a row in a section, and its derivative `by` the gain there; `static`: that of static shapes."""

    section: int
    row: int
    static: bool
    value: float
    by: np.ndarray


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
        self._parts: list[Part] = []
        for k, known in enumerate(objective.sections):
            moved = {known.audible.at[row] for row in self._gains[k] if row in known.audible.at}
            self._parts.append(added_up(known.terms, self.heard(k), moved))
        self._pressed = list(self._essentials())
        self._maps: dict[tuple[int, int], np.ndarray] = {}
        self._slopes: dict[int, Slopes] = {}
        self.cost = Cost(
            sum(one.wrong for one in self._parts),
            sum(one.harm for one in self._parts) + sum(one.value for one in self._pressed),
            sum(
                A_MOVE + A_FURTHER_MOVE * k + candidate.price(values)[0]
                for k, (candidate, values) in enumerate(self._chosen)
            ),
        )

    def _shift_of(self) -> None:
        """Find the shift that keeps the mix as loud, and how much energy it has with moves."""
        sections = self._of.sections
        whole = sum(known.weight for known in sections)
        change = sum(
            known.weight * known.audible.k_change(here) for known, here in zip(sections, self._gains, strict=True)
        )
        part = max(1.0 + change / max(whole, 1e-9), 1e-3)
        self._energy, self.shift_db = part * whole, -10.0 * math.log10(part)

    def _essentials(self) -> Iterable[_Pressed]:
        """Yield what static shapes take of the essentials of rows, and by how much beds are moved."""
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
        for k in (k for k, gains in enumerate(self._gains) if gains):
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
                            if one.row == row and (candidate.kind in STATIC_SHAPES or not one.static):
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


def _known(
    excited: Excited,
    rows: Sequence[LedgerRow],
    findings: Sequence[Finding],
    kept: Mapping[int, float],
    energy: Mapping[str, float] | None,
    essential: Mapping[tuple[str, int], Essential],
) -> Known:
    """Return a section with its terms: those of findings lie as far outside as the ledger says, as the mix stands."""
    section = excited.section
    facts = {row.id: row for row in rows}
    index = {id_: k for k, id_ in enumerate(excited.rows) if id_ in facts}
    places: dict[int, Place] = {k: facts[id_].place_at(section.name) for id_, k in index.items()}
    judged = [k for k, place in places.items() if place != "bed" and excited.active_s[k] >= LEAST_S]
    of = [one for one in findings if one.section in ("", section.name) and index.get(one.track) in judged]
    shares = {Share(index[one.track], index[one.taker]): None for one in of if one.band_hz and one.taker in index}
    tolerated = {row: WHOLE[places[row]].db for row in judged}
    audible = Audible(excited, judged, tolerated, tuple(shares))
    heard = audible.still(0.0)[0]
    terms: list[Term] = []
    for k, row in enumerate(judged):
        own = [one for one in of if index[one.track] == row]
        terms += _whole_term(k, places[row], tolerated[row], heard, own)
    for one in of:
        if one.band_hz and one.taker in index:
            share = list(shares).index(Share(index[one.track], index[one.taker]))
            where = places_between(*one.band_hz)
            counts_left = one.kind != "voice_filled"
            term = BandTerm(audible.at[index[one.track]], share, where, 1.0, one.tolerance_db, counts_left, one)
            scale = min((one.excess_db + one.tolerance_db) / max(term.cost_db(heard), 1e-6), _MOST_SCALE)
            terms.append(replace(term, scale=scale))
    asked = {judged[one.row]: tolerated[judged[one.row]] for one in terms if isinstance(one, WholeTerm)}
    stands = _louder(excited, kept) if kept else excited
    audible = Audible(stands, judged, asked, tuple(shares))
    heard = audible.still(0.0)[0]
    blame = blamed(of, index)
    terms += [
        LossTerm(k, places[row], phon(float(heard.cued[k].sum()))[0], blame.get(row, 0.0))
        for k, row in enumerate(judged)
    ]
    held = {row: one for (name, row), one in essential.items() if name == section.name}
    weight = (energy or {}).get(section.name, section.end_s - section.start_s)
    return Known(audible, places, tuple(terms), held, weight)


def _whole_term(k: int, place: Place, tolerated_db: float, heard: Heard, of: Sequence[Finding]) -> Iterator[WholeTerm]:
    """Yield the term of a layer as a whole, where it lies outside or not far inside."""
    alone, in_mix, up = (phon(float(one[k].sum()))[0] for one in (heard.alone, heard.cued, heard.raised))
    finding = next((one for one in of if one.kind in ("covered", "only_covered")), None)
    if finding is not None:
        by_db = min(max((up - in_mix) / tolerated_db, _PHON_PER_DB[0]), _PHON_PER_DB[1])
        # Whoever is only ever covered is told even where the rise of what little is heard lies inside.
        least_db = _ONLY_COVERED_DB if finding.kind == "only_covered" else 0.0
        wanted = min(max(finding.excess_db, least_db), _MOST_EXCESS_DB) * by_db
        yield WholeTerm(k, place, min(max(wanted - (alone - up), -_MOST_OFFSET_PHON), _MOST_OFFSET_PHON), finding)
    elif alone - up > -_FAR_INSIDE_PHON:
        yield WholeTerm(k, place, -max(alone - up, 0.0))


def _louder(excited: Excited, kept: Mapping[int, float]) -> Excited:
    """Return a section in which some rows are louder."""
    gain = np.ones((len(excited.rows), 1, 1, 1), dtype=np.float32)
    for row, db in kept.items():
        gain[row] = 10.0 ** (db / 10.0)
    power = excited.k_power * gain
    whole = np.float32(power.sum(dtype=np.float64))
    return replace(excited, own=excited.own * gain, alone=excited.alone * gain, k_power=power / whole)
