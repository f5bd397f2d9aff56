# SPDX-License-Identifier: Apache-2.0
"""Rows whose faders need not be asked: what is heard with and without them is the same plan."""

from dataclasses import astuple, replace

import numpy as np
import pytest
from invented_room import GUITAR, ROWS, VOICE, candidate, covered, sections

from mixwright.planning.objective import Objective, State
from mixwright.planning.powers import phon
from mixwright.planning.spared import Spared


def sone_of(level_phon):
    """Return one place that is as loud; 40 phon are one sone, by the definition of the sone."""
    low, high = 1e-3, 1e3
    for _ in range(80):
        middle = (low * high) ** 0.5
        low, high = (middle, high) if phon(middle)[0] < level_phon else (low, middle)
    return np.array([low])


@pytest.mark.parametrize(
    ("alone_phon", "cued_phon", "inside"),
    [
        (60.0, 40.0, True),
        (60.0, 37.5, True),
        (60.0, 36.9, False),
        (62.0, 39.5, True),
        (62.0, 38.5, False),
        (50.0, 45.0, True),
    ],
)
def test_a_row_is_asked_where_it_may_have_lost_what_it_lies_inside(alone_phon, cued_phon, inside):
    spared = Spared(3.0, sone_of(60.0), sone_of(40.0))
    assert spared.still_inside(sone_of(alone_phon), sone_of(cued_phon)) is inside


@pytest.mark.parametrize("gain_db", [-6.0, -1.0, 2.0, 9.0])
def test_a_plan_costs_the_same_with_and_without(gain_db):
    rows = [replace(row, place="support") for row in ROWS]
    objective, asked = (Objective(sections(), rows, covered()) for _ in range(2))
    for known in asked.sections:
        known.audible.spared = {}
    assert any(known.audible.spared for known in objective.sections)
    down = candidate("level", GUITAR, [("gain_db", 0.0, -18.0, 18.0, -3.0)])
    up = candidate("level", VOICE, [("gain_db", 0.0, -18.0, 18.0, 3.0)], sections=("Verse",))
    chosen = [(down, np.array([gain_db])), (up, np.array([2.0]))]
    one, other = State(objective, chosen), State(asked, chosen)
    assert astuple(one.cost) == astuple(other.cost)
    assert np.allclose(np.concatenate(one.gradient()), np.concatenate(other.gradient()), rtol=1e-9)


def test_several_threads_hear_the_same():
    objective = Objective(sections(), ROWS, covered())
    chosen = [(candidate("level", GUITAR, [("gain_db", 0.0, -18.0, 18.0, -3.0)]), np.array([-4.0]))]
    alone = State(objective, chosen)
    with objective.together():
        team = objective.team
        several = State(objective, chosen)
        slopes = np.concatenate(several.gradient())
    assert objective.team is not team
    assert astuple(several.cost) == astuple(alone.cost)
    assert np.array_equal(slopes, np.concatenate(alone.gradient()))
