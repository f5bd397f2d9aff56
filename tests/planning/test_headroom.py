# SPDX-License-Identifier: Apache-2.0
"""Room below full scale: -1 dBTP is the ceiling of EBU R 128 for production; -6 to -3 is common practice, no source."""

import pytest

from mixwright.planning.headroom import lowered, propose_headroom


@pytest.mark.parametrize(("now", "then"), [(-1.0, -1.0), (-9.0, -1.1), (2.0, -1.0), (None, None), (-3.0, None)])
def test_a_mix_with_room_is_left(now, then):
    assert propose_headroom(now, then) is None


@pytest.mark.parametrize(("now", "then", "gain"), [(-0.9, -0.9, -2.1), (3.4, 5.9, -8.9), (1.0, -0.5, -2.5)])
def test_a_hot_mix_is_lowered_to_3_below_full_scale(now, then, gain):
    move = propose_headroom(now, then)
    assert (move.target, move.kind, move.settings) == ("master", "level", {"gain_db": gain})
    assert move.predicted["true_peak_dbtp"] == pytest.approx(-3.0, abs=0.051)
    assert move.id == propose_headroom(now, then + 1.0).id


def test_before_a_limiter_peaks_are_told_as_such():
    move = propose_headroom(3.0, 4.0, limited=True)
    assert move.settings == propose_headroom(3.0, 4.0).settings
    assert move.reason.endswith("the mix would peak at +4.0 dBTP before the limiter.")
    assert move.measured == {"true_peak_before_limiter_dbtp": 3.0}
    (unknown,) = lowered([propose_headroom(4.0, 4.0)], -7.0, limited=True)
    assert unknown.predicted["mix_change_lu"] is None
    (kept,) = lowered([propose_headroom(4.0, 4.0)], 0.0, limited=True)
    assert kept.predicted["mix_change_lu"] == pytest.approx(-7.0)


def test_absolute_predictions_follow_the_master_and_relative_ones_do_not():
    move = propose_headroom(4.0, 4.0)
    (shifted,) = lowered([move], -7.0)
    assert shifted.predicted["mix_change_lu"] == pytest.approx(-14.0)
    assert shifted.predicted["true_peak_dbtp"] == move.predicted["true_peak_dbtp"]
