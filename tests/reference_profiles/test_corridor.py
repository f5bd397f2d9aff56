# SPDX-License-Identifier: Apache-2.0
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixwright.errors import SettingError
from mixwright.model.profile import Profile
from mixwright.reference.corridor import band_spread_db, corridor, interval_of


def record(low, **fields):
    known = {"low_end_db": low, "top_end_db": -12.0, "side_to_mid_db": -9.0, "plr_db": 9.0, **fields}
    return Profile(
        duration_s=1.0,
        rate_hz=48000,
        integrated_lufs=-10.0,
        true_peak_dbtp=-1.0,
        values={name: (value,) for name, value in known.items()},
    )


def test_a_record_counts_only_for_what_it_was_chosen_for():
    found = corridor([record(-3.0), record(3.0)], [("low_end",), ("width",)])
    assert found.low_end_db.references == 1
    assert found.low_end_db.high < 3.0
    assert found.side_to_mid_db.references == 1
    assert found.plr_db is None
    with pytest.raises(SettingError, match="no attribute"):
        corridor([record(0.0)], [("loudness",)])


def test_where_lead_voices_stand_is_told_of_the_records_whose_voice_is_there_alone():
    assert corridor([record(0.0)]).lead_re_mix_lu is None
    found = corridor([record(0.0), record(0.0, lead_re_mix_lu=-2.0), record(0.0, lead_re_mix_lu=-3.0)]).lead_re_mix_lu
    assert found.references == 2
    assert found.low < -3.0 < -2.0 < found.high


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(-10.0, 10.0), min_size=1, max_size=8))
def test_every_record_lies_inside_its_own_corridor(lows):
    interval = corridor([record(low) for low in lows]).low_end_db
    assert all(interval.outside(low) == 0.0 for low in lows)
    assert interval.high - interval.low >= max(lows) - min(lows)


def test_few_records_widen_by_the_published_spread():
    # +-2 dB in the middle, +-5 dB below 80 Hz: common practice, guided by Elowsson & Friberg 2017.
    assert band_spread_db(50.0) == band_spread_db(12000.0) == 5.0
    assert band_spread_db(1000.0) == 2.0
    one, four = interval_of([0.0], 3.0), interval_of([0.0] * 4, 3.0)
    assert (one.low, one.high) == pytest.approx((-3.0, 3.0))
    assert four.high - four.low < 0.7 * (one.high - one.low)
    assert one.outside(one.high + 1.5) == pytest.approx(1.5)
    assert one.outside(one.low - 1.5) == pytest.approx(-1.5)
    assert interval_of([None, None], 3.0) is None


@pytest.mark.parametrize("records", [2, 4, 8])
def test_eight_in_ten_further_records_lie_inside(records):
    """Records that scatter as published: a corridor of a few holds 80 % of further ones, or a few more."""
    rng = np.random.default_rng(records)
    # One record alone: +-spread holds 80 % of the differences of two, so their deviation is spread / (1.282 sqrt 2);
    # Student's t with 4 degrees of freedom in its place makes it a little smaller.
    deviation = 2.0 / (1.533 * np.sqrt(2.0))
    inside = 0
    for _ in range(1000):
        values = deviation * rng.standard_normal(records + 1)
        inside += interval_of(values[:-1].tolist(), 2.0).outside(values[-1]) == 0.0
    assert 780 < inside < 890
