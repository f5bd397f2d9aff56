# SPDX-License-Identifier: Apache-2.0
"""Who stands apart in one section: what a plan takes from the others, and what it does not."""

from dataclasses import replace

import numpy as np
import pytest
from invented_excited import humps
from invented_room import GUITAR, PAD, ROWS, VOICE, candidate, candidates, covered, louder, sections

from mixwright.hearing.place_loudness import place_hz
from mixwright.model.song import changed
from mixwright.planning.filter_gains import bell
from mixwright.planning.objective import Objective, State
from mixwright.planning.search import Search
from mixwright.planning.standing import Standing, mean_gain, standings


def song(gain_db=0.0, row=GUITAR, count=3):
    """Return sections of which the second has one row changed."""
    made = [replace(sections()[0], section=changed(sections()[0].section, name=f"part {k}")) for k in range(count)]
    made[1] = louder(made[1], row, gain_db)
    return made


@pytest.mark.parametrize(("gain_db", "least", "most"), [(12.0, 11.0, 12.0), (5.0, 4.0, 4.6), (-9.0, -9.0, -8.0)])
def test_a_layer_that_is_louder_in_one_section_stands_apart_there_and_nowhere_else(gain_db, least, most):
    first, second, third = standings(song(gain_db))
    assert (first, third) == ({}, {})
    assert set(second) == {GUITAR}
    assert least <= second[GUITAR].mean_db <= most  # less than it is: a little of it is usual


def test_what_is_common_to_all_and_what_another_section_has_too_is_nothing():
    made = song()
    for row in range(4):
        made[1] = louder(made[1], row, 8.0)
    assert standings(made) == [{}, {}, {}]
    both = song(10.0)
    both[2] = louder(both[2], GUITAR, 10.0)
    assert [set(one) for one in standings(both)] == [{GUITAR}, set(), set()]


def test_of_one_section_or_of_two_layers_nothing_is_known():
    assert standings(song(10.0)[1:2]) == [{}]
    silent = [replace(one, active_s=np.array([10.0, 10.0, 0.0, 0.0])) for one in song(10.0)]
    assert standings(silent) == [{}, {}, {}]


def test_sections_that_differ_much_tell_little():
    made = song(12.0)
    alike = standings(made)[1][GUITAR].mean_db
    apart = [one if k == 1 else louder(louder(one, VOICE, -4.0), PAD, 4.0) for k, one in enumerate(made)]
    assert standings(apart)[1][GUITAR].mean_db < 0.8 * alike


def test_a_bell_on_a_layer_is_found_where_it_is():
    wide = louder(song()[0], GUITAR, 0.0)
    own = np.array(wide.own)
    own[GUITAR] = humps([150.0, 500.0, 1500.0, 4500.0], 70.0, 0.8).astype(np.float32)
    wide = replace(wide, own=own)
    gain = bell(1500.0, 12.0, 1.5, place_hz()).db
    named = [replace(wide, section=changed(wide.section, name=name)) for name in ("one", "two", "three")]
    stands = standings([named[0], louder(named[1], GUITAR, gain), named[2]])[1][GUITAR]
    hz, q, high_db = stands.bell()
    assert hz == pytest.approx(1500.0, rel=0.12)
    assert 0.8 <= q <= 2.5
    assert 7.0 <= high_db <= 12.0
    assert stands.between(1200.0, 1900.0) > 6.0
    assert stands.level_db < 1.0
    # A fader is no bell.
    assert standings(song(12.0))[1][GUITAR].bell() is None


def test_slopes_of_what_it_costs_to_stand_apart():
    stands = standings(song(9.0))[1][GUITAR]
    gain = np.linspace(-12.0, 4.0, len(place_hz()))
    value, slopes = stands.cost(gain)
    for k in (5, 30, 60):
        step = np.zeros(len(gain))
        step[k] = 0.01
        found = (stands.cost(gain + step)[0] - stands.cost(gain - step)[0]) / 0.02
        assert slopes[k] == pytest.approx(found, rel=1e-4, abs=1e-9)
    assert stands.cost(np.zeros(()))[0] == pytest.approx(0.0)
    assert stands.cost(np.array(-9.0))[0] < stands.cost(np.array(-4.0))[0] < 0.0
    assert stands.cost(np.array(-18.0))[0] > stands.cost(np.array(-9.0))[0]
    assert isinstance(stands, Standing)
    assert value < 0.0


def test_the_mean_of_a_gain_is_by_energy():
    one = song()[0]
    gain = np.where(np.arange(40) < 20, -6.0, 0.0)[None, :, None] * np.ones((2, 1, len(place_hz())))
    mean, part = mean_gain(one.own[GUITAR], one.seconds[GUITAR], gain)
    power = one.own[GUITAR, :, :, 30].sum(axis=0)
    wanted = 10.0 * np.log10((power * 10.0 ** (gain[0, :, 30] / 10.0)).sum() / power.sum())
    assert mean[30] == pytest.approx(wanted, abs=1e-4)
    assert part[:, :, 30].sum() == pytest.approx(1.0)
    assert mean_gain(one.own[GUITAR], one.seconds[GUITAR], np.array(-3.0))[0] == -3.0


def planned(made, findings, monkeypatch=None):
    if monkeypatch is not None:
        monkeypatch.setattr("mixwright.planning.objective.standings", lambda of: [{} for _ in of])
    down = ("gain_db", 0.0, -18.0, 0.0, -3.0)
    given = [one for finding in findings for one in candidates(finding)]
    given += [
        candidate("level", GUITAR, [down], sections=("part 1",), finding=finding.id) for finding in findings
    ]  # fmt: skip
    return Search(Objective(made, ROWS, findings), given).found()


def test_a_layer_goes_as_far_as_it_stands_in_the_other_sections(monkeypatch):
    made, findings = song(7.0), covered(0.4, names=("part 1",))
    (one,) = planned(made, findings).picks
    assert (one.candidate.kind, one.candidate.target, one.candidate.sections) == (
        "level",
        f"row-{GUITAR}",
        ("part 1",),
    )
    assert one.values[0] == pytest.approx(-7.0, abs=1.5)
    # Of one song that is all alike nothing says how far, or that it is the level.
    found = planned(made, findings, monkeypatch).picks
    assert found
    assert all(one.candidate.kind != "level" or one.values[0] > -4.0 for one in found)


def test_that_a_layer_stands_apart_is_no_finding():
    made = song(12.0)
    down = candidate("level", GUITAR, [("gain_db", 0.0, -18.0, 0.0, -3.0)], sections=("part 1",))
    assert Search(Objective(made, ROWS, ()), [down]).found().picks == ()
    cost = State(Objective(made, ROWS, ()), [(down, np.array([-11.0]))]).cost
    assert cost.apart < -1.0  # though it would be nearer to the others


@pytest.mark.parametrize(
    ("row", "gain_db", "known"), [(GUITAR, -12.0, False), (GUITAR, 12.0, True), (VOICE, -9.0, True)]
)
def test_that_it_stands_lower_than_elsewhere_raises_nobody_but_a_lead(row, gain_db, known):
    standing = Objective(song(gain_db, row), ROWS, covered(names=("part 1",))).sections[1].standing
    assert set(standing) == ({row} if known else set())
    assert all(one.mean_db * gain_db > 0.0 for one in standing.values())
