# SPDX-License-Identifier: Apache-2.0
"""Every fault on a file made for it. Thresholds are common practice without a source where none is named."""

from __future__ import annotations

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixwright.intake.faults import (
    clipped_badly,
    common_rate_hz,
    delivery_faults,
    header_faults,
    own_faults,
    stamp_faults,
)
from mixwright.intake.flat_runs import FlatRuns
from mixwright.intake.listening import listen, trace_db
from mixwright.model.audio import AudioInfo

RATE_HZ = 48000
SECONDS = 2
T = np.arange(SECONDS * RATE_HZ) / RATE_HZ


def sine(hz: float, peak: float = 0.5) -> np.ndarray:
    return peak * np.sin(2 * np.pi * hz * T)


def heard(*channels: np.ndarray, rate_hz: int = RATE_HZ):
    return listen(np.stack(channels, axis=1).astype(np.float32), rate_hz)


def kinds(one) -> dict[str, str]:
    return {fault.kind: fault.severity for fault in own_faults(one)}


def test_a_clean_file_has_no_fault():
    assert kinds(heard(sine(997))) == {}
    assert kinds(heard(sine(997), sine(440))) == {}


def stamped(frames: int, stamp: int | None, rate_hz: int = RATE_HZ) -> AudioInfo:
    return AudioInfo(
        container="WAV", encoding="pcm24", sample_rate_hz=rate_hz, channels=1, frames=frames, time_stamp_frames=stamp
    )


def late(*infos: AudioInfo | None) -> list[list[str]]:
    return [[fault.detail for fault in faults] for faults in stamp_faults(infos)]


def test_time_stamps_tell_where_a_file_starts():
    hour = 3600 * RATE_HZ
    whole, cut = stamped(100 * RATE_HZ, hour), stamped(20 * RATE_HZ, hour + 12 * RATE_HZ)
    assert late(whole, cut, stamped(20 * RATE_HZ, None), None) == [
        [],
        ["its time stamp says that it starts 12.000 s after the earliest file"],
        [],
        [],
    ]
    # The same time at another rate, and stamps of sessions that lie further apart than the song is long.
    assert late(whole, stamped(100 * 96000, 2 * hour, 96000)) == [[], []]
    assert late(whole, stamped(100 * RATE_HZ, 3 * hour)) == [[], []]
    assert late() == []


def test_what_a_header_says_wrong_is_told():
    def told(**said: object) -> list[tuple[str, str, str]]:
        info = msgspec.structs.replace(stamped(2 * RATE_HZ, None), **said)
        return [(fault.kind, fault.severity, fault.detail) for fault in header_faults(info)]

    assert told() == []
    assert told(header_frames=3 * RATE_HZ) == [
        ("truncated", "look", "its header promises 3.00 s, the file holds 2.00 s: the end is missing")
    ]
    assert told(header_frames=2**59)[0][2].startswith("its header promises more than any file holds")
    assert told(header_frames=RATE_HZ, disagreements=("a", "b")) == [
        ("header_differs", "look", "its header promises 1.00 s, the file holds 2.00 s: all of it is read"),
        ("header_differs", "look", "a; b"),
    ]


def test_empty_silent_constant_and_wide_files_cannot_be_used():
    assert kinds(listen(np.zeros((0, 1), np.float32), RATE_HZ)) == {"empty": "unusable"}
    assert kinds(heard(np.zeros(RATE_HZ))) == {"silent": "unusable"}
    assert kinds(heard(np.full(RATE_HZ, 0.25))) == {"silent": "unusable"}
    assert kinds(heard(sine(997, 10 ** (-91 / 20)))) == {"silent": "unusable"}
    assert kinds(heard(sine(997, 10 ** (-89 / 20)))) == {}
    assert kinds(heard(sine(1), sine(2), sine(3))) == {"too_many_channels": "unusable"}


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_values_that_are_no_numbers(bad):
    x = sine(997)
    x[30000] = bad
    (fault,) = own_faults(heard(sine(440), x))
    assert (fault.kind, fault.severity) == ("non_finite", "unusable")
    assert fault.at_s == pytest.approx(30000 / RATE_HZ)


# Longest flat run of a 997 Hz sine at 48 kHz clipped 1, 3 and 6 dB below its peak: 8, 13, 17 samples. By hand: the wave
# stays above the threshold for 48000 acos(c) / (pi 997) = 7.2, 12.0, 16.0 samples; the longest run is one more.
@pytest.mark.parametrize(("clip_db", "longest"), [(1, 8), (3, 13), (6, 17)])
@pytest.mark.parametrize("gain", [1.0, 0.31])
@pytest.mark.parametrize("bits", [16, 24, None])
def test_clipping_of_997_hz(clip_db, longest, gain, bits):
    limit = 10 ** (-clip_db / 20)
    x = gain * np.clip(sine(997, 1.0), -limit, limit)
    if bits:
        x = np.round(x * (2 ** (bits - 1) - 1)) / 2 ** (bits - 1)
    one = heard(x)
    assert one.clipping.longest == longest
    assert kinds(one) == {"clipped": "look"}
    assert clipped_badly(one)
    assert one.clipping.first_frame < RATE_HZ // 997


# Natural flat runs are bounded by rate acos(1 - 1/A) / (pi f): 20 Hz at full scale in 16 bits is flat for 5 or 6.
@pytest.mark.parametrize("hz", [20, 31, 50, 100, 440])
@pytest.mark.parametrize("peak", [1.0, 0.1, 0.01])
def test_a_low_tone_in_16_bits_is_not_clipped(hz, peak):
    codes = np.round(sine(hz, peak) * 32767)
    assert kinds(heard(codes / 32768)) == {}
    if hz == 20 and peak == 1.0:
        at_top = np.flatnonzero(np.diff(np.concatenate([[0], codes == codes.max(), [0]]).astype(int)))
        assert np.max(np.diff(at_top)[::2]) in (5, 6)


def test_one_clipped_peak_and_short_runs():
    x = sine(97)
    x[1000:1004] = 0.9
    assert kinds(heard(x)) == {"clipped": "look"}
    assert not clipped_badly(heard(x))
    x[1003] = 0.5
    assert kinds(heard(x)) == {}
    for start in (2000, 3000):
        x[start : start + 3] = 0.9
    assert kinds(heard(x)) == {"clipped": "look"}


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(-3, 3), min_size=1, max_size=60), st.integers(1, 60))
def test_flat_runs_do_not_depend_on_blocks(codes, block):
    x = np.array(codes, dtype=np.float32) / 4
    whole, split = FlatRuns(1, RATE_HZ), FlatRuns(1, RATE_HZ)
    whole.push(x)
    for start in range(0, len(x), block):
        split.push(x[start : start + block])
    whole.finish()
    split.finish()
    assert split.extreme == whole.extreme
    # The half wave beyond a block's edge is not seen: a run there may count that is natural elsewhere, not the reverse.
    assert set(whole.runs) <= set(split.runs)


# A Hann-weighted mean suppresses partial cycles: 31 Hz at 0.3 on an offset of 0.001 reads -60.00 dBFS.
def test_dc_offset_under_a_partial_cycle():
    x = 0.3 * np.sin(2 * np.pi * 31 * np.arange(round(3.987 * RATE_HZ)) / RATE_HZ) + 0.001
    (dc,) = heard(x).dc
    assert 20 * np.log10(dc) == pytest.approx(-60.0, abs=0.01)


@pytest.mark.parametrize(
    ("offset_db", "found"),
    [(-61, {}), (-59, {"dc_offset": "note"}), (-41, {"dc_offset": "note"}), (-39, {"dc_offset": "look"})],
)
def test_dc_offset_thresholds(offset_db, found):
    assert kinds(heard(sine(997) - 10 ** (offset_db / 20), sine(440))) == found


def test_mono_as_stereo_and_dead_sides():
    x = sine(997)
    noise = np.random.default_rng(1).standard_normal(len(x))
    assert kinds(heard(x, x)) == {"mono_as_stereo": "note"}
    assert kinds(heard(x, x + 1e-4 * noise)) == {"mono_as_stereo": "note"}
    assert kinds(heard(x, x + 1e-2 * noise)) == {}
    assert kinds(heard(x, np.zeros_like(x))) == {"one_side_dead": "look"}
    assert kinds(heard(1e-2 * 0.9 * x, x)) == {"one_side_dead": "look"}  # 40.9 dB
    assert kinds(heard(1e-2 * 1.1 * x, x)) == {}  # 39.2 dB


def compared(*files, rate_hz=RATE_HZ):
    names = [f"file {i}" for i in range(len(files))]
    return [[fault.kind for fault in faults] for faults in delivery_faults(files, names, rate_hz)]


def test_the_same_audio_twice_is_found_behind_leading_zeros():
    x = sine(997) * np.linspace(0.1, 1, len(T))
    late = np.concatenate([np.zeros(777), x])
    files = [heard(x), None, heard(late), heard(0.99 * x), heard(x, x)]
    found = delivery_faults(files, list("abcde"), RATE_HZ)
    assert [[f.kind for f in faults if f.kind == "exact_duplicate"] for faults in found] == [
        [],
        [],
        ["exact_duplicate"],
        [],
        [],
    ]
    assert "the same audio as a" in next(f.detail for f in found[2] if f.kind == "exact_duplicate")


def test_of_equal_files_the_one_whose_name_tells_more_stays():
    same = [heard(sine(440))] * 3
    found = delivery_faults(same, ["Audio 01", "Bass DI", "Bass copy"], RATE_HZ, telling=[0.0, 0.9, 0.9])
    assert [[fault.detail for fault in faults] for faults in found] == [
        ["the same audio as Bass DI"],
        [],
        ["the same audio as Bass DI"],
    ]


def test_lengths_and_rates_that_differ():
    x = np.concatenate([np.zeros(RATE_HZ // 2), sine(440)])
    songs = [heard(x * g) for g in (1.0, 0.9, 0.8)]
    other_rate = listen((0.7 * x).astype(np.float32)[: len(x) // 160 * 147, None], 44100)
    assert compared(*songs) == [[], [], []]
    assert compared(*songs, other_rate) == [[], [], [], ["rate_differs"]]
    assert compared(*songs, heard(0.7 * x[:-RATE_HZ])) == [[], [], [], ["length_differs"]]
    # Shorter, and sounding from its first frame: it was cut to its audio instead of printed from the song's start.
    assert compared(*songs, heard(0.7 * x[-RATE_HZ:])) == [[], [], [], ["length_differs", "starts_late"]]
    # Of two lengths without a majority, the shorter is told against the longest.
    assert compared(songs[0], heard(0.7 * x[:-RATE_HZ])) == [[], ["length_differs"]]


def test_rate_of_most_track_time():
    long, short = heard(sine(440)), listen(np.ones((44100, 1), np.float32), 44100)
    assert common_rate_hz([short, long]) == 48000
    assert common_rate_hz([short] * 5 + [long]) == 44100


@pytest.mark.parametrize("rate_hz", [8000, 22050, 44100, 48000, 96000, 11025, 37800])
def test_traces_keep_exactly_10_ms_at_any_rate(rate_hz):
    x = np.zeros((21 * rate_hz, 1), dtype=np.float32)
    x[20 * rate_hz + rate_hz // 2 :] = 0.5
    x[-1] = 0.4
    level = trace_db(listen(x, rate_hz).level)
    assert len(level) == 2100
    assert np.argmax(level > -60) == 2050
    assert level[2060] == pytest.approx(-6.0, abs=0.3)
    assert level[0] == -120.0


def test_first_sound_and_powers():
    x = np.concatenate([np.zeros(RATE_HZ), sine(1000)])
    one = heard(x, 0.5 * x)
    assert one.sounds_from_frame == pytest.approx(RATE_HZ, abs=2)
    left, right, mid, side = one.powers
    assert right == pytest.approx(left / 4, rel=1e-6)
    assert mid == pytest.approx(left * 0.75**2, rel=1e-6)
    assert side == pytest.approx(left * 0.25**2, rel=1e-6)
    assert one.peak == pytest.approx(0.5, abs=1e-3)
