# SPDX-License-Identifier: Apache-2.0
import numpy as np
import pytest

from mixwright.hearing.place_loudness import place_hz
from mixwright.planning.candidate import Candidate, Setting
from mixwright.planning.essentials import Essentials, essential
from mixwright.planning.filter_gains import bell
from planning.invented_excited import excited, humps


def everybody(row, section):
    return True


def cut(hz, q=2.0, row=1, most_db=-4.0, kind="shape"):
    gain = Setting("gain_db", 0.0, most_db, 0.0, most_db / 2.0)
    fixed = {"hz": hz, "q": q} if kind == "shape" else {"hz": hz}
    return Candidate(kind, "guitars", (), (row,), (gain,), fixed)


def between(low_hz, high_hz):
    return (place_hz() > low_hz) & (place_hz() < high_hz)


SECTION = excited([humps(2500.0, 60.0, 0.7), humps(500.0, 58.0, 1.3), humps(90.0, 60.0, 0.7)])


def test_what_it_alone_has_is_essential_and_what_others_have_is_not():
    cells = essential(SECTION, 1)
    assert cells[:, between(350.0, 700.0)].mean() > 0.9
    assert cells[:, between(2300.0, 2700.0)].mean() < 0.2


def test_harmonics_that_stand_out_are_essential_under_something_louder():
    comb = humps(np.array([400.0, 900.0, 1800.0]), 58.0, 0.08)
    heard = excited([humps(900.0, 62.0, 2.0), comb])
    cells = essential(heard, 1)
    at = np.argmin(np.abs(place_hz() - 900.0))
    assert cells[:, at].mean() > 0.3
    covered = excited([humps(900.0, 82.0, 2.0), comb])
    assert not essential(covered, 1).any()


def test_change_is_that_of_the_energy_there_beside_the_whole():
    held = Essentials([SECTION], everybody)
    gain = bell(500.0, -6.0, 1.0, place_hz()).db
    energy = SECTION.own[1].sum(axis=0) * SECTION.seconds[1][:, None]
    cells = essential(SECTION, 1)
    power = 10.0 ** (gain / 10.0)
    kept, whole = (energy * cells * power).sum() / (energy * cells).sum(), (energy * power).sum() / energy.sum()
    wanted = 10.0 * np.log10(kept / whole)
    assert wanted < -0.2
    assert held.change_db(cut(500.0, 1.0, most_db=-6.0), [-6.0]) == pytest.approx(wanted, abs=1e-3)
    assert held.change_db(Candidate("level", "guitars", (), (1,), cut(500.0).settings), [-6.0]) == 0.0


def test_a_cut_outside_keeps_its_bounds_and_one_inside_is_held_back():
    held = Essentials([SECTION], everybody)
    assert held.within(cut(2500.0)).settings == cut(2500.0).settings
    deep = cut(500.0, 0.7, most_db=-24.0)
    low = held.within(deep).settings[0].low
    assert -12.0 < low < -0.5
    assert held.change_db(deep, [low]) == pytest.approx(-0.5, abs=0.01)


def test_a_pass_stops_before_what_matters():
    corner = Setting("low_hz", 20.0, 20.0, 2000.0, 200.0)
    one = Candidate("band_limit", "bass", (), (2,), (corner,), {"slope_db_oct": 12.0})
    found = Essentials([SECTION], everybody).within(one)
    assert 40.0 < found.settings[0].high < 80.0


def test_a_bed_is_not_held():
    one = cut(500.0)
    assert Essentials([SECTION], lambda row, section: False).within(one).settings == one.settings


def test_a_cut_takes_from_who_is_just_in_front_and_not_from_who_stands_far_over_all_others():
    near = excited([humps(2500.0, 60.0, 0.7), humps(500.0, 58.0, 1.3), humps(500.0, 55.0, 0.7)], seed=2)
    held = Essentials([near], everybody)
    assert held.share(1, "Chorus", 350.0, 700.0) > 0.3
    assert held.share(1, "Chorus", 2300.0, 2700.0) < 0.3
    assert held.share(1, "Verse", 350.0, 700.0) == 0.0
    assert Essentials([SECTION], everybody).share(1, "Chorus", 350.0, 700.0) < 0.1
