# SPDX-License-Identifier: Apache-2.0
"""Oversampling against filters worked out anew by scipy (Kaiser window) and against what its header states."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import upfirdn

from mixwright.native.oversample import LATENCY_FRAMES, STATES, oversample

factors = pytest.mark.parametrize("factor", [2, 4, 8])


def half_band(half, beta):
    n = np.arange(1 - 2 * half, 2 * half)
    h = 0.5 * np.sinc(n / 2) * np.kaiser(4 * half - 1, beta)
    odd = n % 2 == 1
    h[odd] *= 0.5 / h[odd].sum()
    return h


def sharp():
    h = np.sinc(2 * 22 / 96 * np.arange(-80, 81)) * np.kaiser(161, 10.4)
    return h / h.sum()


HALF_BANDS = [half_band(21, 10.7), half_band(8, 11.8), half_band(6, 13.0)]


def filters(factor):
    return HALF_BANDS[: factor.bit_length() - 1]


def twin(x, factor):
    """Zeros put in, filtered, and back: convolutions by scipy, each late by 2 K frames of its own rate."""
    up = x
    for h in filters(factor):
        up = np.concatenate([np.zeros(1), upfirdn(2.0 * h, up, up=2)])[: 2 * len(up)]
    back = up
    for h in reversed(filters(factor)[1:]):
        back = upfirdn(h, np.concatenate([np.zeros(1), back]), down=2)[: len(back) // 2]
    return up, upfirdn(sharp(), back, down=2)[: len(x)]


@factors
def test_equals_plain_convolutions(factor):
    x = np.random.default_rng(1).uniform(-1.0, 1.0, 1500)
    for got, wanted in zip(oversample(x, factor), twin(x, factor), strict=True):
        np.testing.assert_allclose(got, wanted, rtol=0, atol=1e-13)


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
    """Of the way down alone: a tone above half the rate, put in behind the way up."""
    high = np.concatenate([np.arange(24000.0, 30000.0, 333.0), np.arange(30000.0, 24000.0 * factor, 3100.0)])
    n = np.arange(4096 * factor)
    for hz in high:
        down = np.sin(2 * np.pi * hz / (48000 * factor) * n)
        for h in reversed(filters(factor)[1:]):
            down = upfirdn(h, down, down=2)
        folded = upfirdn(sharp(), down, down=2)[200:3800]
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
