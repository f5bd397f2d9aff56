# SPDX-License-Identifier: Apache-2.0
"""Room below full scale: -1 dBTP is the ceiling of EBU R 128 for production; -6 to -3 is common practice, no source."""

import pytest

from mixwright.planning.headroom import lowered, propose_headroom


@pytest.mark.parametrize(("peak", "change"), [(-1.0, 0.0), (-9.0, 7.9), (2.0, -3.0), (None, 4.0)])
def test_a_mix_with_room_is_left(peak, change):
    assert propose_headroom(peak, change) is None


@pytest.mark.parametrize(("peak", "change", "gain"), [(-0.9, 0.0, -2.1), (3.4, 2.5, -8.9), (1.0, -1.5, -2.5)])
def test_a_hot_mix_is_lowered_to_3_below_full_scale(peak, change, gain):
    move = propose_headroom(peak, change)
    assert (move.target, move.kind, move.settings) == ("master", "level", {"gain_db": gain})
    assert move.predicted["true_peak_dbtp"] == pytest.approx(-3.0, abs=0.051)
    assert move.id == propose_headroom(peak, change + 1.0).id


def test_absolute_predictions_follow_the_master_and_relative_ones_do_not():
    move = propose_headroom(4.0, 0.0)
    (shifted,) = lowered([move], -7.0)
    assert shifted.predicted["mix_change_lu"] == pytest.approx(-14.0)
    assert shifted.predicted["true_peak_dbtp"] == move.predicted["true_peak_dbtp"]
