# SPDX-License-Identifier: Apache-2.0
"""Crossovers against the definition of Linkwitz and Riley (1976): Butterworth twice, -6 dB at the split, a flat sum."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st

from mixwright.core.crossover import ORDERS, crossover
from mixwright.errors import SettingError
from mixwright.native import crossover as native

RATE_HZ = 48000
FRAMES = 1 << 14
slopes = pytest.mark.parametrize("slope", sorted(ORDERS))


def split(hz, slope, audio):
    coefficients = crossover(hz, RATE_HZ, slope)
    state = np.zeros(native.states(len(hz) + 1, ORDERS[slope], audio.shape[1]))
    return native.split(coefficients, ORDERS[slope], state, audio)


def spectra(hz, slope):
    impulse = np.zeros((FRAMES, 1))
    impulse[0] = 1.0
    return np.fft.rfft(split(hz, slope, impulse)[:, :, 0], axis=1)


def db(x):
    return 20.0 * np.log10(np.maximum(np.abs(x), 1e-300))


@slopes
@pytest.mark.parametrize("hz", [[400.0], [120.0, 2500.0], [90.0, 100.0, 110.0], [120.0, 700.0, 19000.0]])
def test_ranges_add_up_flat(slope, hz):
    # The requirement is 0.01 dB.
    assert np.abs(db(spectra(hz, slope).sum(axis=0))).max() < 1e-8


@slopes
@settings(max_examples=25)
@given(st.lists(st.floats(30.0, 20000.0), min_size=1, max_size=3, unique_by=round))
def test_any_splits_add_up_to_what_goes_in_but_for_phase(slope, hz):
    ranges = spectra(sorted(hz), slope)
    assert np.abs(db(ranges.sum(axis=0))).max() < 1e-6


@slopes
def test_two_ranges_are_butterworth_filters_twice(slope):
    # Reference: scipy.signal.butter
    low, high = spectra([1000.0], slope)
    at = np.fft.rfftfreq(FRAMES, 1.0 / RATE_HZ)
    for range_, kind in ((low, "lowpass"), (high, "highpass")):
        sos = scipy.signal.butter(slope // 12, 1000.0, kind, fs=RATE_HZ, output="sos")
        wanted = np.abs(scipy.signal.sosfreqz(sos, at, fs=RATE_HZ)[1]) ** 2
        assert np.abs(np.abs(range_) - wanted).max() < 1e-9
    assert db(low[np.argmin(np.abs(at - 1000.0))]) == pytest.approx(-6.02, abs=0.05)


@slopes
def test_neighbouring_ranges_are_in_phase(slope):
    # What lets ranges of different gain add up without a notch; at 12 dB/oct one is inverted for it.
    ranges = spectra([150.0, 1500.0, 8000.0], slope)
    for low, high in itertools.pairwise(ranges):
        heard = np.minimum(np.abs(low), np.abs(high)) > 1e-6
        assert np.abs(np.angle(low[heard] * np.conj(high[heard]))).max() < 1e-3


def test_blocks_and_channels_change_nothing():
    rng = np.random.default_rng(3)
    audio = rng.uniform(-1.0, 1.0, (3000, 2))
    whole = split([200.0, 3000.0], 24, audio)
    assert np.array_equal(split([200.0, 3000.0], 24, audio[:, 1:])[:, :, 0], whole[:, :, 1])
    coefficients = crossover([200.0, 3000.0], RATE_HZ)
    state = np.zeros(native.states(3, 4, 2))
    parts = [native.split(coefficients, 4, state, part) for part in np.split(audio, [1, 7, 7, 2000])]
    assert np.array_equal(np.concatenate(parts, axis=1), whole)


def test_between_two_tables_the_sum_is_flat():
    half = 0.5 * (crossover([200.0, 900.0], RATE_HZ) + crossover([500.0, 4000.0], RATE_HZ))
    impulse = np.zeros((FRAMES, 1))
    impulse[0] = 1.0
    out = native.split(half, 4, np.zeros(native.states(3, 4, 1)), impulse)
    assert np.abs(db(np.fft.rfft(out[:, :, 0].sum(axis=0)))).max() < 1e-8


def test_splits_that_do_not_fit_are_refused():
    with pytest.raises(SettingError, match=r"a crossover at 900, 200 Hz has its frequencies out of order"):
        crossover([900.0, 200.0], RATE_HZ)
    with pytest.raises(SettingError, match=r"does not fit a song of 48000 Hz"):
        crossover([900.0, 24000.0], RATE_HZ)
