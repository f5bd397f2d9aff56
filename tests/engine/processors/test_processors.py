# SPDX-License-Identifier: Apache-2.0
"""The contract of every processor (engine.chain), found by going through all kinds of inserts."""

from __future__ import annotations

from typing import get_args

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.processors.examples import RATE_HZ, every
from mixwright.engine.chain import Chain
from mixwright.engine.operation import Blended
from mixwright.engine.processors import operations_of
from mixwright.engine.processors.insert import made, movable
from mixwright.errors import SettingError
from mixwright.model.colour_inserts import Saturation
from mixwright.model.filter_inserts import Filters
from mixwright.model.insert import Insert, KeyedInsert
from mixwright.model.inserts import AnyInsert
from mixwright.model.song import changed
from mixwright.native.mathematics import ratio

PAIRS = [pytest.param(insert, twin, id=f"{type(insert).__name__}-{k}") for k, (insert, twin) in enumerate(every())]
INSERTS = [pytest.param(pair.values[0], id=pair.id) for pair in PAIRS]
channels = pytest.mark.parametrize("channels", [1, 2])
pairs = pytest.mark.parametrize(("insert", "twin"), PAIRS)
inserts = pytest.mark.parametrize("insert", INSERTS)


def kinds(base=Insert):
    for one in base.__subclasses__():
        yield from kinds(one)
        if one is not KeyedInsert:
            yield one


def phrases(frames, channels, seed=1):
    """Noise that comes and goes: processors that follow levels have something to follow."""
    rng = np.random.default_rng(seed)
    swells = 10.0 ** (np.repeat(rng.uniform(-3.0, 0.0, frames // 300 + 1), 300)[:frames] * 1.2)
    return rng.uniform(-1.0, 1.0, (frames, channels)) * swells[:, np.newaxis]


def keys_of(chain, key, frames):
    """Return a key as the chain asks for it: as late as it says."""
    if not chain.keys:
        return None
    padded = np.concatenate([np.zeros((max(k.late_frames for k in chain.keys), 2), np.float32), key])
    parts = [padded[len(padded) - len(key) - k.late_frames :][:frames] for k in chain.keys]
    return np.ascontiguousarray(np.stack(parts, axis=1))


def run(operations, audio, key=None, sizes=None, gains=None, *, replay=False):
    chain = Chain(operations, audio.shape[1], replay=replay)
    if key is None:
        key = phrases(len(audio), 2, 7).astype(np.float32)
    keys = keys_of(chain, key, len(audio))
    out, start = np.array(audio), 0
    for size in sizes or [len(out)]:
        end = start + size
        given_keys = None if keys is None else np.ascontiguousarray(keys[start:end])
        chain.process(out[start:end], given_keys, None if gains is None else gains[start:end])
        start = end
    return out


def keyed(insert):
    return isinstance(insert, KeyedInsert) and bool(insert.key)


def test_every_kind_of_insert_is_tested():
    assert {type(insert) for insert, _ in every()} == set(kinds())
    assert set(kinds()) <= set(made.registry)
    assert set(kinds()) == set(get_args(AnyInsert))


@channels
@pairs
def test_equals_its_slow_twin(insert, twin, channels):
    audio = phrases(4000, channels)
    key = phrases(4000, 2, 7).astype(np.float32)
    wanted = twin(insert, RATE_HZ, audio, key if keyed(insert) else None)
    out = run(made(insert, RATE_HZ), audio, key)
    np.testing.assert_allclose(out, wanted, rtol=1e-9, atol=1e-9 * np.abs(audio).max())


@channels
@inserts
@settings(max_examples=8)
@given(sizes=st.lists(st.integers(0, 700), min_size=1, max_size=12))
def test_any_split_into_blocks_gives_the_same_bits(insert, channels, sizes):
    audio, key = phrases(sum(sizes), channels), phrases(sum(sizes), 2, 7).astype(np.float32)
    operations = made(insert, RATE_HZ)
    assert np.array_equal(run(operations, audio, key, sizes), run(operations, audio, key))


@channels
@inserts
def test_single_frames_give_the_same_bits(insert, channels):
    audio = phrases(1100, channels)
    operations = made(insert, RATE_HZ)
    assert np.array_equal(run(operations, audio, sizes=[1] * 1100), run(operations, audio))


@channels
@inserts
def test_reset_replays(insert, channels):
    chain = Chain(made(insert, RATE_HZ), channels)
    first, second = phrases(3000, channels), phrases(3000, channels)
    keys = keys_of(chain, phrases(3000, 2, 7).astype(np.float32), 3000)
    chain.process(first, keys)
    chain.reset()
    chain.process(second, keys)
    assert np.array_equal(first, second)


@channels
@inserts
def test_silence_in_silence_out(insert, channels):
    assert not run(made(insert, RATE_HZ), np.zeros((3000, channels))).any()


@channels
@inserts
def test_its_gains_make_it_linear(insert, channels):
    """What it did to a signal, it does to any part of it, given the gains: parts add up to the whole."""
    audio, part = phrases(4000, channels), phrases(4000, channels, 3)
    operations = made(insert, RATE_HZ)
    gains = np.empty((4000, Chain(operations, channels).gains), dtype=np.float32)
    out = run(operations, audio, gains=gains)
    scale = np.abs(audio).max()
    np.testing.assert_allclose(run(operations, audio, gains=gains, replay=True), out, rtol=0, atol=1e-6 * scale)
    both = [run(operations, one, gains=gains, replay=True) for one in (audio - part, part)]
    whole = run(operations, audio, gains=gains, replay=True)
    np.testing.assert_allclose(both[0] + both[1], whole, rtol=0, atol=1e-9 * scale)


@inserts
def test_stated_latency_is_the_measured_one(insert):
    """At a level so low that no processor that follows levels acts, an impulse peaks so much later."""
    operations = made(insert, RATE_HZ)
    late = Chain(operations, 1).latency_frames
    quiet = 1e-5 * phrases(12000, 1)
    dry = Blended(operations, part=0.0)
    assert np.array_equal(run((dry,), quiet)[late:], quiet[: len(quiet) - late])
    out = run(operations, quiet)[:, 0]
    spectrum = np.fft.rfft(out, 32768) * np.conj(np.fft.rfft(quiet[:, 0], 32768))
    lag = int(np.argmax(np.abs(np.fft.irfft(spectrum / np.maximum(np.abs(spectrum), 1e-30)))))
    # A filter delays by itself, and that is no latency.
    assert abs(lag - late) <= (8 if isinstance(insert, Filters) else 2)


@channels
@inserts
@pytest.mark.parametrize(
    "audio",
    [
        np.full((5000, 1), 1e5),
        np.where(np.arange(5000)[:, np.newaxis] < 2500, 0.0, 1e5),
        np.where(np.arange(5000)[:, np.newaxis] % 100 < 50, 1.0, -1.0),
        np.full((5000, 1), 5e-324),
    ],
    ids=["dc", "edge of +100 dB", "square", "denormals"],
)
def test_finite_for_finite_audio(insert, channels, audio):
    audio = np.repeat(audio, channels, axis=1)
    assert np.isfinite(run(made(insert, RATE_HZ), audio)).all()


@inserts
@pytest.mark.parametrize("rate_hz", [44100, 96000, 192000])
def test_works_at_other_rates(insert, rate_hz):
    out = run(made(insert, rate_hz), phrases(3000, 2))
    assert np.isfinite(out).all()
    assert np.abs(out).max() < 100.0


@channels
@inserts
def test_it_sounds_the_same_in_the_form_that_moves(insert, channels):
    try:
        operations = movable(insert, RATE_HZ)
    except SettingError:
        assert isinstance(insert, Filters)
        return
    audio = phrases(3000, channels)
    off = np.abs(run(operations, audio) - run(made(insert, RATE_HZ), audio)).max() / np.abs(audio).max()
    # A bias that may move needs a high-pass at 10 Hz for what is added.
    assert off < (2e-2 if isinstance(insert, Saturation) else 1e-9)


@inserts
def test_gain_and_mix_come_after_it(insert):
    audio = phrases(3000, 2)
    alone = run(made(insert, RATE_HZ), audio)
    plain = changed(insert, gain_db=0.0, mix=1.0, on=True)
    louder = run(operations_of(changed(plain, gain_db=6.0), RATE_HZ), audio)
    np.testing.assert_allclose(louder, alone * float(ratio(6.0)), rtol=1e-12, atol=1e-12)
    late = Chain(made(insert, RATE_HZ), 2).latency_frames
    half = run(operations_of(changed(plain, mix=0.5), RATE_HZ), audio)
    dry = np.concatenate([np.zeros((late, 2)), audio])[: len(audio)]
    np.testing.assert_allclose(half, 0.5 * (alone + dry), rtol=1e-9, atol=1e-12)
    off = run(operations_of(changed(plain, on=False), RATE_HZ), audio)
    assert np.array_equal(off, dry)


@inserts
@pytest.mark.parametrize("works_on", ["middle", "side"])
def test_works_on_middle_or_side_alone(insert, works_on):
    audio = phrases(3000, 2)
    out = run(made(changed(insert, works_on=works_on), RATE_HZ), audio)
    sign = -1.0 if works_on == "middle" else 1.0
    late = Chain(made(insert, RATE_HZ), 2).latency_frames
    other = audio[:, 0] + sign * audio[:, 1]
    untouched = np.concatenate([np.zeros(late), other])[: len(audio)]
    np.testing.assert_allclose(out[:, 0] + sign * out[:, 1], untouched, rtol=0, atol=1e-12)
