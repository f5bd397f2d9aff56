# SPDX-License-Identifier: Apache-2.0
"""Lanes, pan law and placing: fixed points of the trade's laws, and the slow twin."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixwright.engine.lanes import FrameLane, combined, constant, from_kept, inside, packed, total
from mixwright.errors import SettingError
from mixwright.model.lane import Breakpoint, Lane
from mixwright.model.song import Section
from mixwright.native.place import add_placed, lane_values, pan_gains
from reference import place_twin

UNITY = tuple(constant(value) for value in (0.0, 0.0, -1.0, 1.0, 1.0))

values = st.floats(-60.0, 12.0)
positions = st.floats(-1.0, 1.0)


def lanes_of(value):
    return st.lists(st.tuples(st.integers(-50, 600), value), min_size=1, max_size=6).map(
        lambda points: FrameLane(tuple(sorted(points, key=lambda p: p[0])))
    )


every_lane = st.tuples(
    lanes_of(values), lanes_of(positions), lanes_of(positions), lanes_of(positions), lanes_of(st.floats(0.0, 2.0))
)


def placed(audio, lanes, *, frame=0, pan_law_db=3.0, scale=1.0):
    out = np.zeros((len(audio), 2))
    add_placed(np.ascontiguousarray(audio), frame, packed(lanes), pan_law_db / 3.0, scale, out)
    return out


def noise(frames, channels, seed=3):
    return np.random.default_rng(seed).uniform(-1.0, 1.0, (frames, channels))


def test_equal_power_at_3_db():
    # cos and sin of a quarter turn: power adds up to one everywhere, each side 3.0103 dB down at the centre.
    position = np.arange(-1000, 1001) / 1000.0
    gains = pan_gains(1.0, position)
    assert np.abs((gains**2).sum(axis=1) - 1.0).max() < 1e-15
    assert np.allclose(gains[:, 0], np.cos((1.0 + position) * np.pi / 4.0), atol=1e-15)
    assert 20.0 * np.log10(gains[1000]) == pytest.approx(-10.0 * np.log10(2.0), abs=1e-12)


def test_amplitudes_add_up_to_one_at_6_db():
    gains = pan_gains(2.0, np.arange(-1000, 1001) / 1000.0)
    assert np.abs(gains.sum(axis=1) - 1.0).max() < 1e-14


def test_both_sides_pass_at_unity_in_the_centre_at_0_db():
    position = np.arange(-1000, 1001) / 1000.0
    gains = pan_gains(0.0, position)
    assert (gains[position <= 0.0, 0] == 1.0).all()
    assert (gains[position >= 0.0, 1] == 1.0).all()
    assert (gains[1000] == 1.0).all()


@pytest.mark.parametrize("pan_law_db", [0.0, 1.0, 2.5, 3.0, 4.5, 6.0])
def test_a_law_is_symmetric_monotonic_and_exact_at_its_ends(pan_law_db):
    law = pan_law_db / 3.0
    position = np.arange(-1000, 1001) / 1000.0
    left, right = pan_gains(law, position).T
    assert np.array_equal(left[::-1], right)
    assert (np.diff(left) <= 1e-15).all()
    assert left[0] == 1.0
    assert left[-1] == 0.0
    assert 20.0 * math.log10(left[1000]) == pytest.approx(-pan_law_db * 10.0 * math.log10(2.0) / 3.0, abs=1e-12)
    expected = [place_twin.pan_gains(pan_law_db, float(p)) for p in position]
    assert np.allclose(pan_gains(law, position), expected, atol=2e-14)


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("pan_law_db", [0.0, 3.0, 4.5])
def test_a_stereo_strip_left_alone_passes_its_bits(dtype, pan_law_db):
    audio = noise(1000, 2).astype(dtype)
    assert np.array_equal(placed(audio, UNITY, pan_law_db=pan_law_db), audio.astype(np.float64))


def test_a_mono_strip_passes_its_bits_to_both_sides_at_0_db():
    audio = noise(1000, 1)
    assert np.array_equal(placed(audio, UNITY, pan_law_db=0.0), np.repeat(audio, 2, axis=1))


def test_width():
    audio = noise(500, 2)
    middle, side = audio.sum(axis=1) / 2.0, (audio[:, 0] - audio[:, 1]) / 2.0
    for width in (0.0, 0.5, 2.0):
        expected = np.stack([middle + width * side, middle - width * side], axis=1)
        assert np.allclose(placed(audio, (*UNITY[:4], constant(width))), expected, atol=1e-15)


def test_sides_are_placed_independently():
    audio = noise(500, 2)
    swapped = placed(audio, (*UNITY[:2], constant(1.0), constant(-1.0), constant(1.0)))
    assert np.array_equal(swapped, audio[:, ::-1])
    both_left = placed(audio, (*UNITY[:2], constant(-1.0), constant(-1.0), constant(1.0)))
    assert np.array_equal(both_left[:, 0], audio.sum(axis=1))
    assert not both_left[:, 1].any()


@settings(max_examples=60)
@given(every_lane, st.sampled_from([1, 2]), st.sampled_from([0.0, 1.5, 3.0, 4.5, 6.0]), st.integers(-20, 300))
def test_equals_the_slow_twin(lanes, channels, pan_law_db, frame):
    audio = noise(300, channels)
    expected = place_twin.place(audio, frame, [lane.points for lane in lanes], pan_law_db, -0.7)
    got = placed(audio, lanes, frame=frame, pan_law_db=pan_law_db, scale=-0.7)
    assert np.allclose(got, expected, rtol=1e-12, atol=1e-12)


@settings(max_examples=60)
@given(every_lane, st.sampled_from([1, 2]), st.lists(st.integers(0, 300), min_size=1, max_size=8))
def test_no_split_changes_a_bit(lanes, channels, sizes):
    audio = noise(sum(sizes), channels)
    out, start = np.zeros((len(audio), 2)), 0
    for size in sizes:
        end = start + size
        add_placed(audio[start:end], start, packed(lanes), 1.5, 1.0, out[start:end])
        start = end
    assert np.array_equal(out, placed(audio, lanes, pan_law_db=4.5))


@given(st.lists(lanes_of(values), min_size=1, max_size=4))
def test_a_total_is_the_sum_at_every_frame(lanes):
    added = packed([total(lanes)])
    expected = [sum(place_twin.lane_value(lane.points, frame) for lane in lanes) for frame in range(-60, 620)]
    assert np.allclose(lane_values(added, -60, 680), expected, atol=1e-9)


def test_a_kept_lane_at_frames():
    lane = Lane(
        target="x", parameter="level", points=tuple(Breakpoint(at_s=t, value=v) for t, v in ((1.0, -6.0), (0.5, 0.0)))
    )
    assert from_kept(lane, 1000).points == ((500, 0.0), (1000, -6.0))


def test_ramps_end_at_the_edges_of_sections():
    verse, chorus = Section(name="verse", start_s=1.0, end_s=2.0), Section(name="chorus", start_s=3.0, end_s=4.0)
    lane = packed([inside([chorus, verse], 10_000, 1000)])
    got = lane_values(lane, 0, 10_000)
    assert (got[:981] == 0.0).all()
    assert got[990] == 0.5
    assert (got[1000:1981] == 1.0).all()
    assert got[1990] == 0.5
    assert (got[2000:2981] == 0.0).all()
    assert (got[3000:3981] == 1.0).all()
    assert (got[4000:] == 0.0).all()


def test_no_ramp_between_touching_sections_nor_at_the_ends_of_the_song():
    parts = [Section(name=str(k), start_s=k, end_s=k + 1.0) for k in range(4)]
    assert combined([inside(parts, 4000, 1000)], lambda v: v[0]) == constant(1.0)
    assert inside([], 4000, 1000) == constant(0.0)


@pytest.mark.parametrize(
    ("parameter", "value"), [("level", 1e9), ("pan", -1.1), ("width", float("nan")), ("left", 2.0)]
)
def test_a_lane_beyond_what_a_strip_allows_is_refused(parameter, value):
    points = (Breakpoint(at_s=0.0, value=0.5), Breakpoint(at_s=1.0, value=value))
    with pytest.raises(SettingError, match=f"lane of voice: {parameter} is .* at 1 s; allowed: "):
        from_kept(Lane(target="voice", parameter=parameter, points=points), 48000)


def test_sections_after_the_end_of_the_song_change_nothing_in_it():
    verse, late = Section(name="verse", start_s=1.0, end_s=5.0), Section(name="late", start_s=6.0, end_s=7.0)
    assert inside([verse, late], 4000, 1000) == inside([verse], 4000, 1000)
    got = lane_values(packed([inside([verse, late], 4000, 1000)]), 0, 4000)
    assert (got[1000:] == 1.0).all()


def test_a_section_shorter_than_a_ramp():
    got = lane_values(packed([inside([Section(name="hit", start_s=1.0, end_s=1.01)], 4000, 1000)]), 0, 4000)
    assert got[1000] == 1.0
    assert got[1010] == 0.0
