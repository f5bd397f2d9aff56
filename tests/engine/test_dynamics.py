# SPDX-License-Identifier: Apache-2.0
"""Compressor against the paper it follows; the contract of compressor and limiter; both against their slow twins.

The paper: D. Giannoulis, M. Massberg, J. D. Reiss, "Digital dynamic range compressor design: a tutorial and analysis",
J. Audio Eng. Soc. 60(6), 2012. Its equations are quoted at second hand (from implementations) and from memory.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from mixwright.engine.dynamics import BusCompressor, PeakLimiter
from mixwright.errors import SettingError
from reference import dynamics_twin

RATE_HZ = 48000
COMPRESSION = {
    "threshold_db": -20.0,
    "ratio": 4.0,
    "knee_db": 6.0,
    "attack_s": 0.01,
    "release_s": 0.1,
    "gain_db": 0.0,
}
LIMITING = {"ceiling_dbtp": -1.0, "release_s": 0.05}
MAKERS = {
    "compressor": lambda: BusCompressor(RATE_HZ, **COMPRESSION),
    "compressor, hard and fast": lambda: BusCompressor(
        RATE_HZ, threshold_db=-30, ratio=20, knee_db=0, attack_s=1e-4, release_s=0.005, gain_db=9
    ),
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


def level(level_db, frames):
    return np.full((frames, 2), 10.0 ** (level_db / 20.0))


# Worked from the paper's equation 4: threshold -20 dB, ratio 4.
@pytest.mark.parametrize(
    ("level_db", "hard_db", "soft_db"),
    [
        (-30, -30, -30),
        (-24, -24, -24.0375),
        (-22, -22, -22.3375),
        (-20, -20, -20.9375),
        (-18, -19.5, -19.8375),
        (-16, -19, -19.0375),
        (-15, -18.75, -18.75),
        (-10, -17.5, -17.5),
        (0, -15, -15),
    ],
)
def test_static_curve(level_db, hard_db, soft_db):
    for knee_db, expected_db in ((0.0, hard_db), (10.0, soft_db)):
        compressor = BusCompressor(RATE_HZ, **{**COMPRESSION, "knee_db": knee_db, "attack_s": 1e-3, "release_s": 1e-3})
        out, _ = run(compressor, level(level_db, 4800) * [1.0, -1.0])
        assert 20.0 * np.log10(np.abs(out[-1])) == pytest.approx(expected_db, abs=0.001)


# At the threshold a soft knee takes off (1 - 1 / ratio) knee / 8.
@given(st.floats(1.0, 20.0), st.floats(0.0, 24.0), st.floats(-60.0, 0.0))
def test_at_the_threshold(ratio, knee_db, threshold_db):
    changed = {"ratio": ratio, "knee_db": knee_db, "threshold_db": threshold_db, "attack_s": 1e-3, "gain_db": 3.0}
    _, gains = run(BusCompressor(RATE_HZ, **{**COMPRESSION, **changed}), level(threshold_db, 2000))
    assert 20.0 * np.log10(gains[-1]) == pytest.approx(3.0 - (1.0 - 1.0 / ratio) * knee_db / 8.0, abs=0.001)


def reduction_db(attack_s, release_s, *parts):
    """Reduction after 2:1 above -40 dB without a knee; `parts` are pairs of reduction wanted and seconds."""
    compressor = BusCompressor(
        RATE_HZ, threshold_db=-40, ratio=2, knee_db=0, attack_s=attack_s, release_s=release_s, gain_db=0
    )
    audio = np.concatenate([level(-40 + 2 * wanted, round(seconds * RATE_HZ)) for wanted, seconds in parts])
    return -20.0 * np.log10(run(compressor, audio)[1].astype(np.float64))


def seconds_until(reached):
    return (np.argmax(reached) + 1) / RATE_HZ


# Smooth decoupled detector (the paper's equation 17). The rise is one pole: 63.2 % after the attack time, 90 % after
# 2.303 of it. With attack A and release R, what is left t after the end of a step is
# (R exp(-t / R) - A exp(-t / A)) / (R - A), which for 10 and 100 ms passes 1 / e at 110.5 ms.
@pytest.mark.parametrize(("attack_s", "release_s"), [(0.01, 0.1), (0.03, 0.2), (0.0005, 0.05)])
def test_attack_and_release(attack_s, release_s):
    on, off = 20 * attack_s, 5 * release_s
    rise = reduction_db(attack_s, release_s, (12, on))
    assert seconds_until(rise >= 12 * (1 - np.exp(-1))) == pytest.approx(attack_s, rel=0.02, abs=1 / RATE_HZ)
    assert seconds_until(rise >= 12 * 0.9) == pytest.approx(2.3026 * attack_s, rel=0.02)

    def left(t):
        pole = release_s * np.exp(-t / release_s) - attack_s * np.exp(-t / attack_s)
        return pole / (release_s - attack_s) - np.exp(-1)

    expected_s = brentq(left, release_s / 2, 3 * release_s)
    if (attack_s, release_s) == (0.01, 0.1):
        assert expected_s == pytest.approx(0.11052, rel=1e-3)
    fall = reduction_db(attack_s, release_s, (12, on), (0, off))[round(on * RATE_HZ) :]
    assert seconds_until(fall <= 12 * np.exp(-1)) == pytest.approx(expected_s, rel=0.02)
    # From 12 to 3 dB the difference of 9 dB falls in the same time.
    partly = reduction_db(attack_s, release_s, (12, on), (3, off))[round(on * RATE_HZ) :]
    assert seconds_until(partly <= 3 + 9 * np.exp(-1)) == pytest.approx(expected_s, rel=0.02)


def test_both_channels_have_the_gain_of_the_louder():
    audio = bursts(4000)
    audio[:, 1] *= 0.3
    _, gains = run(MAKERS["compressor"](), audio)
    _, swapped = run(MAKERS["compressor"](), audio[:, ::-1] * [-1.0, 1.0])
    _, louder = run(MAKERS["compressor"](), np.repeat(np.abs(audio).max(axis=1, keepdims=True), 2, axis=1))
    assert np.array_equal(gains, swapped)
    assert np.array_equal(gains, louder)


def test_a_ratio_of_one_leaves_the_make_up_alone():
    _, gains = run(BusCompressor(RATE_HZ, **{**COMPRESSION, "ratio": 1.0, "gain_db": 6.0}), bursts(2000))
    assert gains == pytest.approx(10.0 ** (6.0 / 20.0), rel=1e-7)


@pytest.mark.parametrize("changed", [{}, {"knee_db": 0.0, "ratio": 20.0}, {"attack_s": 1e-4, "gain_db": -3.0}])
def test_compressor_equals_its_slow_twin(changed):
    audio = bursts(3000)
    audio[1000:1300] = 0.0
    _, gains = run(BusCompressor(RATE_HZ, **{**COMPRESSION, **changed}), audio)
    expected = dynamics_twin.compressor_gains(audio, RATE_HZ, **{**COMPRESSION, **changed})
    assert np.array_equal(gains, expected.astype(np.float32))
    assert gains.min() < 0.5


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


@pytest.mark.parametrize(
    "changed", [{"ratio": 0.9}, {"knee_db": -1.0}, {"attack_s": 0.0}, {"release_s": -0.1}, {"release_s": float("nan")}]
)
def test_settings_out_of_range_are_refused(changed):
    with pytest.raises(SettingError):
        BusCompressor(RATE_HZ, **{**COMPRESSION, **changed})


def test_a_limiter_without_release_time_is_refused():
    with pytest.raises(SettingError):
        PeakLimiter(RATE_HZ, ceiling_dbtp=-1.0, release_s=0.0)
