# SPDX-License-Identifier: Apache-2.0
"""What is wrong with finished audio: each fault planted once in a small piece; the piece itself holds none."""

from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile
import soxr
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

import finished_sounds as sounds
from finished_sounds import RATE_HZ, dithered, mix
from mixwright.delivery.file_checks import sound_faults
from mixwright.delivery.finished.clicks import clicks
from mixwright.delivery.finished.coded_top import coded_top_hz
from mixwright.delivery.finished.dropouts import dropouts
from mixwright.delivery.finished.flat_tops import flat_tops
from mixwright.delivery.finished.mono_sum import mono_sum
from mixwright.delivery.finished.muted_words import left_words
from mixwright.delivery.finished.old_rate import old_rate_hz
from mixwright.delivery.finished.window_powers import window_powers
from mixwright.delivery.finished.word_length import word_length
from mixwright.meter.measure import measure
from mixwright.model.audio import AudioInfo


def single(audio: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(audio, dtype=np.float32)


def faults(audio: np.ndarray, *, bits: int | None = 24, rate_hz: int = RATE_HZ, part: bool = False) -> set[str]:
    info = AudioInfo(
        container="WAV",
        encoding="float32" if bits is None else f"PCM_{bits}",
        sample_rate_hz=rate_hz,
        channels=audio.shape[1],
        frames=len(audio),
        bits=bits,
    )
    data = single(audio if bits is None else dithered(audio, bits))
    return {fault.kind for fault in sound_faults(data, info, measure(data, rate_hz), part=part)}


@pytest.mark.parametrize("bits", [16, 24, None])
def test_a_clean_piece_has_none(bits):
    assert faults(mix(), bits=bits) == set()


def zeros_at(audio: np.ndarray, at: int, frames: int, side: slice = slice(None)) -> np.ndarray:
    changed = dithered(audio, 24)
    changed[at : at + frames, side] = 0.0
    return changed


def loud_from(audio: np.ndarray, start: int) -> int:
    """Return the first frame from a start on at which both sides are large."""
    return start + int(np.flatnonzero(np.abs(audio[start:]).min(axis=1) > 0.12)[0])


AT = loud_from(mix(), RATE_HZ)


@pytest.mark.parametrize(
    ("audio", "bits", "expected"),
    [
        (1.9 * mix() / np.abs(mix()).max(), None, {"over_full_scale", "true_peak_high"}),
        (dithered(mix(), 16), None, {"depth_unused"}),
        (np.clip(4.0 * mix(), -0.6, 0.6), 24, {"clipped"}),
        (np.clip(4.0 * mix(), -0.6, 0.6) * np.linspace(1, 0.3, len(mix()))[:, None], 16, {"clipped"}),
        (1e-3 * mix(), 24, {"near_silent"}),
        (np.concatenate((np.zeros((4 * RATE_HZ, 2)), mix())), 24, {"silence_before"}),
        (np.concatenate((mix(), np.zeros((11 * RATE_HZ, 2)))), 24, {"silence_after"}),
        (mix()[AT:], 24, {"cut_start"}),
        (mix()[:AT], 24, {"cut_end"}),
        (mix() * (1.0, -1.0), 24, {"out_of_phase"}),
        (np.concatenate((mix()[: AT + 1], mix()[AT + RATE_HZ // 2 + 137 :])), 24, {"click"}),
    ],
)
def test_each_fault_is_found_alone(audio, bits, expected):
    assert faults(audio, bits=bits) == expected


def test_a_tail_that_breaks_off_before_silence():
    data = np.concatenate((dithered(mix(), 24)[: AT + 1], np.zeros((RATE_HZ, 2))))
    info = AudioInfo(container="WAV", encoding="PCM_24", sample_rate_hz=RATE_HZ, channels=2, frames=len(data), bits=24)
    found = sound_faults(single(data), info, measure(single(data), RATE_HZ))
    assert {fault.kind for fault in found} == {"cut_end"}
    (fault,) = found
    assert fault.at_s == pytest.approx((AT + 1) / RATE_HZ, abs=1e-3)


def test_a_part_may_be_silent_mono_and_turned():
    late = np.concatenate((np.zeros((4 * RATE_HZ, 2)), mix() * (1.0, -1.0)))
    assert faults(late, part=True) == set()


@settings(max_examples=12, deadline=None)
@given(
    at=st.integers(RATE_HZ // 2, 2 * RATE_HZ),
    frames=st.integers(RATE_HZ // 400, RATE_HZ // 4),
    side=st.sampled_from([slice(None), slice(0, 1), slice(1, 2)]),
)
def test_dropouts_where_they_are(at, frames, side):
    first, last = loud_from(mix(), at), 0
    last = loud_from(mix(), first + frames)
    found = dropouts(single(zeros_at(mix(), first, last - first, side)), RATE_HZ)
    assert {one.frame for one in found} == {first}
    assert {one.frames for one in found} == {last - first}
    assert {one.channel for one in found} == set(range(2)[side])


def test_the_end_of_a_short_fade_is_no_dropout():
    """A gated sound: 1.5 ms down, nothing for 50 ms, 1.5 ms up."""
    edge, rest = round(0.0015 * RATE_HZ), round(0.05 * RATE_HZ)
    gate = np.concatenate((np.linspace(1, 0, edge), np.zeros(rest), np.linspace(0, 1, edge)))
    audio = mix().copy()
    audio[AT : AT + len(gate)] *= gate[:, None]
    assert dropouts(single(audio), RATE_HZ) == ()


def test_clicks_do_not_depend_on_where_seconds_lie():
    cut = np.concatenate((mix()[: AT + 1], mix()[AT + RATE_HZ // 2 + 137 :]))
    places = []
    for shift in (0, 11111, 20000):
        found = clicks(single(np.concatenate((np.zeros((shift, 2)), cut))), RATE_HZ)
        places.append({round((one.frame - shift - AT) / 50) for one in found})
    assert places == [{0}] * 3


def test_an_attack_is_no_click():
    rng = np.random.default_rng(3)
    audio = mix().copy()
    hit = rng.standard_normal(RATE_HZ // 4) * np.exp(-np.arange(RATE_HZ // 4) / (0.03 * RATE_HZ))
    audio[AT : AT + len(hit)] += 0.3 * hit[:, None]
    assert clicks(single(audio), RATE_HZ) == ()


@pytest.mark.parametrize(("bits", "gain"), [(16, 1.0), (16, 0.7079), (12, 1.0), (16, 0.501)])
def test_short_words_in_long_ones(bits, gain):
    """standards: 16 bits in 24 leave 8 zeros; scaled, the steps stay."""
    found = word_length(single(np.rint(gain * dithered(mix(), bits) * 2**23) / 2**23), RATE_HZ)
    assert (found.bits == bits) if gain == 1.0 else (found.grid_bits is not None)
    whole = word_length(single(dithered(mix(), 24)), RATE_HZ)
    assert (whole.bits, whole.grid_bits) == (24, None)


def test_dither_is_missed():
    faded = mix() * np.linspace(1.0, 0.0, len(mix()))[:, None] ** 4
    plain = np.rint(faded * 2**15) / 2**15
    assert word_length(single(plain), RATE_HZ).rounded_plainly
    assert not word_length(single(dithered(faded, 16)), RATE_HZ).rounded_plainly


@pytest.mark.parametrize(("old", "new"), [(44_100, 48_000), (48_000, 96_000), (44_100, 88_200)])
def test_rates_that_were_raised(old, new):
    rng = np.random.default_rng(2)
    full = 0.01 * rng.standard_normal((3 * old, 2))
    raised = soxr.resample(full, old, new, quality="HQ")
    assert old_rate_hz(window_powers(single(raised)), new) == old
    assert old_rate_hz(window_powers(single(dithered(raised, 24))), new) == old
    assert old_rate_hz(window_powers(single(full)), old) is None
    assert old_rate_hz(window_powers(single(0.01 * rng.standard_normal((new, 2)))), new) is None


@pytest.mark.parametrize(("encoding", "found"), [("MPEG_LAYER_III", False), ("float32", True)])
def test_what_coding_cuts_off_at_the_top_is_no_other_rate(encoding, found):
    raised = single(soxr.resample(0.01 * np.random.default_rng(2).standard_normal((88_200, 2)), 44_100, 48_000))
    info = AudioInfo(
        container="MP3", encoding=encoding, sample_rate_hz=48_000, channels=2, frames=len(raised), bits=None
    )
    kinds = {fault.kind for fault in sound_faults(raised, info, measure(raised, 48_000))}
    assert ("upsampled" in kinds) == found


def coded(audio: np.ndarray, rate_hz: int, level: float) -> np.ndarray:
    """Code audio as MP3 of a constant rate by libsndfile, with more compression from 0 to 1, and decode it."""
    file = io.BytesIO()
    soundfile.write(
        file, audio, rate_hz, format="MP3", subtype="MPEG_LAYER_III", bitrate_mode="CONSTANT", compression_level=level
    )
    file.seek(0)
    return soundfile.read(file, always_2d=True)[0]


@pytest.mark.parametrize(("level", "edge_khz"), [(0.6, 17.3), (0.4, 18.7)])
def test_what_was_coded_ends_as_if_cut(level, edge_khz):
    """Where MP3 of 160 and 192 kbit/s ends, by the point 20 dB down of white noise, measured apart from this."""
    rate_hz = 44_100
    noise = 0.05 * np.random.default_rng(4).standard_normal((2 * rate_hz, 2))
    edge_hz = coded_top_hz(window_powers(single(dithered(coded(noise, rate_hz, level), 16))), rate_hz)
    assert edge_hz is not None
    assert edge_hz / 1000.0 == pytest.approx(edge_khz, abs=0.5)
    steep = signal.sosfilt(signal.butter(16, 17_000.0, fs=rate_hz, output="sos"), noise, axis=0)  # 96 dB an octave
    t = np.arange(2 * rate_hz) / rate_hz
    partials = sum(np.sin(2 * np.pi * k * 300.0 * t) / k for k in range(1, 66))[:, None] * (0.1, 0.1)  # up to 19.5 kHz
    for clean in (noise, steep, partials):
        assert coded_top_hz(window_powers(single(clean)), rate_hz) is None
    assert coded_top_hz(window_powers(single(noise)), 32_000) is None


def test_a_part_may_be_made_of_what_came_at_a_lower_rate():
    raised = single(soxr.resample(0.01 * np.random.default_rng(2).standard_normal((88_200, 2)), 44_100, 48_000))
    info = AudioInfo(container="WAV", encoding="PCM_24", sample_rate_hz=48_000, channels=2, frames=len(raised), bits=24)
    for part, severity in ((False, "look"), (True, "note")):
        found = sound_faults(raised, info, measure(raised, 48_000), part=part)
        assert [one.severity for one in found if one.kind == "upsampled"] == [severity]


def test_correlations_against_their_definition():
    """r = 2 sum(LR) / (sum L^2 + sum R^2), and the loss of mono 10 lg((1 + r) / 2): -3.01 dB for unrelated sides."""
    audio = mix()
    left, right = audio.T
    r = 2 * np.sum(left * right) / np.sum(audio**2)
    assert mono_sum(single(audio), RATE_HZ).whole == pytest.approx(r, abs=1e-5)
    noise = np.random.default_rng(1).standard_normal((4 * RATE_HZ, 2))
    assert mono_sum(single(noise), RATE_HZ).loss_db == pytest.approx(-3.01, abs=0.05)
    low = audio.copy()
    low[:, 1] -= 2.0 * sounds.parts()[2][:, 1]  # the bass alone turned over on one side
    assert (mono_sum(single(low), RATE_HZ).low or 0.0) < -0.9


def test_clipping_is_told_from_round_tops():
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    round_top = 0.9 * np.sin(2 * np.pi * 40.0 * t)[:, None]
    assert flat_tops(single(dithered(round_top, 16)), RATE_HZ, 2.0**-15).count == 0
    assert flat_tops(single(dithered(np.tanh(2.0 * round_top), 24)), RATE_HZ, 2.0**-23).count == 0
    cut = dithered(0.5 * np.clip(1.5 * round_top, -1, 1), 24)
    assert flat_tops(single(cut), RATE_HZ, 2.0**-23).count == 160  # two tops in each of 80 periods


@pytest.mark.parametrize("left_db", [-6.0, -20.0, None])
def test_words_that_are_left(left_db):
    voice, *others = sounds.parts()
    gain = np.ones(len(voice))
    gain[round(1.2 * RATE_HZ) : round(1.8 * RATE_HZ)] = 0.0 if left_db is None else 10 ** (left_db / 20)
    file = dithered(voice * gain[:, None] + np.sum(others, axis=0), 24)
    found = left_words(single(file), single(voice), RATE_HZ, [(1.2, 1.8), (0.0, 0.01)])
    assert [(one.start_s, one.end_s) for one in found] == ([] if left_db is None else [(1.2, 1.8)])
    assert all(one.level_db == pytest.approx(left_db, abs=1.5) for one in found)
