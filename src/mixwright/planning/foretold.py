# SPDX-License-Identifier: Apache-2.0
"""What every move of a plan is expected to do: with all of them, and without it alone."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from mixwright.planning.known_section import Known
from mixwright.planning.objective import Objective, State
from mixwright.planning.powers import factor, phon
from mixwright.planning.search import Found, Pick, Search

#: What another layer loses counts as a cost from here, in phon; what a moved layer loses of itself, in dB.
COST_PHON, COST_DB = 0.3, 0.1
#: How far a fader is asked to go.
_MOST_DB = 24.0


@dataclass(frozen=True)
class Gain:
    """What a move does for a layer in a section beside all other moves, at equal loudness of the mix.

    `phon`: louder in the mix, cued; that is as much as `fader_db` of its fader.
    """

    row: int
    section: str
    phon: float
    fader_db: float


@dataclass(frozen=True)
class Foretold:
    """One move: `gains` by section where its finding is, most first, and what fails and what it costs.

    `comes_back`: which findings come back without it, and by how much they lie outside then; `moved_db`: what the rows
    that it moves gain of their own level; `lost_phon`: what others lose in the mix.
    """

    gains: tuple[Gain, ...]
    comes_back: Mapping[str, float]
    moved_db: Mapping[int, float]
    lost_phon: Mapping[int, float]


def foretold(objective: Objective, search: Search, found: Found, rows: Mapping[str, int]) -> list[Foretold]:
    """Return what each move is expected to do.

    Parameters
    ----------
    objective, search, found
        the song, and the moves that were found for it
    rows : mapping
        the number of each row by the id of its layer
    """
    picks = found.picks
    within = State(objective, [(one.candidate, one.values) for one in picks])
    inside = search.outside(within)
    made = []
    for pick in picks:
        others = [(one.candidate, one.values) for one in picks if one is not pick]
        without = State(objective, others)
        back = {id_: over for id_, over in search.outside(without).items() if over > 0.0 and inside[id_] <= 0.0}
        finding = search.finding(pick.candidate.finding)
        victim = rows[finding.track] if finding is not None else -1
        gains = []
        lost: dict[int, float] = {}
        for k, known in enumerate(objective.sections):
            now, then = within.heard(k), without.heard(k)
            for at, row in enumerate(known.audible.judged):
                change = phon(float(now.cued[at].sum()))[0] - phon(float(then.cued[at].sum()))[0]
                if row == victim and finding is not None and finding.section in ("", known.name):
                    gains.append(Gain(row, known.name, change, _fader_db(without, k, known, row, at, now.cued[at])))
                elif change < -COST_PHON and row not in pick.candidate.rows:
                    lost[row] = max(-change, lost.get(row, 0.0))
        gains.sort(key=lambda one: -one.phon)
        made.append(Foretold(tuple(gains), back, _moved_db(objective, pick), lost))
    return made


def _fader_db(without: State, k: int, known: Known, row: int, at: int, wanted: np.ndarray) -> float:
    """Return by how much a fader would have to move, without a move, for a layer to be heard as loud as with it."""
    target = phon(float(wanted.sum()))[0]
    low, high = -_MOST_DB, _MOST_DB
    for _ in range(14):
        middle = 0.5 * (low + high)
        gains = dict(without.gains(k))
        gains[row] = gains[row] + middle if row in gains else np.array(middle)
        heard = known.audible.heard(gains, without.shift_db).heard
        low, high = (middle, high) if phon(float(heard.cued[at].sum()))[0] < target else (low, middle)
    return 0.5 * (low + high)


def _moved_db(objective: Objective, pick: Pick) -> dict[int, float]:
    """Return by how much the level of the rows that a move moves changes, mean over its sections, by K-weighting."""
    changes: dict[int, list[float]] = {}
    for known in objective.sections:
        for row, gain in pick.candidate.gains_db(pick.values, known.audible.excited).items():
            power = np.abs(known.audible.k_power[row])
            whole = float(power.sum())
            if whole > 0.0:
                now = float((power * factor(gain)).sum())
                changes.setdefault(row, []).append(10.0 * math.log10(max(now / whole, 1e-6)))
    return {row: float(np.mean(values)) for row, values in changes.items()}
