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
from mixwright.ledger.spots import EDGE, LEAST_TAKEN, by_filter, narrowed, spots


def test_places_keep_their_sum_where_they_are_even():
    np.testing.assert_allclose(by_filter(np.ones((3, PLACES))), 0.5)
    one = np.zeros(PLACES)
    one[30] = 2.0
    assert by_filter(one).sum() == pytest.approx(2.0)
    assert by_filter(one)[60] == pytest.approx(by_filter(one)[61])


def test_a_plateau_is_one_band():
    left, taken = np.full(FILTERS, 0.8), np.full((2, FILTERS), 1.0)
    left[50:60] = 0.2
    taken[1, 50:60] = 9.0
    (first, *_) = spots(np.ones(FILTERS), left, taken)
    assert (first.taker, first.filters) == (1, slice(50, 60))
    assert first.taken == pytest.approx(10 * 0.8 * 0.9 / FILTERS)


def test_a_band_ends_where_the_layer_does():
    alone = np.full(FILTERS, 0.01)
    alone[50:60] = 1.0
    (first, *_) = spots(alone, 0.1 * alone, np.ones((1, FILTERS)))
    assert first.filters == slice(50, 60)


@given(st.integers(0, 2**32 - 1))
def test_bands_hold_what_they_say(seed):
    rng = np.random.default_rng(seed)
    alone = rng.uniform(0.1, 1.0, FILTERS)
    left = alone * np.convolve(rng.uniform(0.0, 1.0, FILTERS), np.ones(9) / 9, "same")
    taken = rng.uniform(0.0, 1.0, (3, FILTERS))
    found = spots(alone, left, taken)
    assert [one.taken for one in found] == sorted((one.taken for one in found), reverse=True)
    for k, one in enumerate(found):
        part = taken[one.taker] / taken.sum(axis=0)
        assert one.taken == pytest.approx(float(((alone - left) * part)[one.filters].sum() / alone.sum()))
        inside = (part * (alone - left) ** 1.5 / alone)[one.filters]
        assert one.taken >= LEAST_TAKEN
        assert inside.min() >= EDGE * inside.max() - 1e-9
        assert 0 <= one.filters.start < one.filters.stop <= FILTERS
        assert not any(one.same(other) for other in found[:k])


def test_a_layer_that_loses_nothing_has_no_bands():
    assert spots(np.ones(FILTERS), np.ones(FILTERS), np.zeros((2, FILTERS))) == []


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
