# SPDX-License-Identifier: Apache-2.0
"""One or two small moves that bring a mix nearer to the records, where they cost nothing that is to be heard."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.jobs.progress import Cancel
from mixwright.model.comparison import ComparedRow
from mixwright.planning.candidate import Candidate
from mixwright.planning.essentials import Essentials
from mixwright.planning.excited import Excited
from mixwright.planning.known import KnownSong
from mixwright.planning.objective import A_FURTHER_MOVE, Objective, State
from mixwright.planning.record_candidates import record_candidates
from mixwright.planning.record_figures import RecordFigures
from mixwright.planning.search import MOST_MOVES, Pick, chosen
from mixwright.planning.terms import BandTerm, WholeTerm
from mixwright.reference.beside import JUST_NOTICED
from mixwright.reference.stretches import Stretch, stretches

#: A plan has no more such moves than these, with those of earlier plans that were accepted.
MOST_TOWARDS_RECORDS = 2
#: What a figure of the whole song counts, in phon, that lies outside by half of what the records span: as much as a
#: finding for lying outside at all, which besides counts by how much it does. Most lie less far outside. Ours.
RECORDS_WEIGHT = 1.5
#: So many of what lies outside are seen to, the furthest of what is heard first; so many tries are heard for a move.
_MOST_STRETCHES, _TRIED, _STEPS = 4, 16, 6
#: A move brings in at least this part of what is outside, and is worth so much beyond its price, in phon.
_LEAST_PART, _LEAST_GAIN = 0.2, 0.05
#: What lies outside its tolerance may lie so much further outside, in phon or parts of the tolerance, which nobody
#: hears; what lies inside stays there.
_FURTHER, _LEAVES = 0.05, 0.01


@dataclass(frozen=True, eq=False)
class Nearer:
    """A move towards the records: what it is made for lies outside by `before` without it and by `after` with it."""

    pick: Pick
    stretch: Stretch
    before: float
    after: float


def nearer_records(
    objective: Objective,
    picks: Sequence[Pick],
    song: KnownSong,
    sections: Sequence[Excited],
    figures: RecordFigures,
    held: Essentials,
    *,
    most: int = MOST_TOWARDS_RECORDS,
    cancel: Cancel | None = None,
) -> list[Nearer]:
    """Return moves that bring the mix nearer to the records, beside moves that make room.

    Every one lowers ``J + RECORDS_WEIGHT * figures.missing``, J that of the objective, in which moves towards the
    records are counted by themselves: they are no dearer where much room is made. And with it no layer and no band lies
    further outside its tolerance, but for what nobody hears, and none outside that was inside.

    Parameters
    ----------
    objective, picks
        what is heard of the song, and the moves that make room
    song, sections, held
        its layers, its sections, and what is essential to each layer there
    figures : RecordFigures
    most : int
        so many moves at most
    cancel : Cancel, optional
    """
    aims = stretches([row for row in figures.rows if row.figure != "slope_db_oct"])[:_MOST_STRETCHES]
    within = [(held.within(one), aim) for aim in aims for one in record_candidates(aim, song, sections, figures)]
    candidates = [(one, aim) for one, aim in within if one is not None]
    found: list[tuple[Pick, Stretch]] = []
    while len(found) < most and len(picks) + len(found) < MOST_MOVES:
        made = [*picks, *(pick for pick, _ in found)]
        moved = {(pick.candidate.target, pick.candidate.kind) for pick in made}
        seen_to = [aim for _, aim in found]
        left = [(one, aim) for one, aim in candidates if (one.target, one.kind) not in moved and aim not in seen_to]
        best = _best(objective, made, len(picks) * A_FURTHER_MOVE, left, figures, cancel or Cancel())
        if best is None:
            break
        found.append(best)
    while True:
        told = _told(picks, found, figures)
        # What others bring in as well needs no move of its own.
        needless = [k for k, one in enumerate(told) if not _is_enough(one.stretch.furthest, one.before, one.after)]
        if not needless:
            return told
        del found[needless[-1]]


def _told(picks: Sequence[Pick], found: Sequence[tuple[Pick, Stretch]], figures: RecordFigures) -> list[Nearer]:
    """Return what each move does beside all others."""
    every = [*picks, *(pick for pick, _ in found)]
    after = figures.outside(chosen(every))
    told = []
    for pick, aim in found:
        before = figures.outside(chosen([one for one in every if one is not pick]))
        told.append(Nearer(pick, aim, before[aim.furthest], after[aim.furthest]))
    return told


def _best(
    objective: Objective,
    made: Sequence[Pick],
    spared: float,
    candidates: Sequence[tuple[Candidate, Stretch]],
    figures: RecordFigures,
    cancel: Cancel,
) -> tuple[Pick, Stretch] | None:
    """Return the move that is worth most beside others; None where none is worth its price and spares what is heard.

    `spared`: of what a move costs, what it costs because others make room.
    """
    now = State(objective, chosen(made))
    tolerated, outside = _tolerated(objective, now), figures.outside(chosen(made))
    missing = figures.missing(outside)
    hoped = []
    for order, (candidate, aim) in enumerate(candidates):
        for values in _values(candidate):
            pick = Pick(candidate, values)
            then = figures.outside(chosen([*made, pick]))
            gain = RECORDS_WEIGHT * (missing - figures.missing(then))
            if gain - candidate.price(values)[0] > _LEAST_GAIN and _is_enough(
                aim.furthest, outside[aim.furthest], then[aim.furthest]
            ):
                hoped.append((candidate.price(values)[0] - gain, order, gain, pick, aim))
    best: tuple[float, Pick, Stretch] | None = None
    for _, _, gain, pick, aim in sorted(hoped, key=lambda one: one[:2])[:_TRIED]:
        cancel.check()
        state = State(objective, chosen([*made, pick]))
        pairs = zip(tolerated, _tolerated(objective, state), strict=True)
        left = gain - (state.cost.total - now.cost.total - spared)
        harmless = all(then <= (was + _FURTHER if was > 0.0 else _LEAVES) for was, then in pairs)
        if left > _LEAST_GAIN and harmless and (best is None or left > best[0]):
            best = left, pick, aim
    return None if best is None else best[1:]


def _is_enough(row: ComparedRow, before: float, after: float) -> bool:
    """Tell whether as much of what is outside comes in as is worth a move, and does not leave on the other side."""
    enough = max(JUST_NOTICED[row.unit], _LEAST_PART * abs(before))
    return before * after >= 0.0 and abs(before) - abs(after) >= enough


def _tolerated(objective: Objective, state: State) -> list[float]:
    """Return how far each layer as a whole and each band lies outside its tolerance; below 0 inside."""
    heard = {k: state.heard(k) for k in range(len(objective.sections))}
    found = []
    for k, known in enumerate(objective.sections):
        for term in known.terms:
            if isinstance(term, WholeTerm):
                found.append(term.outside_phon(heard[k]))
            elif isinstance(term, BandTerm):
                found.append(term.outside_part(heard[k]))
    return [*found, *(term.outside_phon(heard) for term in objective.covered)]


def _values(candidate: Candidate) -> list[np.ndarray]:
    """Return values from next to nothing to what is allowed, as they are dialled."""
    (one,) = candidate.settings
    end = one.low if one.first < one.start else one.high
    tries = (np.array([one.start + k / _STEPS * (end - one.start)]) for k in range(1, _STEPS + 1))
    return [candidate.dialled(values) for values in tries]
