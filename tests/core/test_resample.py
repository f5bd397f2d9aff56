# SPDX-License-Identifier: Apache-2.0
"""Sample-rate conversion against what a perfect converter would give."""

from __future__ import annotations

import itertools
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixwright.core.resample import Resampler, resample, resampled_frames

PAIRS = [(44100, 48000), (48000, 44100), (96000, 48000), (48000, 96000), (88200, 48000), (22050, 48000)]


def sine(hz: float, rate_hz: int, seconds: float = 1.0) -> np.ndarray:
    return np.sin(2 * np.pi * hz * np.arange(round(rate_hz * seconds)) / rate_hz)[:, None]


def residual_db(audio: np.ndarray, hz: float, rate_hz: int) -> float:
    """Power beside the sine of `hz`, over its power; the edges (filter start) left out."""
    edge = rate_hz // 10
    x = audio[edge:-edge, 0].astype(np.float64)
    t = (np.arange(len(audio))[edge:-edge] / rate_hz) * 2 * np.pi * hz
    basis = np.stack([np.sin(t), np.cos(t)], axis=1)
    fit = basis @ np.linalg.lstsq(basis, x, rcond=None)[0]
    return float(10 * np.log10(np.mean((x - fit) ** 2) / np.mean(fit**2)))


@pytest.mark.parametrize(("from_hz", "to_hz"), PAIRS)
@pytest.mark.parametrize(("dtype", "limit_db"), [(np.float32, -140.0), (np.float64, -170.0)])
def test_residual_of_997_hz(from_hz: int, to_hz: int, dtype: type, limit_db: float) -> None:
    # AES17 measures with 997 Hz; -140 dB is what 24 bit can hold (-144 dB below full scale).
    converted = resample(sine(997.0, from_hz).astype(dtype), from_hz, to_hz)
    assert converted.dtype == dtype
    assert residual_db(converted, 997.0, to_hz) < limit_db


@pytest.mark.parametrize("hz", [25000.0, 30000.0, 40000.0])
def test_tones_above_the_new_half_rate_are_rejected(hz: float) -> None:
    converted = resample(sine(hz, 96000), 96000, 48000)[4800:-4800]
    assert 20 * np.log10(np.max(np.abs(converted))) < -140.0


@pytest.mark.parametrize("hz", [20.0, 1000.0, 10000.0, 20000.0])
def test_pass_band_is_flat(hz: float) -> None:
    converted = resample(sine(hz, 48000), 48000, 44100)[4410:-4410]
    assert np.sqrt(2 * np.mean(converted**2)) == pytest.approx(1.0, abs=2e-3)


@pytest.mark.parametrize(("from_hz", "to_hz"), PAIRS)
def test_impulse_stays_where_it_was(from_hz: int, to_hz: int) -> None:
    audio = np.zeros((from_hz, 1))
    audio[from_hz // 2] = 1.0
    assert np.argmax(np.abs(resample(audio, from_hz, to_hz))) == to_hz // 2


def test_level_of_a_constant_is_kept() -> None:
    converted = resample(np.ones((48000, 2)), 48000, 44100)
    np.testing.assert_allclose(converted[4410:-4410], 1.0, atol=1e-9)


RATES = st.sampled_from([8000, 11025, 22050, 32000, 44100, 48000, 88200, 96000, 192000])


@given(RATES, RATES, st.integers(0, 5000), st.integers(1, 3), st.lists(st.integers(0, 3000), max_size=6))
@settings(max_examples=60, deadline=None)
def test_length_is_exact_for_any_blocks(from_hz: int, to_hz: int, frames: int, channels: int, cuts: list[int]) -> None:
    expected = int(Fraction(frames * to_hz, from_hz) + Fraction(1, 2))
    assert resampled_frames(frames, from_hz, to_hz) == expected
    audio = np.random.default_rng(1).standard_normal((frames, channels)).astype(np.float32)
    resampler = Resampler(from_hz, to_hz, channels)
    edges = [0, *sorted(min(c, frames) for c in cuts), frames]
    parts = [resampler.push(audio[a:b]) for a, b in itertools.pairwise(edges)]
    streamed = np.concatenate([*parts, resampler.finish()])
    assert streamed.shape == (expected, channels)
    if from_hz != to_hz:
        np.testing.assert_array_equal(streamed, resample(audio, from_hz, to_hz))
