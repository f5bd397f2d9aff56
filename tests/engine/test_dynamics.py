# SPDX-License-Identifier: Apache-2.0
"""The limiter: its contract, and against its slow twin."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixwright.engine.dynamics import PeakLimiter
from mixwright.errors import SettingError
from reference import dynamics_twin

RATE_HZ = 48000
LIMITING = {"ceiling_dbtp": -1.0, "release_s": 0.05}
MAKERS = {
    "limiter": lambda: PeakLimiter(RATE_HZ, **LIMITING),
    "limiter at a low rate": lambda: PeakLimiter(8000, ceiling_dbtp=-9, release_s=0.005),
    "limiter, release at once": lambda: PeakLimiter(RATE_HZ, ceiling_dbtp=-6, release_s=1e-5),
}
every = pytest.mark.parametrize("make", MAKERS.values(), ids=MAKERS)


def bursts(frames, seed=1):
    random = np.random.default_rng(seed)
    audio = (
        random.standard_normal((frames, 2)) * np.repeat(random.uniform(-40, 12, frames // 300 + 1), 300)[:frames, None]
    )
    return audio / 12.0


def run(processor, audio, sizes=()):
    out, gains = np.array(audio, dtype=np.float64), np.full(len(audio), np.nan, dtype=np.float32)
    start = 0
    for size in (*sizes, len(out)):
        processor.process(out[start : start + size], gains[start : start + size])
        start += size
    return out, gains


@pytest.mark.parametrize(("rate_hz", "release_s"), [(48000, 0.05), (8000, 0.005), (44100, 1.0)])
def test_limiter_equals_its_slow_twin(rate_hz, release_s):
    audio = 3.0 * bursts(2500, seed=3)
    audio[1500] = 1e31
    audio[1590, 1] = 1e200
    audio[1501:2000] *= 1e-3
    limiter = PeakLimiter(rate_hz, ceiling_dbtp=-1.0, release_s=release_s)
    out, gains = run(limiter, audio)
    late, expected = dynamics_twin.limiter_gains(audio, rate_hz, ceiling_dbtp=-1.0, release_s=release_s)
    assert np.array_equal(gains, expected.astype(np.float32))
    assert np.array_equal(out, late * gains.astype(np.float64)[:, np.newaxis])
    assert 0.0 == gains.min() < gains[:1000].min() < 0.5


@every
def test_out_is_the_delayed_input_times_the_gain_to_the_bit(make):
    audio, processor = bursts(4000), make()
    out, gains = run(processor, audio)
    late = np.concatenate((np.zeros((processor.latency_frames, 2)), audio))[: len(audio)]
    assert np.array_equal(out, late * gains.astype(np.float64)[:, np.newaxis])
    assert np.ptp(gains) > 0.1


@every
@settings(max_examples=12, deadline=None)
@given(sizes=st.lists(st.integers(0, 400), min_size=1, max_size=20), seed=st.integers(0, 99))
def test_any_split_into_blocks_gives_the_same_bits(make, sizes, seed):
    audio = bursts(sum(sizes) + 10, seed)
    for found, whole in zip(run(make(), audio, sizes), run(make(), audio), strict=True):
        assert np.array_equal(found, whole)


@every
def test_single_frames_give_the_same_bits(make):
    audio = bursts(1500)
    audio[900:] = 0.0
    for found, whole in zip(run(make(), audio, [1] * 1500), run(make(), audio), strict=True):
        assert np.array_equal(found, whole)


@every
def test_reset_replays(make):
    processor = make()
    first = run(processor, bursts(3000))
    processor.reset()
    for found, again in zip(first, run(processor, bursts(3000)), strict=True):
        assert np.array_equal(found, again)


@every
def test_stated_latency_is_the_measured_one(make):
    processor = make()
    audio = np.zeros((3000, 2))
    audio[0] = 0.5  # first frame, so that nothing of it is lost before the beginning
    out, _ = run(processor, audio)
    assert np.flatnonzero(out[:, 0]).tolist() == [processor.latency_frames]


@every
def test_reductions_are_forgotten(make):
    processor = make()
    run(processor, bursts(2000))
    out, gains = run(processor, np.zeros((80 * RATE_HZ // 10, 2)))  # 80 time constants of 0.1 s
    assert not out[-1000:].any()
    assert np.array_equal(gains[-1:], run(make(), np.zeros((1, 2)))[1])
    assert not processor._state[1:4].any()  # after the count of frames: the reductions


@every
@pytest.mark.parametrize("largest", [1e5, 3.4e38, 1e300])
def test_finite_for_finite_audio(make, largest):
    n = np.arange(3000)[:, np.newaxis]
    for wave in (n >= 0, n > 1000, np.where(n % 100 < 50, 1, -1), np.where(n % 2, 1, -1), n == 1234):
        for found in run(make(), largest * wave * np.ones(2)):
            assert np.isfinite(found).all()


@every
def test_silence_and_denormals(make):
    for value in (0.0, 5e-324, 1e-40):
        out, gains = run(make(), np.full((1000, 2), value))
        assert np.ptp(gains) == 0.0
        assert np.abs(out).max() <= 3.0 * value


def test_a_limiter_without_release_time_is_refused():
    with pytest.raises(SettingError):
        PeakLimiter(RATE_HZ, ceiling_dbtp=-1.0, release_s=0.0)
