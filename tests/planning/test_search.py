# SPDX-License-Identifier: Apache-2.0
"""The few moves: they help, none of them is needless, and the same song has the same ones."""

import numpy as np
import pytest
from invented_room import BASS, GUITAR, PAD, ROWS, VOICE, candidate, candidates, covered, moved_to, permuted, sections

from mixwright.errors import Cancelled
from mixwright.jobs.progress import Cancel
from mixwright.planning.foretold import foretold
from mixwright.planning.objective import A_FURTHER_MOVE, A_MOVE, Objective, State
from mixwright.planning.search import MOST_MOVES, Pick, Search


def asked(findings):
    return [one for finding in findings for one in candidates(finding)]


def searched(made=None, findings=None, given=None, rows=ROWS):
    findings = covered() if findings is None else findings
    objective = Objective(made or sections(), rows, findings)
    search = Search(objective, asked(findings) if given is None else given)
    return objective, search, search.found()


def chosen(found):
    return [(one.candidate, one.values) for one in found.picks]


def told(found):
    return [(one.candidate.kind, one.candidate.target, tuple(np.round(one.values, 6))) for one in found.picks]


@pytest.fixture(scope="module")
def plan():
    return searched()


def test_a_guitar_in_the_way_is_moved_and_the_voice_is_heard_again(plan):
    objective, search, found = plan
    assert 1 <= len(found.picks) <= 3
    assert {one.candidate.target for one in found.picks} == {f"row-{GUITAR}"}
    before, after = (search.outside(State(objective, made)) for made in ((), chosen(found)))
    assert max(after.values()) < 0.5 * min(before.values())


@pytest.mark.parametrize(("hump_db", "excess_db"), [(55.0, 0.5), (70.0, 3.0), (82.0, 0.1)])
def test_what_there_is_never_grows_and_every_move_is_needed(hump_db, excess_db):
    objective, search, found = searched(sections(hump_db), covered(excess_db))
    assert found.after.total <= found.before.total
    assert found.after.total == pytest.approx(objective.cost(chosen(found)).total)
    assert len(found.picks) <= MOST_MOVES
    within = State(objective, chosen(found))
    for one in found.picks:
        without = State(objective, [(other.candidate, other.values) for other in found.picks if other is not one])
        assert search.needed(one, within, without)


def test_moves_are_dialled_and_within_their_bounds(plan):
    for one in plan[2].picks:
        assert np.array_equal(one.candidate.dialled(one.values), one.values)
        assert all(s.low <= v <= s.high for s, v in zip(one.candidate.settings, one.values, strict=True))


def test_a_song_that_is_right_gets_no_moves():
    assert searched(findings=())[2].picks == ()
    # Candidates that no finding asks for would only cost.
    assert searched(findings=(), given=asked(covered()))[2].picks == ()


def test_a_finding_that_is_hardly_one_is_worth_a_small_first_move_but_no_fourth(monkeypatch):
    hardly = covered(0.02, names=("Verse",))
    only = searched(findings=hardly)[2].picks
    assert len(only) == 1
    assert only[0].candidate.price(only[0].values)[0] < 0.5
    # At the price of a fourth move nothing is worth it, but what lies far outside still is.
    monkeypatch.setattr("mixwright.planning.objective.A_MOVE", A_MOVE + 3.0 * A_FURTHER_MOVE)
    assert searched(findings=hardly)[2].picks == ()
    assert searched(findings=covered(1.2, names=("Verse",)))[2].picks != ()


@pytest.mark.parametrize(
    ("excess_db", "gain_db", "phon", "comes_back", "needed"),
    [
        (0.02, -0.3, 0.30, True, True),  # a finding comes back, and be it by little
        (0.10, -0.5, 0.49, False, False),  # it stays outside either way, and nobody hears the difference
        (3.00, -2.0, 1.75, False, True),  # it stays outside, but is heard a phon better
    ],
)
def test_a_move_is_needed_without_which_a_finding_comes_back_or_its_layer_loses_a_phon(
    excess_db, gain_db, phon, comes_back, needed
):
    findings = covered(excess_db, names=("Verse",))
    objective, id_ = Objective(sections(), ROWS, findings), findings[0].id
    search = Search(objective, asked(findings))
    pick = Pick(asked(findings)[0], np.array([gain_db]))  # the guitar's level
    within, without = State(objective, [(pick.candidate, pick.values)]), State(objective, ())
    assert search.outside(without)[id_] > 0.0
    assert (search.outside(within)[id_] == 0.0) is comes_back
    assert search.cued_phon(within)[id_] - search.cued_phon(without)[id_] == pytest.approx(phon, abs=0.01)
    assert search.needed(pick, within, without) is needed


def test_a_bed_that_merely_melts_is_left():
    found = searched(sections(pad_db=50.0))[2]
    assert all(one.candidate.target != f"row-{PAD}" for one in found.picks)


def test_of_a_pair_only_what_is_needed_stays():
    (finding,) = covered(names=("Verse",))
    both = {"finding": finding.id, "pair": "shape"}
    cut = candidate("shape", GUITAR, [("gain_db", 0.0, -12.0, 0.0, -4.0)], {"hz": 2000.0, "q": 1.5}, **both)
    idle = candidate("shape", PAD, [("gain_db", 0.0, 0.0, 6.0, 1.0)], {"hz": 12000.0, "q": 1.5}, **both)
    (pick,) = searched(findings=[finding], given=[cut, idle])[2].picks
    assert pick.candidate is cut


def test_the_same_song_has_the_same_moves(plan):
    assert told(searched()[2]) == told(plan[2])


def test_the_order_of_rows_does_not_matter(plan):
    order = (BASS, PAD, VOICE, GUITAR)
    made = [permuted(one, order) for one in sections()]
    given = [moved_to(one, order) for one in asked(covered())]
    found = searched(made, given=given, rows=ROWS[::-1])[2]
    assert [one[:2] for one in told(found)] == [one[:2] for one in told(plan[2])]
    for one, other in zip(found.picks, plan[2].picks, strict=True):
        assert one.values == pytest.approx(other.values, abs=0.11)  # a step as it is dialled


def test_what_is_foretold_is_what_the_model_says_with_and_without(plan):
    objective, search, found = plan
    told = foretold(objective, search, found, {f"row-{k}": k for k in range(4)})
    assert len(told) == len(found.picks)
    for one, pick in zip(told, found.picks, strict=True):
        assert {gain.section for gain in one.gains} == {search.finding(pick.candidate.finding).section}
        assert one.gains[0].phon > 0.0
        assert one.gains[0].fader_db == pytest.approx(one.gains[0].phon, rel=0.7)  # a dB is about a phon
        assert one.moved_db[GUITAR] < -0.2


def test_it_stops_when_it_is_asked_to():
    cancel = Cancel()
    cancel.cancel()
    search = Search(Objective(sections(), ROWS, covered()), asked(covered()), cancel=cancel)
    with pytest.raises(Cancelled):
        search.found()
