# SPDX-License-Identifier: Apache-2.0
"""Loudness of places and its derivatives, against the slow twin and its differences."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from mixwright.hearing.bands import PLACES
from mixwright.hearing.constants import CUED_DB, constants_at
from mixwright.hearing.place_loudness import alone_in_places, alone_slope, cued_in_places, cued_slopes, place_hz
from reference import ear_twin as twin

CONSTANTS = constants_at(place_hz())
WIDTH_CAM = 0.5


def masked(noise):
    return CONSTANTS.masked_ratio * 10.0 ** (CUED_DB / 10.0) * noise + CONSTANTS.threshold


def excitations(count=60, seed=5):
    """Signals and noises (5 * count, PLACES): anything, beside each other, at masked threshold, no noise, loud."""
    random = np.random.default_rng(seed)
    signal, noise = 10.0 ** random.uniform(-2.0, 9.5, (2, 5, count, PLACES))
    signal[1] = noise[1] * 10.0 ** random.uniform(-2.0, 2.0, noise[1].shape)
    signal[2] = masked(noise[2]) * 10.0 ** random.uniform(-0.3, 1.0, noise[2].shape)
    noise[3] = 0.0
    signal[4], noise[4] = 10.0 ** random.uniform(10.2, 12.0, (2, count, PLACES))
    return [x.reshape(-1, PLACES).astype(np.float32) for x in (signal, noise)]


def alone_twin(own):
    return WIDTH_CAM * twin.specific_loudness(own, CONSTANTS)


def cued_twin(own, rest):
    return WIDTH_CAM * twin.partial_loudness(own, rest, CONSTANTS, CUED_DB)


def slope(function, at, step=1e-5):
    """Central difference of a function by what is around `at`, which it is called with."""
    width = step * np.maximum(at, 1e-3)
    return (function(at + width) - function(at - width)) / (2.0 * width)


def near_an_edge(own, rest):
    """Where a law changes within a thousandth: at masked threshold, at absolute threshold, at 1e10."""
    edges = ((own, masked(rest)), (own, CONSTANTS.threshold), (own + rest, 1e10), (own, 1e10))
    return np.any([np.abs(one / other - 1.0) < 1e-3 for one, other in edges], axis=0)


def test_sone_of_places_is_that_of_the_twin():
    """0.1 % above 1e-4 sone, and 1e-6 below; above 1e10 0.2 %."""
    own, rest = excitations()
    exact = [x.astype(np.float64) for x in (own, rest)]
    for found, wanted in ((alone_in_places(own), alone_twin(exact[0])), (cued_in_places(own, rest), cued_twin(*exact))):
        np.testing.assert_allclose(found, wanted, rtol=2e-3, atol=1e-6)


def test_derivatives_are_differences_of_the_twin():
    """By the logarithm of each, as settings in dB turn it: within 1e-3 of it and of 1e-3 of the loudness."""
    own, rest = excitations()
    signal, noise = (x.astype(np.float64) for x in (own, rest))
    clear = ~near_an_edge(signal, noise) & (signal > 0.0)
    sone, by_own = alone_slope(own)
    assert sone.tobytes() == alone_in_places(own).tobytes()
    checks = [(by_own * own, slope(alone_twin, signal) * signal, sone)]
    sone, by_own, by_rest = cued_slopes(own, rest)
    assert sone.tobytes() == cued_in_places(own, rest).tobytes()
    checks.append((by_own * own, slope(lambda s: cued_twin(s, noise), signal) * signal, sone))
    wanted = slope(lambda n: cued_twin(signal, n), noise) * noise
    checks.append((by_rest * rest, wanted, sone))
    for found, wanted, heard in checks:
        within = 1e-3 * (np.abs(wanted) + np.abs(heard)) + 1e-6
        assert np.all((np.abs(found - wanted) <= within)[clear])
    assert np.all(by_own[clear & (sone > 1e-5)] > 0.0)
    assert np.all(by_rest[clear & (sone > 1e-5)] <= 1e-9)


def test_a_silent_row_is_nothing():
    own, rest = (np.full((3, PLACES), value, dtype=np.float32) for value in (0.0, 1e5))
    own[1, 7] = 1e6
    for found in (*alone_slope(own), *cued_slopes(own, rest)):
        assert not found[[0, 2]].any()
        assert found[1, 7]


@settings(deadline=None, max_examples=30)
@given(
    *(hnp.arrays(np.float32, (3, PLACES), elements=st.floats(0.0, float(np.float32(1e20)), width=32)) for _ in range(2))
)
def test_finite_and_never_negative(own, rest):
    for found in (*alone_slope(own), *cued_slopes(own, rest)):
        assert np.all(np.isfinite(found))
    assert np.all(alone_in_places(own) >= 0.0)
    assert np.all(cued_in_places(own, rest) >= 0.0)


def test_how_arrays_lie_in_memory_does_not_matter():
    own, rest = excitations(count=2)
    turned = [np.asfortranarray(one) for one in (own, rest)]
    assert np.array_equal(alone_in_places(turned[0]), alone_in_places(own))
    for one, other in (
        (alone_slope(turned[0]), alone_slope(own)),
        (cued_slopes(*turned), cued_slopes(own, rest)),
        ([cued_in_places(*turned)], [cued_in_places(own, rest)]),
    ):
        assert all(np.array_equal(a, b) for a, b in zip(one, other, strict=True))
