# SPDX-License-Identifier: Apache-2.0
"""Moves that make room, in words."""

import numpy as np
import pytest

from mixwright.planning.candidate import Candidate, Setting
from mixwright.planning.foretold import Foretold, Gain
from mixwright.planning.room_words import planned_move
from mixwright.planning.search import Pick
from planning.test_candidates import FINDINGS, ROWS

IDS = [row.id for row in ROWS]
NAMES = {row.id: row.name for row in ROWS}


def planned(gain_db, told, kind="shape"):
    fixed = {"hz": 2000.0, "q": 1.5} if kind == "shape" else {"hz": 250.0}
    candidate = Candidate(
        kind=kind, target="gtr-l", sections=("Chorus",), rows=(1,),
        settings=(Setting("gain_db", 0.0, -18.0, 18.0, -2.0),),
        fixed=fixed, finding=FINDINGS[0].id, why="cut",
    )  # fmt: skip
    return planned_move(Pick(candidate, np.array([gain_db])), told, {one.id: one for one in FINDINGS}, IDS, NAMES, 1.0)


@pytest.mark.parametrize(
    ("kind", "gain_db", "strong"),
    [
        ("shape", -3.5, False), ("shape", -7.0, True), ("shape", 3.0, False), ("shape", 6.0, True),
        ("level", -5.0, False), ("level", -9.0, True), ("tilt", 4.0, False), ("tilt", 5.0, True), ("tilt", -5.0, True),
    ],
)  # fmt: skip
def test_a_move_that_goes_further_than_usual_is_told_as_strong(kind, gain_db, strong):
    told = planned(gain_db, Foretold((Gain(0, "Chorus", 2.0, 1.4),), {}, {}, {}), kind)
    assert told.reason.startswith("Worth about 1.4 dB of fader to Lead voice in Chorus, the model expects")
    assert told.reason.endswith("This is a strong move.") is strong


def test_what_fails_without_it_is_the_finding_that_comes_back_or_what_the_layer_loses():
    gain = Gain(0, "Chorus", 2.0, 1.4)
    back = planned(-3.0, Foretold((gain,), {FINDINGS[0].id: 0.4}, {}, {}))
    assert back.without_it.startswith("Without it this stays outside its tolerance: Lead voice")
    softer = planned(-3.0, Foretold((gain,), {}, {1: -0.8, 2: -0.05}, {8: 0.5}))
    assert softer.without_it == "Without it Lead voice is 2.0 phon softer in the mix in Chorus."
    assert softer.costs == ("Guitar L 0.8 dB of its level", "Keys 0.5 phon in the mix")
