# SPDX-License-Identifier: Apache-2.0
"""Bands and times in which one layer takes most of what another loses."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mixwright.hearing.bands import BANDS, PLACES
from mixwright.hearing.heard import ALONE, BAND_CELLS, CELL_S
from mixwright.hearing.scale import FILTERS
from mixwright.ledger.spots import AS_WELL, EDGE_DOWN, EDGE_UP, FEW, LEAST_PART, SAME, by_filter, narrowed, spots


def test_places_keep_their_sum_where_they_are_even():
    np.testing.assert_allclose(by_filter(np.ones((3, PLACES))), 0.5)
    one = np.zeros(PLACES)
    one[30] = 2.0
    assert by_filter(one).sum() == pytest.approx(2.0)
    assert by_filter(one)[60] == pytest.approx(by_filter(one)[61])


def test_a_plateau_is_one_band():
    lost, taken = np.full(FILTERS, 0.1), np.full((2, FILTERS), 1.0)
    lost[50:60] = 0.8
    taken[1, 50:60] = 9.0
    (first, *_) = spots(np.ones(FILTERS), lost, taken)
    assert (first.taker, first.filters) == (1, slice(50, 60))
    assert first.part == pytest.approx(0.9 * 0.8 * 10 / FILTERS)
    # Beside it, it takes half of 0.1.
    assert first.stands_out == pytest.approx(1.0 - 0.05 / 0.72)


def test_what_is_taken_everywhere_does_not_stand_out():
    taken = np.full((2, FILTERS), 1.0)
    taken[1] = 9.0
    (first,) = spots(np.ones(FILTERS), np.full(FILTERS, 0.5), taken)
    assert (first.filters, first.stands_out, first.counts) == (slice(0, FILTERS), 0.0, 0.0)


def test_what_one_takes_beside_another_leaves_the_band_of_the_other_as_it_is():
    alone, lost, taken = np.ones(FILTERS), np.full(FILTERS, 0.02), np.full((2, FILTERS), 1e-6)
    lost[40:50], taken[0, 40:50] = 0.8, 1.0  # one that was there, just below
    lost[50:60], taken[1, 50:60] = 0.8, 1.0
    found = sorted((one.taker, one.filters.start, one.filters.stop) for one in spots(alone, lost, taken))
    assert found == [(0, 40, 50), (1, 50, 60)]


def test_two_that_take_the_same_band_are_told_once():
    lost, taken = np.full(FILTERS, 0.02), np.full((2, FILTERS), 1.0)
    lost[50:60] = 0.8
    taken[1] = 1.5
    first, *others = spots(np.ones(FILTERS), lost, taken)
    assert (first.taker, first.filters) == (1, slice(50, 60))
    assert not any(one.filters.start < 60 and one.filters.stop > 50 for one in others)


def test_what_is_lost_to_many_is_no_band():
    lost = np.full(FILTERS, 0.02)
    lost[50:60] = 0.8
    assert spots(np.ones(FILTERS), lost, np.ones((4, FILTERS))) == []
    assert spots(np.ones(FILTERS), lost, np.ones((3, FILTERS)))


@given(st.integers(0, 2**32 - 1))
def test_bands_hold_what_they_say(seed):
    rng = np.random.default_rng(seed)
    alone = rng.uniform(0.1, 1.0, FILTERS)
    lost = alone * np.convolve(rng.uniform(0.0, 1.0, FILTERS), np.ones(9) / 9, "same")
    taken = rng.uniform(0.0, 1.0, (3, FILTERS))
    found = spots(alone, lost, taken)
    assert [one.part for one in found] == sorted((one.part for one in found), reverse=True)
    for k, one in enumerate(found):
        took = lost * taken[one.taker] / taken.sum(axis=0)
        inside, there = (took / np.sqrt(alone))[one.filters], taken[:, one.filters].sum(axis=1)
        assert inside.min() >= min(EDGE_DOWN, EDGE_UP) * inside.max() - 1e-9
        assert one.part == pytest.approx(took[one.filters].sum() / alone.sum())
        assert one.part >= LEAST_PART
        assert 0.0 <= one.counts <= one.stands_out <= 1.0
        assert there[one.taker] >= AS_WELL * there.max()
        assert np.sort(there)[-2:].sum() >= FEW * there.sum()
        assert 0 <= one.filters.start < one.filters.stop <= FILTERS
        for other in found[:k]:
            filters = [set(range(x.filters.start, x.filters.stop)) for x in (one, other)]
            assert len(filters[0] & filters[1]) < SAME * len(filters[0] | filters[1])


def test_a_layer_that_loses_nothing_has_no_bands():
    assert spots(np.ones(FILTERS), np.zeros(FILTERS), np.zeros((2, FILTERS))) == []


@given(st.integers(0, 2**32 - 1), st.integers(1, 40))
def test_the_time_with_most_of_the_loss_by_a_plain_loop(seed, blocks):
    rng = np.random.default_rng(seed)
    bands = np.zeros((3, blocks, BANDS))
    bands[ALONE] = (rng.uniform(size=blocks) * (rng.uniform(size=blocks) < 0.6))[:, None]
    start_s, end_s = narrowed(bands, slice(0, FILTERS), 10.0)
    loss = bands[ALONE].sum(axis=1)
    over = loss - 0.5 * loss.mean()
    best = max(over[i:j].sum() for i in range(blocks) for j in range(i + 1, blocks + 1))
    block_s = BAND_CELLS * CELL_S
    first, end = (round((at_s - 10.0) / block_s) for at_s in (start_s, end_s))
    assert 0 <= first < end <= blocks
    if loss.any():
        assert over[first:end].sum() == pytest.approx(best)
