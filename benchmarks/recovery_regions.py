# SPDX-License-Identifier: Apache-2.0
"""Whether it matters what is essential to a layer: plans of static shapes beside some that hold random regions.

Both are planned on the model, and both judged by it. See recovery.py.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from unittest import mock

import numpy as np

from mixwright.ledger.findings import LedgerRow
from mixwright.model.ledger import Finding
from mixwright.planning import essentials
from mixwright.planning.candidates import candidates_for
from mixwright.planning.essentials import STATIC_SHAPES, essential
from mixwright.planning.excited import Excited
from mixwright.planning.known import KnownSong
from mixwright.planning.known_section import Essential
from mixwright.planning.limits import ESSENTIAL_DB
from mixwright.planning.objective import Objective
from mixwright.planning.search import Search

#: What is essential lies no further below the strongest place of its moment, in dB: random regions neither.
BELOW_DB = 15.0
Regions = Callable[[Excited, int], np.ndarray]


@dataclass
class Asked:
    """What the product's search was given when it planned a song; empty until then."""

    findings: Sequence[Finding] = ()
    known: KnownSong | None = None
    sections: Sequence[Excited] = ()
    rows: Sequence[LedgerRow] = ()
    named: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Held:
    """What static shapes alone gain, in phon as a plan weighs it: less that is wrong and harmed, price taken off.

    `own`, `random`: where what is essential is held, and where as many other cells are; first with what is taken of the
    essential counted as harm, then without.
    """

    own: tuple[float, float]
    random: tuple[float, float]


def held(asked: Asked, seed: int) -> Held | None:
    """Return what static shapes gain with regions of both kinds; None where nothing was asked."""
    if asked.known is None or not asked.sections:
        return None
    rng = np.random.default_rng(seed)
    made: dict[tuple[str, int], np.ndarray] = {}

    def elsewhere(excited: Excited, row: int) -> np.ndarray:
        key = excited.section.name, row
        if key not in made:
            made[key] = shuffled(essential(excited, row), excited.own[row].sum(axis=0), rng)
        return made[key]

    judges = _objective(asked, essential), _objective(asked, None)
    before = judges[0].cost(()).total
    gains = []
    for regions in (essential, elsewhere):
        with mock.patch.object(essentials, "essential", regions):
            given = candidates_for(asked.findings, asked.known, asked.sections)
        shapes = [one for one in given if one.kind in STATIC_SHAPES]
        found = Search(_objective(asked, regions), shapes).found()
        chosen = [(one.candidate, one.values) for one in found.picks]
        in_all, heard = (before - one.cost(chosen).total for one in judges)
        gains.append((in_all, heard))
    return Held(*gains)


def shuffled(cells: np.ndarray, own: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Return as many cells, bool (frames, PLACES), at random among those that are loud enough to be essential."""
    loud = (own > own.max(axis=1, keepdims=True) * 10.0 ** (-BELOW_DB / 10.0)) | cells
    found = np.zeros_like(cells)
    found[loud] = rng.permutation(cells[loud])
    return found


def _objective(asked: Asked, regions: Regions | None) -> Objective:
    limits = {
        (part.section.name, row): Essential(regions(part, row), ESSENTIAL_DB.value)
        for part in (asked.sections if regions is not None else ())
        for row, of in enumerate(asked.rows)
        if regions is not None and of.place_at(part.section.name) != "bed" and part.active_s[row] > 0.0
    }
    return Objective(asked.sections, asked.rows, asked.findings, **{**asked.named, "essential": limits})
