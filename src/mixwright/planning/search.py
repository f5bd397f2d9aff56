# SPDX-License-Identifier: Apache-2.0
"""The few moves that mend findings: one after the other by gain per harm, refined together, then pruned."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.jobs.progress import Cancel
from mixwright.model.ledger import Finding
from mixwright.planning.audible import Heard
from mixwright.planning.candidate import Candidate
from mixwright.planning.limits import CUTS_A_LAYER
from mixwright.planning.objective import Cost, Objective, State
from mixwright.planning.powers import phon
from mixwright.planning.terms import BandTerm, WholeTerm

#: A plan has no more moves than these: in all, and for one layer that is covered.
MOST_MOVES, MOST_A_LAYER = 12, 6
#: So many candidates are tried for each move, and so many of them are set as well as they can be.
_TRIED, _SET = 10, 2
#: A move is made where it lowers what there is by so much at least, in phon beyond its price.
_LEAST_GAIN = 0.05
#: Tries that cost more and more, so much more than none, lead nowhere.
_HOPELESS_PHON = 2.0
#: Among moves that do at least this part of what the best one does, the one that does most for its harm is made.
_NEARLY = 0.75
#: Harm and price that next to nothing are rounded up to, so that no gain is divided by nothing.
_LEAST_HARM = 0.5
#: A move is needed where its target loses so much without it, in phon cued.
NEEDED_PHON = 1.0
_STEPS, _LAST_STEPS = 4, 12
#: Where all moves that were made prove needless, it is looked for others, so often in all.
_ROUNDS = 3
#: Kinds of which two on the same target in the same section are one.
_ONCE = frozenset({"level", "pan", "width", "send", "even_out", "colour", "tilt"})
#: What counts as a cut of a layer.
_CUTS = frozenset({"shape", "dip"})


@dataclass(frozen=True, eq=False)
class Pick:
    """A candidate with its values."""

    candidate: Candidate
    values: np.ndarray


@dataclass(frozen=True, eq=False)
class Found:
    """The moves of a plan; `before` and `after`: what there was to mend, and what there is with them."""

    picks: tuple[Pick, ...]
    before: Cost
    after: Cost


class Search:
    """Looks for moves.

    Parameters
    ----------
    objective : Objective
    candidates : sequence of Candidate
        in the order that evidence supports; those with the same `pair` are made together, and each of them stays only
        where it is needed by itself
    cancel : Cancel, optional
    step : callable, optional
        called after every move that was looked for
    """

    def __init__(
        self,
        objective: Objective,
        candidates: Sequence[Candidate],
        *,
        cancel: Cancel | None = None,
        step: Callable[[], None] | None = None,
    ) -> None:
        self._of = objective
        self._cancel = cancel or Cancel()
        self._step = step or (lambda: None)
        self._units = _units(candidates)
        terms = [
            (k, one) for k, known in enumerate(objective.sections) for one in known.terms
            if isinstance(one, WholeTerm | BandTerm)
        ]  # fmt: skip
        self._terms = [(k, one) for k, one in terms if one.finding is not None]
        self._findings = {one.finding.id: one.finding for _, one in self._terms if one.finding is not None}
        self._findings |= {one.finding.id: one.finding for one in objective.covered}

    def found(self) -> Found:
        """Return the moves: none where nothing is worth its price. What there is to mend never grows."""
        with self._of.together():
            return self._found()

    def _found(self) -> Found:
        before = self._of.cost(())
        picks: list[Pick] = []
        for _ in range(_ROUNDS):
            made = self._moves()
            picks = self._kept(made)
            if picks or not made:
                break
            # None of them mends what it was made for: others may.
            needless = {id(one.candidate) for one in made}
            self._units = [unit for unit in self._units if not any(id(one) in needless for one in unit)]
        after = self._of.cost(chosen(picks))
        if after.total >= before.total:
            return Found((), before, before)
        return Found(tuple(picks), before, after)

    def _moves(self) -> list[Pick]:
        """Return moves, each worth its price when it was made."""
        picks: list[Pick] = []
        while len(picks) < MOST_MOVES:
            better = self._next(picks)
            self._step()
            if better is None:
                break
            picks = self._refined(better, _STEPS)
        return picks

    def _kept(self, picks: list[Pick]) -> list[Pick]:
        """Return those of moves that are needed, set as well as they can be and as they are dialled."""
        if not picks:
            return picks
        picks = self._pruned(self._refined(picks, _LAST_STEPS), _STEPS)
        picks = [Pick(one.candidate, one.candidate.dialled(one.values)) for one in self._refined(picks, _LAST_STEPS)]
        return self._pruned(picks, 0)

    def outside(self, state: State) -> dict[str, float]:
        """Return how far every finding lies outside: phon of a layer as a whole, tolerances of a band; 0 inside.

        Of a layer that is covered in several sections it is that of the worst.
        """
        heard = self._heard(state)
        found = {one.finding.id: max(one.outside_phon(heard), 0.0) for one in self._of.covered}
        for k, term in self._terms:
            over = term.outside_phon(heard[k]) if isinstance(term, WholeTerm) else term.outside_part(heard[k])
            assert term.finding is not None
            found[term.finding.id] = max(over, found.get(term.finding.id, 0.0))
        return found

    def finding(self, id_: str) -> Finding | None:
        """Return a finding that is to be mended."""
        return self._findings.get(id_)

    def cued_phon(self, state: State) -> dict[str, float]:
        """Return how loud the layer of every finding is in the mix, cued, in phon; the mean over its sections."""
        heard = self._heard(state)
        levels = {one.finding.id: [one.cued_phon(heard)] for one in self._of.covered}
        for k, term in self._terms:
            assert term.finding is not None
            levels.setdefault(term.finding.id, []).append(phon(float(heard[k].cued[term.row].sum()))[0])
        return {id_: float(np.mean(values)) for id_, values in levels.items()}

    def _heard(self, state: State) -> dict[int, Heard]:
        """Return what is heard of every section in which there is a finding."""
        sections = {k for k, _ in self._terms} | {one.section for term in self._of.covered for one in term.where}
        return {k: state.heard(k) for k in sorted(sections)}

    def needed(self, pick: Pick, within: State, without: State) -> bool:
        """Tell whether a move is needed: without it a finding comes back, or what it is made for loses a phon."""
        inside, outside = self.outside(within), self.outside(without)
        if any(inside[id_] <= 0.0 < outside[id_] for id_ in inside):
            return True
        now, then = self.cued_phon(within), self.cued_phon(without)
        id_ = pick.candidate.finding
        return id_ in now and now[id_] - then[id_] >= NEEDED_PHON

    def _next(self, picks: Sequence[Pick]) -> list[Pick] | None:
        """Return moves with the best one more, or in the place of one; None where none is worth its price."""
        self._cancel.check()
        state = State(self._of, chosen(picks))
        free = [unit for unit in self._units if self._allowed(unit, picks)]
        hoped = [(sum(self._hoped(state, one) for one in unit), order, unit) for order, unit in enumerate(free)]
        hoped = sorted((one for one in hoped if one[0] < 0.0), key=lambda one: one[:2])[:_TRIED]
        tried = [(*self._tried(unit, picks, state.cost.total), order) for _, order, unit in hoped]
        tried.sort(key=lambda one: (one[0], one[-1]))
        settled = []
        for _, first, rest, order in tried[:_SET]:
            made = self._refined(first, _STEPS, held=rest)
            cost = self._of.cost(chosen([*rest, *made]))
            helped = state.cost.wrong - cost.wrong
            # That layers come nearer to how they stand elsewhere is no reason of its own: no more than what it mends.
            nearer = state.cost.apart - cost.apart
            counts = min(nearer, max(helped, 0.0))
            gain = state.cost.total - cost.total - nearer + counts
            if gain > _LEAST_GAIN:
                harm = max(cost.harm - state.cost.harm, 0.0) + cost.price - state.cost.price
                settled.append((gain, (helped + counts) / max(harm, _LEAST_HARM), -order, [*rest, *made]))
        if not settled:
            return None
        most = max(one[0] for one in settled)
        return max((one for one in settled if one[0] >= _NEARLY * most), key=lambda one: one[1:3])[3]

    def _tried(
        self, unit: Sequence[Candidate], picks: Sequence[Pick], now: float
    ) -> tuple[float, list[Pick], list[Pick]]:
        """Return what the best of some tries costs in all, that one, and the other moves; `now`: without it.

        What moves the same layer already may do less once this one does its part: it is tried half as far, too.
        """
        self._cancel.check()
        beside = _beside(unit, picks)
        shared = [one for one in beside if _share(one.candidate, unit)]
        rest = [one for one in beside if one not in shared]
        places = self._of.touched([*unit, *(one.candidate for one in beside)])
        half = [Pick(one.candidate, 0.5 * (one.candidate.start + one.values)) for one in shared]
        best, made, last = np.inf, list[Pick](), now
        for values in zip(*map(_tries, unit), strict=True):
            new = [Pick(one, value) for one, value in zip(unit, values, strict=True)]
            found = [
                (self._of.cost(chosen([*rest, *less, *new]), places).total, [*less, *new])
                for less in ([shared, half] if shared else [shared])
            ]
            cost, lowest = min(found, key=lambda one: one[0])
            if cost < best:
                best, made = cost, lowest
            elif best < now or cost > max(last, now + _HOPELESS_PHON):
                break  # further goes too far
            last = cost
        return best, made, rest

    def _hoped(self, state: State, candidate: Candidate) -> float:
        """Return by how much the cost would change by the slopes alone; the best of some tries."""
        self._cancel.check()
        return min(state.predicted(candidate, values) + candidate.price(values)[0] for values in _tries(candidate))

    def _allowed(self, unit: Sequence[Candidate], picks: Sequence[Pick]) -> bool:
        """Tell whether moves may be made beside others: within the limits, and none of them twice."""
        if len(picks) + len(unit) > MOST_MOVES:
            return False
        made = [pick.candidate for pick in picks]
        layer = self._layer(unit[0])
        if layer and sum(self._layer(one) == layer for one in made) + len(unit) > MOST_A_LAYER:
            return False
        ids = {one.candidate.move(one.values)["id"] for one in picks}
        for one in unit:
            if one in made or one.move(one.first)["id"] in ids:
                return False
            beside = [pick.candidate for pick in _beside(unit, picks)]
            alike = [other for other in beside if other.target == one.target and _meet(one, other)]
            if one.kind in _ONCE and any(other.kind == one.kind and other.send == one.send for other in alike):
                return False
            if one.kind in _CUTS and sum(other.kind in _CUTS for other in alike) >= CUTS_A_LAYER.value:
                return False
        return True

    def _layer(self, candidate: Candidate) -> str:
        found = self._findings.get(candidate.finding)
        return found.track if found is not None else ""

    def _refined(self, picks: Sequence[Pick], steps: int, held: Sequence[Pick] = ()) -> list[Pick]:
        """Return moves set as well as they can be, all together, beside others that are held; never for the worse."""
        from scipy.optimize import minimize  # slow to load

        if not picks or not steps:
            return list(picks)
        scales = [_Scale(one.candidate) for one in picks]
        places = self._of.touched([one.candidate for one in [*picks, *held]])
        sizes = np.cumsum([0, *(len(one.values) for one in picks)])
        fixed = chosen(held)

        def at(x: np.ndarray) -> list[tuple[Candidate, np.ndarray]]:
            return [
                (one.candidate, scale.values(x[first:end]))
                for one, scale, first, end in zip(picks, scales, sizes[:-1], sizes[1:], strict=True)
            ]

        def cost(x: np.ndarray) -> tuple[float, np.ndarray]:
            self._cancel.check()
            made = at(x)
            state = State(self._of, [*made, *fixed], places)
            slopes = state.gradient()[: len(made)]
            by = [scale.slopes(values, slope) for scale, (_, values), slope in zip(scales, made, slopes, strict=True)]
            return state.cost.total, np.concatenate(by)

        start = np.concatenate([scale.of(one.values) for scale, one in zip(scales, picks, strict=True)])
        if not len(start):
            return list(picks)
        found = minimize(
            cost, start, jac=True, method="L-BFGS-B", bounds=[(0.0, 1.0)] * len(start),
            options={"maxiter": steps, "maxfun": 2 * steps, "maxls": 8},
        )  # fmt: skip
        best = [Pick(one.candidate, values) for one, (_, values) in zip(picks, at(found.x), strict=True)]
        now, then = (self._of.cost([*chosen(one), *fixed], places).total for one in (picks, best))
        return best if then < now else list(picks)

    def _pruned(self, picks: Sequence[Pick], steps: int) -> list[Pick]:
        """Return the moves of which none can go, those that do least first; the others set anew by so many steps."""
        kept = list(picks)
        while kept:
            within = State(self._of, chosen(kept))
            without = []
            for k in range(len(kept)):
                rest = [one for j, one in enumerate(kept) if j != k]
                without.append((self._of.cost(chosen(rest)).total, k, rest))
            for _, k, rest in sorted(without, key=lambda one: one[:2]):
                self._cancel.check()
                others = rest
                if self.needed(kept[k], within, State(self._of, chosen(others))):
                    # The others may do without it if they are set anew.
                    others = self._refined(rest, steps) if steps else rest
                    if not steps or self.needed(kept[k], within, State(self._of, chosen(others))):
                        continue
                kept = others
                break
            else:
                return kept
        return kept


class _Scale:
    """Settings as numbers from 0 to 1 between their bounds, frequencies by octaves."""

    def __init__(self, candidate: Candidate) -> None:
        self._low = np.array([one.low for one in candidate.settings])
        self._high = np.array([one.high for one in candidate.settings])
        hz = [one.name in ("hz", "low_hz", "high_hz") and one.low > 0.0 for one in candidate.settings]
        self._octaves: np.ndarray = np.array(hz, dtype=bool)

    def of(self, values: np.ndarray) -> np.ndarray:
        low, high, here = self._bent(self._low), self._bent(self._high), self._bent(np.asarray(values, dtype=float))
        return np.asarray(np.clip((here - low) / np.maximum(high - low, 1e-12), 0.0, 1.0))

    def values(self, x: np.ndarray) -> np.ndarray:
        low, high = self._bent(self._low), self._bent(self._high)
        found = low + np.clip(x, 0.0, 1.0) * (high - low)
        return np.asarray(np.where(self._octaves, np.exp(np.where(self._octaves, found, 0.0)), found))

    def slopes(self, values: np.ndarray, slopes: np.ndarray) -> np.ndarray:
        span = self._bent(self._high) - self._bent(self._low)
        return np.asarray(slopes * span * np.where(self._octaves, values, 1.0))

    def _bent(self, values: np.ndarray) -> np.ndarray:
        return np.asarray(np.where(self._octaves, np.log(np.where(self._octaves, values, 1.0)), values))


def _units(candidates: Sequence[Candidate]) -> list[tuple[Candidate, ...]]:
    """Return what is made together: those of a pair that both are there, everything else by itself; in order."""
    pairs: dict[tuple[str, str], list[Candidate]] = {}
    for one in candidates:
        if one.pair:
            pairs.setdefault((one.finding, one.pair), []).append(one)
    units: list[tuple[Candidate, ...]] = []
    for one in candidates:
        if not one.pair:
            units.append((one,))
        elif (both := pairs[one.finding, one.pair])[0] is one:
            units.append(tuple(both))
    return units


def _tries(candidate: Candidate) -> list[np.ndarray]:
    """Return values to try: less than the first try, that, and some of the way from there to what is allowed.

    What lies far outside is hardly told from a little: the first steps towards the tolerance count least.
    """
    start, first = candidate.start, candidate.first
    low, high = (np.array([getattr(one, name) for one in candidate.settings]) for name in ("low", "high"))
    bound = np.where(first < start, low, np.where(first > start, high, first))
    return [start + 0.4 * (first - start), *(first + part * (bound - first) for part in (0.0, 0.25, 0.5, 0.75))]


def _beside(unit: Sequence[Candidate], picks: Sequence[Pick]) -> list[Pick]:
    """Return the moves that stay beside others: what one does in a section goes where the other does it everywhere."""
    wide = {(one.kind, one.target, one.send) for one in unit if not one.sections and one.kind in _ONCE}
    return [
        pick
        for pick in picks
        if not (pick.candidate.sections and (pick.candidate.kind, pick.candidate.target, pick.candidate.send) in wide)
    ]


def _share(made: Candidate, unit: Sequence[Candidate]) -> bool:
    """Tell whether a move that is made moves a layer that others would move, too, where both are heard."""
    return any(not set(made.rows).isdisjoint(one.rows) and _meet(made, one) for one in unit)


def chosen(picks: Sequence[Pick]) -> list[tuple[Candidate, np.ndarray]]:
    """Return moves as the objective takes them."""
    return [(one.candidate, one.values) for one in picks]


def _meet(one: Candidate, other: Candidate) -> bool:
    """Tell whether two candidates are heard in the same section."""
    return not one.sections or not other.sections or not set(one.sections).isdisjoint(other.sections)
