# SPDX-License-Identifier: Apache-2.0
"""A layer of which next to nothing is heard anywhere: how far it lies outside, over all sections together."""

import numpy as np
import pytest
from invented_room import BASS, PAD, ROWS, candidate, covered, louder, sections

from mixwright.ledger.arrangement import COVERED
from mixwright.model.ledger import Finding
from mixwright.model.ranges import Range
from mixwright.model.song import changed
from mixwright.planning.audible import Heard
from mixwright.planning.covered_term import CoveredTerm, Sounding
from mixwright.planning.objective import Objective, State
from mixwright.planning.powers import phon
from mixwright.planning.search import Search
from mixwright.planning.terms import Part
from mixwright.planning.towards_records import _tolerated

ONLY = Finding(
    id="only-row-3", kind="only_covered", track=f"row-{BASS}", section="", start_s=0.0, end_s=20.0, band_hz=None,
    size_db=Range(cued=13.0, strict=19.0), tolerance_db=14.0, excess_db=-1.0,
    alone_sone=5.0, in_mix_sone=Range(cued=0.4, strict=0.2),
)  # fmt: skip


def buried():
    return [louder(one, BASS, -14.0 - 4.0 * k) for k, one in enumerate(sections())]


def heard(objective, chosen=()):
    state = State(objective, chosen)
    return {k: state.heard(k) for k in range(len(objective.sections))}


def up(gain_db, where=()):
    one = candidate("level", BASS, [("gain_db", 0.0, 0.0, 18.0, 3.0)], sections=where, finding=ONLY.id)
    return one, np.array([gain_db])


def test_as_the_mix_stands_it_lies_as_far_outside_as_the_ledger_says():
    objective = Objective(buried(), ROWS, [ONLY])
    (term,) = objective.covered
    assert term.outside_phon(heard(objective)) == pytest.approx(phon(COVERED * 5.0)[0] - phon(0.4)[0])
    assert [one.part for one in term.where] == pytest.approx([0.5, 0.5])
    # What the ledger calls covered is outside, by however little.
    assert Objective(buried(), ROWS, [changed(ONLY, in_mix_sone=None)]).covered[0].outside_phon(
        heard(objective)
    ) == pytest.approx(0.3)


def test_of_a_bed_and_of_other_findings_there_is_none():
    assert Objective(buried(), ROWS, [changed(ONLY, track=f"row-{PAD}")]).covered == ()
    assert Objective(buried(), ROWS, covered()).covered == ()


def test_it_is_loudness_of_all_the_time_together_that_counts():
    # Of 4 sone and of 8, half the time each, a tenth is asked: 0.6 on average.
    term = CoveredTerm(ONLY, "support", (Sounding(0, 0, 0.5), Sounding(1, 0, 0.5)), 0.0)

    def heard_as(alone, cued):
        return type("Sone", (), {"alone": np.array([[alone]]), "cued": np.array([[cued]])})

    assert term.outside_phon({0: heard_as(4.0, 0.1), 1: heard_as(8.0, 1.1)}) == pytest.approx(0.0, abs=1e-9)
    assert term.outside_phon({0: heard_as(4.0, 0.1), 1: heard_as(8.0, 1.0)}) > 0.0
    assert term.outside_phon({0: heard_as(4.0, 0.2), 1: heard_as(8.0, 1.1)}) < 0.0


@pytest.mark.parametrize("cued", [0.3, 0.5, 0.65])
def test_slopes_are_what_a_small_step_does(cued):
    term = CoveredTerm(ONLY, "support", (Sounding(0, 0, 0.3), Sounding(1, 0, 0.7)), 0.1)

    def added(at=(), step=0.0):
        sone = np.array([[5.0, 6.0], [cued, cued]])  # alone and in the mix, of both sections
        if at:
            sone[at] += step
        none = np.zeros((0, 1))
        heard = {k: Heard(sone[:1, k : k + 1], sone[1:, k : k + 1], np.ones((1, 1)), none) for k in range(2)}
        parts = [Part(0.0, 0.0, 0.0, Heard(*(np.zeros((1, 1)) for _ in range(3)), none)) for _ in range(2)]
        term.add_to(parts, heard)
        return sum(one.wrong for one in parts), parts

    _, parts = added()
    for k in range(2):
        for row, name in enumerate(("alone", "cued")):
            slope = (added((row, k), 1e-5)[0] - added((row, k), -1e-5)[0]) / 2e-5
            assert getattr(parts[k].by, name)[0, 0] == pytest.approx(slope, rel=1e-4, abs=1e-7)
    assert (added()[0] > 0.0) is (cued < 0.6)


def test_it_is_raised_until_enough_of_it_is_heard_and_no_further():
    objective = Objective(buried(), ROWS, [ONLY])
    one, _ = up(0.0)
    search = Search(objective, [one])
    (pick,) = search.found().picks
    within = State(objective, [(pick.candidate, pick.values)])
    assert search.outside(State(objective, ()))[ONLY.id] > 0.0
    assert search.outside(within)[ONLY.id] == 0.0
    assert search.cued_phon(within)[ONLY.id] - search.cued_phon(State(objective, ()))[ONLY.id] < 6.0


def test_moves_towards_the_records_see_how_far_outside_it_lies():
    objective = Objective(buried(), ROWS, [ONLY])
    outside = [_tolerated(objective, State(objective, [up(gain_db)]))[-1] for gain_db in (0.0, -1.0)]
    assert outside[1] > outside[0] + 0.5 > 0.5
