# SPDX-License-Identifier: Apache-2.0
"""Oversampling against filters worked out anew by scipy (Kaiser window) and against what its header states."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixwright.native.oversample import LATENCY_FRAMES, STATES, oversample
from reference import oversample_twin

factors = pytest.mark.parametrize("factor", [2, 4, 8])


@factors
def test_equals_plain_convolutions(factor):
    x = np.random.default_rng(1).uniform(-1.0, 1.0, 1500)
    up, back = oversample(x, factor)
    np.testing.assert_allclose(up, oversample_twin.up(x, factor), rtol=0, atol=1e-13)
    np.testing.assert_allclose(back, oversample_twin.down(oversample_twin.up(x, factor), factor), rtol=0, atol=1e-13)


@factors
def test_flat_to_20_khz_and_late_by_a_whole_number_of_frames(factor):
    x = np.zeros(4096)
    x[0] = 1.0
    _, back = oversample(x, factor)
    late = LATENCY_FRAMES[factor]
    response = np.fft.rfft(back) * np.exp(2j * np.pi * np.arange(2049) / 4096 * late)
    hz = np.arange(2049) / 4096 * 48000
    assert np.abs(20 * np.log10(np.abs(response[hz <= 20000]))).max() < 0.001
    assert np.abs(np.angle(response[hz <= 20000])).max() < 1e-9


@factors
def test_images_of_what_is_heard_lie_100_db_lower(factor):
    n = np.arange(8192)
    for hz in (1000.0, 9000.0, 15000.0, 20000.0):
        up, _ = oversample(np.sin(2 * np.pi * hz / 48000 * n), factor)
        tail = up[-4096 * factor :] * np.blackman(4096 * factor)
        level = np.abs(np.fft.rfft(tail))
        at = np.arange(len(level)) * 48000 / 4096
        assert level[at > 24000].max() < 1e-5 * level.max()


@factors
def test_nothing_above_half_the_rate_folds_back(factor):
    """Of the way down alone, which the twin stands for: a tone above half the rate, put in behind the way up."""
    high = np.concatenate([np.arange(24000.0, 30000.0, 333.0), np.arange(30000.0, 24000.0 * factor, 3100.0)])
    n = np.arange(4096 * factor)
    for hz in high:
        tone = np.sin(2 * np.pi * hz / (48000 * factor) * n)
        folded = oversample_twin.down(tone, factor)[200:3800]
        assert np.abs(folded).max() < 1e-5


@factors
@settings(max_examples=20)
@given(sizes=st.lists(st.integers(0, 600), min_size=1, max_size=8))
def test_any_split_gives_the_same_bits(factor, sizes):
    x = np.random.default_rng(3).uniform(-1.0, 1.0, sum(sizes))
    state, parts, start = np.zeros(STATES), [], 0
    for size in sizes:
        parts.append(oversample(x[start : start + size], factor, state))
        start += size
    for k, whole in enumerate(oversample(x, factor)):
        assert np.array_equal(np.concatenate([part[k] for part in parts]), whole)
