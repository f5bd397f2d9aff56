# SPDX-License-Identifier: Apache-2.0
import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st

from mixwright.planning.settle import SMALLEST_DB, Wanted, level_of_sum, settle, with_exact


def wanted(loudness, centre, spread, *, free=None, exact=None):
    loudness = np.asarray(loudness, dtype=np.float64)
    n = len(loudness)
    return Wanted(
        loudness=loudness,
        energy=10.0 ** ((loudness + 0.691) / 10.0),
        centre=np.asarray(centre, dtype=np.float64),
        spread=np.asarray(spread, dtype=np.float64),
        free=np.ones(n, dtype=bool) if free is None else np.asarray(free),
        exact=np.zeros(n, dtype=bool) if exact is None else np.asarray(exact),
    )


def re_sum(want, gains):
    return want.loudness + gains - level_of_sum(want.energy, gains)


def consistent(shares):
    """Centres that add up to the whole, as powers."""
    shares = np.asarray(shares) / np.sum(shares)
    return 10.0 * np.log10(shares)


def test_level_of_a_sum_is_that_of_powers_adding():
    # Two uncorrelated layers of one level: +3.01 LU.
    energy = 10.0 ** ((np.array([-20.0, -20.0]) + 0.691) / 10.0)
    assert abs(level_of_sum(energy, np.zeros(2)) - (-20.0 + 10.0 * np.log10(2.0))) < 1e-9


def test_what_is_inside_every_interval_is_left_alone():
    centre = consistent([0.54, 0.2, 0.15, 0.11])
    want = wanted(
        -20.0 + centre + [0.5, -1.0, 1.5, 0.0], centre, [1.31, 2.9, 2.8, 3.1], exact=[True, False, False, False]
    )
    assert np.all(settle(want) == 0.0)


def test_the_lead_alone_is_moved_when_it_alone_is_off():
    centre = consistent([0.54, 0.2, 0.15, 0.11])
    want = wanted(
        -20.0 + centre + [-8.0, 0.0, 0.0, 0.0], centre, [1.31, 2.9, 2.8, 3.1], exact=[True, False, False, False]
    )
    gains = settle(want)
    assert np.all(gains[1:] == 0.0)
    assert abs(gains[0] - 8.0) < 0.05
    assert abs(re_sum(want, gains)[0] - centre[0]) < 0.01


@settings(max_examples=60, deadline=None)
@given(
    shares=st.lists(st.floats(0.02, 1.0), min_size=2, max_size=12),
    off=st.lists(st.floats(-12.0, 12.0), min_size=13, max_size=13),
    level=st.floats(-60.0, -5.0),
)
def test_every_member_ends_inside_its_interval_and_a_moved_lead_in_its_centre(shares, off, level):
    centre = consistent([1.2 * sum(shares), *shares])
    n = len(centre)
    spread = np.array([1.31] + [3.0] * (n - 1))
    exact = np.arange(n) == 0
    want = wanted(level + centre + off[:n], centre, spread, exact=exact)
    gains = settle(want)
    left = re_sum(want, gains) - centre
    # Half an LU beyond the edge is left alone; rarely the goals of the others move the sum a little more (in 4 of 1000
    # random mixes of 3 to 13 layers, by at most 1 LU).
    assert np.all(np.abs(left) <= spread + 2.0)
    if gains[0] != 0.0:
        assert abs(left[0]) < 0.01


@settings(max_examples=30, deadline=None)
@given(shift=st.floats(-30.0, 30.0), off=st.lists(st.floats(-10.0, 10.0), min_size=5, max_size=5))
def test_a_common_gain_on_all_tracks_changes_no_move(shift, off):
    centre = consistent([0.54, 0.2, 0.15, 0.06, 0.05])
    exact = np.arange(5) == 0
    one = settle(wanted(-30.0 + centre + off, centre, [1.31, 3.0, 3.0, 3.0, 3.0], exact=exact))
    other = settle(wanted(-30.0 + shift + centre + off, centre, [1.31, 3.0, 3.0, 3.0, 3.0], exact=exact))
    assert np.allclose(one, other, atol=1e-6)


def test_bound_members_keep_their_level_and_the_lead_comes_to_them():
    centre = consistent([0.5, 0.5])
    want = wanted([-40.0, -20.0], centre, [1.0, 3.0], free=[True, False], exact=[True, False])
    gains = settle(want)
    assert gains[1] == 0.0
    assert abs(gains[0] - 20.0) < 0.01


@settings(max_examples=60, deadline=None)
@given(
    shares=st.lists(st.floats(0.05, 1.0), min_size=2, max_size=8),
    off=st.lists(st.floats(-9.0, 9.0), min_size=9, max_size=9),
)
@example(shares=[1.0, 1.0, 1.0, 0.25], off=[-1.0, 0.0, 1.0, 6.0, 5.0, 0.0, 0.0, 0.0, 0.0])  # one makes another needless
def test_every_move_is_needed(shares, off):
    """Without any one of them (the lead following), something that is left alone lies outside its interval."""
    centre = consistent([1.2 * sum(shares), *shares])
    n = len(centre)
    want = wanted(-20.0 + centre + off[:n], centre, [1.31] + [3.0] * (n - 1), exact=np.arange(n) == 0)
    gains = settle(want)
    if (gains != 0.0).all():
        return
    for index in np.flatnonzero((gains != 0.0) & ~want.exact):
        without = gains.copy()
        without[index] = 0.0
        without = with_exact(want, without)
        away = np.abs(re_sum(want, without) - centre) - want.spread
        assert np.any(away[without == 0.0] > SMALLEST_DB)
