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
from mixwright.ledger.spots import EDGE, LEAST_DB, by_filter, narrowed, spots


def test_places_keep_their_sum_where_they_are_even():
    np.testing.assert_allclose(by_filter(np.ones((3, PLACES))), 0.5)
    one = np.zeros(PLACES)
    one[30] = 2.0
    assert by_filter(one).sum() == pytest.approx(2.0)
    assert by_filter(one)[60] == pytest.approx(by_filter(one)[61])


def test_a_plateau_is_one_band():
    rise, taken = np.full(FILTERS, 2.0), np.full((2, FILTERS), 1.0)
    rise[50:60] = 10.0
    taken[1, 50:60] = 9.0
    (first, *_) = spots(np.ones(FILTERS), rise, taken)
    assert (first.taker, first.filters) == (1, slice(50, 60))
    assert first.taken_db == pytest.approx(9.0)
    # Beside it, it takes half of 2 dB.
    assert first.stands_out == pytest.approx(1.0 - 1.0 / 9.0)


def test_what_is_taken_everywhere_does_not_stand_out():
    taken = np.full((2, FILTERS), 1.0)
    taken[1] = 9.0
    (first,) = spots(np.ones(FILTERS), np.full(FILTERS, 10.0), taken)
    assert (first.filters, first.stands_out) == (slice(0, FILTERS), 0.0)


@given(st.integers(0, 2**32 - 1))
def test_bands_hold_what_they_say(seed):
    rng = np.random.default_rng(seed)
    alone = rng.uniform(0.1, 1.0, FILTERS)
    rise = np.convolve(rng.uniform(0.0, 20.0, FILTERS), np.ones(9) / 9, "same")
    taken = rng.uniform(0.0, 1.0, (3, FILTERS))
    found = spots(alone, rise, taken)
    assert [one.taken_db for one in found] == sorted((one.taken_db for one in found), reverse=True)
    for k, one in enumerate(found):
        inside = (rise * taken[one.taker] / taken.sum(axis=0))[one.filters]
        assert inside.max() >= LEAST_DB
        assert inside.min() >= EDGE * inside.max() - 1e-9
        assert 0 <= one.filters.start < one.filters.stop <= FILTERS
        assert not any(one.same(other) for other in found[:k])


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
