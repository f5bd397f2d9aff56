# SPDX-License-Identifier: Apache-2.0
import numpy as np
import pytest
from scipy.signal import sosfreqz

from mixwright.core.filters import design_band, design_high_pass, design_low_pass
from mixwright.hearing.place_loudness import place_hz
from mixwright.model.filters import EqBand, Pass
from mixwright.native.place import pan_gains
from mixwright.planning.candidate import Candidate, Setting
from mixwright.planning.filter_gains import band_limit, bell, tilt
from mixwright.planning.limits import PRICES
from planning.invented_excited import excited, humps

RATE_HZ = 48000


def rendered_db(sections):
    """Return the response of the engine's sections at the places, by scipy."""
    rows = np.insert(sections, 3, 1.0, axis=1)
    return 20.0 * np.log10(np.abs(sosfreqz(rows, 2.0 * np.pi * place_hz() / RATE_HZ)[1]))


def close(predicted_db, sections, within_db=0.2):
    wanted_db = rendered_db(sections)
    there = (place_hz() < 16000.0) & (wanted_db > -40.0)
    assert np.abs(predicted_db - wanted_db)[there].max() < within_db


@pytest.mark.parametrize("gain_db", [-12.0, -3.0, 4.0])
@pytest.mark.parametrize(("hz", "q"), [(80.0, 0.7), (1200.0, 2.0), (9000.0, 1.0)])
def test_a_bell_is_as_the_engine_renders_it(hz, q, gain_db):
    close(bell(hz, gain_db, q, place_hz()).db, design_band(EqBand(hz=hz, gain_db=gain_db, q=q), RATE_HZ))


@pytest.mark.parametrize("gain_db", [-4.0, 2.5])
@pytest.mark.parametrize("hz", [80.0, 1000.0])
def test_a_tilt_is_as_the_engine_renders_it(hz, gain_db):
    close(tilt(hz, gain_db, place_hz()).db, design_band(EqBand(kind="tilt", hz=hz, gain_db=gain_db), RATE_HZ))


@pytest.mark.parametrize("slope", [6, 12, 18, 48])
def test_a_band_limit_is_as_the_engine_renders_it(slope):
    low, high = (
        design_high_pass(Pass(hz=180.0, slope_db_oct=slope), RATE_HZ),
        design_low_pass(Pass(hz=5200.0, slope_db_oct=slope), RATE_HZ),
    )
    close(band_limit(place_hz(), slope, 180.0, None).db, low)
    close(band_limit(place_hz(), slope, None, 5200.0).db, high)
    close(band_limit(place_hz(), slope, 180.0, 5200.0).db, np.concatenate([low, high]))


def setting(name, start, low, high, first):
    return Setting(name=name, start=start, low=low, high=high, first=first)


FREE = {
    "level": ([setting("gain_db", 0.0, -6.0, 6.0, -2.0)], {}, {}),
    "pan": ([setting("pan", 0.1, -1.0, 1.0, -0.6)], {}, {"from_pan": 0.1, "law": 1.5}),
    "narrow": (
        [setting("left", -1.0, -1.0, 1.0, 0.1), setting("right", 0.9, -1.0, 1.0, 0.8)],
        {},
        {"from_left": -1.0, "from_right": 0.9},
    ),
    "band_limit": (
        [setting("low_hz", 20.0, 20.0, 400.0, 150.0), setting("high_hz", 20000.0, 2000.0, 20000.0, 6000.0)],
        {"slope_db_oct": 12.0},
        {},
    ),
    "shape": (
        [
            setting("gain_db", 0.0, -4.0, 6.0, -3.0),
            setting("hz", 1000.0, 100.0, 4000.0, 900.0),
            setting("q", 2.0, 0.5, 4.0, 1.5),
        ],
        {},
        {},
    ),
    "tilt": ([setting("gain_db", 0.0, -4.0, 4.0, -2.0), setting("hz", 90.0, 60.0, 120.0, 80.0)], {}, {}),
    "dip": (
        [setting("most_db", 0.0, 0.0, 6.0, 4.0), setting("margin_db", 6.0, -6.0, 18.0, 7.0)],
        {"hz": 2000.0, "q": 1.0, "attack_ms": 8.0, "hold_ms": 30.0, "release_ms": 120.0},
        {},
    ),
    "duck": ([setting("depth_db", 0.0, 0.0, 6.0, 3.0)], {"low_hz": 200.0, "high_hz": 6000.0}, {}),
    "duck by hits": (
        [setting("depth_db", 0.0, 0.0, 6.0, 3.0)],
        {"low_hz": 0.0, "high_hz": 0.0, "by_hits": 1.0},
        {},
    ),
    "duck above": ([setting("depth_db", 0.0, 0.0, 6.0, 3.0)], {"low_hz": 3000.0, "high_hz": 0.0}, {}),
    "width": ([setting("width", 1.0, 0.3, 1.0, 0.6)], {}, {"correlation": 0.2}),
    "send": ([setting("gain_db", 0.0, -6.0, 0.0, -3.0)], {}, {}),
    "even_out": (
        [
            setting("threshold_db", -15.0, -30.0, -10.0, -21.0),
            setting("ratio", 1.0, 1.0, 2.3, 1.6),
            setting("gain_db", 0.0, 0.0, 3.0, 0.4),
        ],
        {},
        {"level_db": -20.0},
    ),
}


def candidate(name):
    settings, fixed, known = FREE[name]
    kind = {"narrow": "pan", "duck above": "duck", "duck by hits": "duck"}.get(name, name)
    rows = (2,) if kind == "send" else (1,) if kind in ("pan", "width") else (1, 2)
    return Candidate(
        kind=kind,
        target="guitars",
        sections=(),
        rows=rows,
        settings=tuple(settings),
        fixed=fixed,
        key="voice" if kind in ("dip", "duck") else "",
        key_rows=(0,) if kind in ("dip", "duck") else (),
        feeds=((1, -6.0), (0, -9.0)) if kind == "send" else (),
        known=known,
    )


def section():
    sides = np.stack([humps(1500.0, 52.0), humps(1500.0, 46.0)])
    return excited([humps([400.0, 2000.0], 55.0), sides, humps(700.0, 50.0, 2.0)])


@pytest.mark.parametrize("name", FREE)
def test_derivatives_are_those_of_finite_differences(name):
    one, sound = candidate(name), section()
    step = 1e-4
    for values in (one.first, 0.5 * (one.first + one.start) + 0.01):
        slopes = one.slopes_db(values, sound)
        _, price = one.price(values)
        for k in range(len(values)):
            up, down = (values + sign * step * np.eye(len(values))[k] for sign in (1.0, -1.0))
            for row, by_setting in slopes.items():
                after, before = (np.asarray(one.gains_db(v, sound)[row]) for v in (up, down))
                wanted = np.broadcast_to((after - before) / (2.0 * step), (2, 40, 75))
                np.testing.assert_allclose(np.broadcast_to(by_setting[k], (2, 40, 75)), wanted, rtol=1e-4, atol=1e-6)
            if one.settings[k].name not in ("hz", "q"):  # these are fixed where a price is asked
                wanted = (one.price(up)[0] - one.price(down)[0]) / (2.0 * step)
                assert price[k] == pytest.approx(wanted, rel=1e-4, abs=1e-7)


@pytest.mark.parametrize("name", FREE)
def test_at_its_start_it_does_next_to_nothing_and_costs_nothing(name):
    one, sound = candidate(name), section()
    # A pass at the edge of hearing takes a little off the lowest and highest place.
    most = max(float(np.abs(gain).max()) for gain in one.gains_db(one.start, sound).values())
    assert most < (1.6 if name == "band_limit" else 1e-6)
    assert one.price(one.start)[0] == pytest.approx(0.0, abs=1e-9)
    assert one.price(one.first)[0] > 0.0


def test_what_goes_far_is_priced_at_more_than_its_size():
    one = Candidate("level", "x", (), (0,), (Setting("gain_db", 0.0, -18.0, 18.0, 6.0),))
    near, far = (one.price([gain_db])[0] / gain_db for gain_db in (9.0, 18.0))
    # Twice at 18 dB, one and a half times at 9 dB; a corner of 0.1 dB is rounded.
    assert far / near == pytest.approx(2.0 / 1.5, rel=0.02)
    assert far == pytest.approx(2.0 * PRICES["level"], rel=0.02)
    assert one.price([-18.0])[0] == one.price([18.0])[0]


def test_positions_are_those_of_the_mixer():
    one, sound = candidate("pan"), section()
    now = 20.0 * np.log10(pan_gains(1.5, [-0.6]) / pan_gains(1.5, [0.1]))[0]
    # What stands in one place sounds alike on both sides, but for the pan: take the power of one channel.
    level = sound.own[1].sum(axis=0) / (pan_gains(1.5, [0.1])[0] ** 2).sum()
    sound.own[1] = level[None] * pan_gains(1.5, [0.1])[0][:, None, None] ** 2
    np.testing.assert_allclose(one.gains_db(one.first, sound)[1][:, 0, 0], now, atol=1e-4)


def test_narrowing_uncorrelated_sides_and_mono_is_as_arithmetic_has_it():
    sides = excited([humps(1000.0, 50.0)] * 2)
    width = (setting("width", 1.0, 0.0, 1.0, 0.0),)
    for correlation, wanted_db in ((0.0, 10.0 * np.log10(0.5)), (1.0, 0.0)):
        one = Candidate("width", "pad", (), (1,), width, known={"correlation": correlation})
        np.testing.assert_allclose(one.gains_db([0.0], sides)[1], wanted_db, atol=1e-5)


def test_a_return_fed_by_one_alone_follows_its_send():
    alone = Candidate("send", "keys", (), (2,), (setting("gain_db", 0.0, -6.0, 0.0, -3.0),), feeds=((1, -6.0),))
    np.testing.assert_allclose(alone.gains_db([-4.0], section())[2], -4.0, atol=1e-6)


def test_it_acts_in_its_sections_alone():
    one = candidate("level")
    there = Candidate("level", "guitars", ("Verse",), one.rows, one.settings)
    assert one.gains_db([-2.0], section())
    assert not there.gains_db([-2.0], section())


def test_a_move_has_settings_that_can_be_dialled_and_the_margin_of_the_insert():
    one = candidate("dip")
    moved = Candidate("dip", "guitars", (), (1,), one.settings, one.fixed, key="voice", known={"margin_shift_db": -7.0})
    move = moved.move([3.4567, 12.04])
    assert move["settings"] == {**one.fixed, "most_db": 3.5, "margin_db": 5.0}
    limits = candidate("band_limit").move([163.0, 5432.0])["settings"]
    assert (limits["low_hz"], limits["high_hz"]) == (160.0, 5400.0)
    assert move["id"] == moved.move([1.0, 0.0])["id"]  # not of the amount
