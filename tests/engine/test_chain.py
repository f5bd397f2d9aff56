# SPDX-License-Identifier: Apache-2.0
"""The contract of every operation, found by going through all of them; and chains against their slow twin."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixwright.core.filters import strip_sections
from mixwright.engine import operation
from mixwright.engine.chain import Chain
from mixwright.engine.operation import Blended, Delay, Gain, Reverberation, Sections, Stage
from mixwright.engine.reverb import reverberation
from mixwright.model.filters import EqBand, Pass
from mixwright.model.strip import Reverb, Strip
from mixwright.native import chain as native
from reference import chain_twin

STRIP = Strip(high_pass=Pass(hz=80, slope_db_oct=18), eq=(EqBand(hz=900, gain_db=-6, q=3), EqBand(hz=3000, gain_db=4)))


def _stage(on):
    sections = strip_sections(STRIP, 48000)
    return Stage(native.SECTIONS, sections.ravel(), (2 * len(sections), 4 * len(sections)), count=len(sections), on=on)


EXAMPLES = {
    Gain: [Gain(-0.5)],
    Delay: [Delay(37), Delay(300, latency_frames=300), Delay(0)],
    Sections: [Sections(strip_sections(STRIP, 48000)[:n]) for n in range(5)]
    + [
        Sections(strip_sections(Strip(low_pass=Pass(hz=12000, slope_db_oct=48), eq=STRIP.eq), 48000)),
        Sections(strip_sections(Strip(low_pass=Pass(hz=12000, slope_db_oct=24)), 48000)),  # decays within a stride
    ],
    Stage: [_stage(on) for on in (native.BOTH, native.MIDDLE, native.SIDE, native.LEFT, native.RIGHT)],
    Blended: [
        Blended((Sections(strip_sections(STRIP, 48000)), Delay(300, latency_frames=300), Gain(0.7)), part=0.3),
        Blended((Gain(-0.5),), part=0.0),
    ],
    # At a low rate, so that its lines are short enough to go round many times.
    Reverberation: [
        reverberation(Reverb(kind="voice", decay_s=0.1, pre_delay_ms=0.0, high_hz=3000.0), 8000),
        reverberation(Reverb(kind="instruments", decay_s=0.12, pre_delay_ms=3.0), 8000),
    ],
}
EVERY = [
    pytest.param((one,), id=f"{type(one).__name__}-{k}") for ones in EXAMPLES.values() for k, one in enumerate(ones)
]
EVERY.append(pytest.param(tuple(one for ones in EXAMPLES.values() for one in ones), id="all in series"))
channels = pytest.mark.parametrize("channels", [1, 2])
operations = pytest.mark.parametrize("operations", EVERY)


def noise(frames, channels, seed=1):
    return np.random.default_rng(seed).uniform(-1.0, 1.0, (frames, channels))


def run(operations, audio, sizes=None):
    chain = Chain(operations, audio.shape[1])
    out = np.array(audio)
    start = 0
    for size in sizes or [len(out)]:
        chain.process(out[start : start + size])
        start += size
    assert start >= len(out)
    return out


def test_every_kind_of_operation_is_tested():
    kinds = {one for one in vars(operation).values() if isinstance(one, type) and hasattr(one, "identity")}
    assert set(EXAMPLES) == kinds - {operation.Operation}


@channels
@operations
def test_equals_the_slow_twin_to_the_bit(operations, channels):
    audio = noise(700, channels)
    assert np.array_equal(run(operations, audio), chain_twin.process(operations, audio))


@channels
@operations
@settings(max_examples=12)
@given(sizes=st.lists(st.integers(0, 400), min_size=1, max_size=20))
def test_any_split_into_blocks_gives_the_same_bits(operations, channels, sizes):
    audio = noise(sum(sizes), channels)
    assert np.array_equal(run(operations, audio, sizes), run(operations, audio))


@channels
@operations
@pytest.mark.parametrize("loud_frames", [600, 20], ids=["noise", "decay"])
def test_single_frames_give_the_same_bits(operations, channels, loud_frames):
    audio = noise(600, channels)
    audio[loud_frames:] = 0.0
    whole = run(operations, audio)
    assert np.array_equal(run(operations, audio, [1] * 600), whole)
    assert np.array_equal(chain_twin.process(operations, audio), whole)


@channels
@operations
def test_reset_replays(operations, channels):
    chain = Chain(operations, channels)
    first, second = noise(500, channels), noise(500, channels)
    chain.process(first)
    chain.reset()
    chain.process(second)
    assert np.array_equal(first, second)


@channels
@operations
def test_silence_in_silence_out(operations, channels):
    assert not run(operations, np.zeros((1000, channels))).any()


@operations
def test_stated_latency_is_the_measured_one(operations):
    # All delay of these operations is latency where they state any: against the same chain without its delays.
    operations = tuple(o for o in operations if not isinstance(o, Blended))
    late = tuple(o for o in operations if not (isinstance(o, Delay) and o.latency_frames == 0))
    prompt = tuple(o for o in operations if not isinstance(o, Delay))
    latency = Chain(late, 1).latency_frames
    audio = noise(2000, 1)
    assert np.array_equal(run(late, audio)[latency:], run(prompt, audio)[: len(audio) - latency])


@channels
@operations
@pytest.mark.parametrize(
    "audio",
    [
        np.full((5000, 1), 1e5),
        np.where(np.arange(5000)[:, np.newaxis] < 2500, 0.0, 1e5),
        np.where(np.arange(5000)[:, np.newaxis] % 100 < 50, 1.0, -1.0),
        np.full((5000, 1), 5e-324),
        np.full((5000, 1), float(np.finfo(np.float32).max)) * np.where(np.arange(5000) % 2, 1.0, -1.0)[:, np.newaxis],
    ],
    ids=["dc", "edge of +100 dB", "square", "denormals", "largest floats"],
)
def test_finite_for_finite_audio(operations, channels, audio):
    audio = np.repeat(audio, channels, axis=1)
    assert np.isfinite(run(operations, audio)).all()
    single = audio.astype(np.float32)
    out = np.empty_like(single)
    Chain(operations, channels).process_float(single, out)
    assert np.isfinite(out).all()


@channels
@operations
def test_float_audio_is_computed_in_double(operations, channels):
    audio = noise(900, channels).astype(np.float32)
    out = np.empty_like(audio)
    chain = Chain(operations, channels)
    chain.process_float(audio[:333], out[:333])
    chain.process_float(audio[333:333], out[333:333])
    chain.process_float(audio[333:], out[333:])
    assert np.array_equal(out, run(operations, audio.astype(np.float64)).astype(np.float32))


def test_a_float_that_is_not_finite_is_silence():
    audio = noise(600, 2).astype(np.float32)
    clean = audio.copy()
    for frame, value in ((10, np.nan), (300, np.inf), (301, -np.inf)):
        audio[frame, 1], clean[frame, 1] = value, 0.0
    results = []
    for given_audio in (audio, clean):
        out = np.empty_like(given_audio)
        Chain(EXAMPLES[Sections][4:5], 2).process_float(given_audio, out)
        results.append(out)
    assert np.array_equal(*results)


def test_decayed_states_are_forgotten():
    chain = Chain([Sections(strip_sections(Strip(eq=(EqBand(hz=100, gain_db=6),)), 48000))], 1)
    audio = np.zeros((48000, 1))
    audio[0] = 1.0
    chain.process(audio)
    assert audio[256, 0] != 0.0
    assert not audio[-1000:].any()
    assert np.abs(audio[audio != 0.0]).min() > 1e-200


@given(st.floats(-24.0, 24.0), st.floats(-24.0, 24.0), st.integers(0, 2**31))
def test_linear(gain_db, other_db, seed):
    sections = (Sections(strip_sections(STRIP, 48000)),)
    x, y = noise(400, 2, seed), noise(400, 2, seed + 1)
    a, b = 10 ** (gain_db / 20), 10 ** (other_db / 20)
    assert np.allclose(run(sections, a * x + b * y), a * run(sections, x) + b * run(sections, y), atol=1e-10)


def test_parallel_paths_are_lined_up():
    late = Blended((Delay(300, latency_frames=300),), part=0.25)
    audio = noise(1000, 2)
    np.testing.assert_allclose(run((late,), audio)[300:], audio[:-300], rtol=0, atol=1e-15)
    assert not run((late,), audio)[:300].any()


@pytest.mark.parametrize("sizes", [None, [1] * 700, [17, 480, 203]])
def test_moving_coefficients_go_in_straight_lines(sizes):
    # A gain goes from frame to frame, several coefficients by steps of 16 frames as their middle has them.
    ramp = Blended((Gain(0.0),), moving=lambda strides: 1.0 - 0.25 * strides[:, np.newaxis])
    np.testing.assert_allclose(run((ramp,), np.ones((700, 1)), sizes)[:, 0], 0.25 * np.arange(700) / 256, atol=1e-15)
    factor = np.array([0.25, 0.0, 0.0, 0.0, 0.0])
    steps = Stage(native.SECTIONS, factor, (2, 4), count=1, moving=lambda strides: strides[:, np.newaxis] * factor)
    wanted = 0.25 * (np.arange(700) // 16 * 16 + 8) / 256
    np.testing.assert_allclose(run((steps,), np.ones((700, 1)), sizes)[:, 0], wanted, atol=1e-15)


def test_middle_and_side_are_apart():
    audio = noise(600, 2)
    out = run((Blended((_stage(native.SIDE),), part=1.0),), audio)
    np.testing.assert_allclose(out.sum(axis=1), audio.sum(axis=1), atol=1e-14)
    assert np.abs(out - audio).max() > 0.1
    assert np.array_equal(run((_stage(native.RIGHT),), audio)[:, 0], audio[:, 0])


def test_a_mono_track_keeps_the_latency_of_what_works_on_its_side():
    late = Stage(native.DELAY, np.empty(0), (300, 600), count=300, latency_frames=300, on=native.SIDE)
    audio = noise(1000, 1)
    assert np.array_equal(run((late,), audio)[300:], audio[:-300])
