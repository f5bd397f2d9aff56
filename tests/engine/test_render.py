# SPDX-License-Identifier: Apache-2.0
"""Rendering: sums, bits, latency, selection, cache, and what bad input gets."""

from __future__ import annotations

import errno
from dataclasses import replace

import numpy as np
import pytest
import scipy.signal
from hypothesis import given, settings
from hypothesis import strategies as st

from mixwright.core.filters import strip_sections
from mixwright.engine import kept_strips
from mixwright.engine.compiling import compile_mix, song_frames
from mixwright.engine.graph import aligned
from mixwright.engine.operation import Delay
from mixwright.errors import Cancelled, InputError, OutputError, SettingError
from mixwright.jobs.array_file import ArrayWriter
from mixwright.jobs.cache import Cache
from mixwright.jobs.progress import Cancel
from mixwright.model.filters import EqBand, Pass
from mixwright.model.song import Group, Move, Send, Song, Track, changed
from mixwright.model.strip import Master, Strip
from mixwright.native import mathematics
from reference.noise_songs import RATE_HZ, graph_of, noise, rendered, rich_song


def plain_song(count, **fields):
    tracks = tuple(Track(id=f"t{k}", name=f"t{k}", file=f"t{k}.wav", sha256=f"{k:064x}") for k in range(count))
    return Song(**{"title": "plain", "rate_hz": RATE_HZ, "tracks": tracks, **fields})


def plain_stems(count, frames=5000, channels=2):
    return {f"t{k}": noise(frames, channels, k) for k in range(count)}


def with_strip(song, track, **fields):
    tracks = tuple(changed(t, strip=changed(t.strip, **fields)) if t.id == track else t for t in song.tracks)
    return changed(song, tracks=tracks)


def one_track(strip, audio, **fields):
    song = with_strip(plain_song(1, **fields), "t0", **fields_of(strip))
    return rendered(graph_of(song, (), {"t0": audio}), {"t0": audio})


@pytest.mark.parametrize("grouped", [False, True])
def test_a_unity_song_is_the_sum_of_its_tracks(grouped):
    song, stems = plain_song(9), plain_stems(9)
    if grouped:
        groups = (Group(id="a", name="a"), Group(id="b", name="b"))
        tracks = tuple(changed(t, group="ab"[k % 2]) for k, t in enumerate(song.tracks))
        song = changed(song, tracks=tracks, groups=groups)
    expected = np.sum([audio.astype(np.float64) for audio in stems.values()], axis=0)
    off = rendered(graph_of(song, (), stems), stems) - expected
    assert np.abs(off).max() < 10 ** (-140 / 20)


@pytest.mark.parametrize("block_frames", [17, 480, 65536, 10**9])
@pytest.mark.parametrize("workers", [1, 2])
def test_no_block_size_and_no_number_of_threads_changes_a_bit(block_frames, workers):
    song, lanes, stems = rich_song(0.5)
    graph = graph_of(song, lanes, stems)
    expected = rendered(graph, stems, workers=1)
    assert len(expected) == graph.frames == song_frames(song, {name: len(a) for name, a in stems.items()})
    assert np.array_equal(rendered(graph, stems, block_frames=block_frames, workers=workers), expected)


def test_blocks_of_one_frame_give_the_same_bits():
    song, lanes, stems = rich_song(0.1)
    graph = graph_of(song, lanes, stems)
    assert np.array_equal(rendered(graph, stems, block_frames=1, workers=1), rendered(graph, stems))


@pytest.mark.slow
@pytest.mark.parametrize("workers", [1, 2])
def test_two_seconds_in_blocks_of_one_frame_give_the_same_bits(workers):
    song, lanes, stems = rich_song(2.0)
    graph = graph_of(song, lanes, stems)
    assert np.array_equal(rendered(graph, stems, block_frames=1, workers=workers), rendered(graph, stems))


def test_kept_or_not_the_bits_are_the_same(tmp_path):
    song, lanes, stems = rich_song(0.5)
    graph = graph_of(song, lanes, stems)
    cache = Cache(tmp_path)
    expected = rendered(graph, stems)
    for _ in range(2):
        assert np.array_equal(rendered(graph, stems, cache=cache, block_frames=999), expected)


def test_a_filtered_track_equals_scipy():
    # Reference: scipy.signal.sosfilt
    strip = Strip(high_pass=Pass(hz=100, slope_db_oct=18), eq=(EqBand(hz=2000, gain_db=5),), trim_db=-3, fader_db=1)
    audio = noise(20000, 2, 5)
    sos = np.insert(strip_sections(strip, RATE_HZ), 3, 1.0, axis=1)
    expected = scipy.signal.sosfilt(sos, audio.astype(np.float64), axis=0) * 10 ** (-2 / 20)
    assert np.abs(one_track(strip, audio) - expected).max() < 1e-7  # kept as float32 before the fader


def test_a_track_rings_on_after_its_end():
    song, stems = plain_song(2), {"t0": noise(1000, 2, 0), "t1": np.zeros((9000, 2), np.float32)}
    song = with_strip(song, "t0", high_pass=Pass(hz=100))
    out = rendered(graph_of(song, (), stems), stems)
    sos = np.insert(strip_sections(song.tracks[0].strip, RATE_HZ), 3, 1.0, axis=1)
    padded = np.concatenate([stems["t0"].astype(np.float64), np.zeros((8000, 2))])
    assert np.abs(out - scipy.signal.sosfilt(sos, padded, axis=0)).max() < 1e-7
    assert np.abs(out[1000:1100]).max() > 1e-4


@pytest.mark.parametrize("delay_ms", [-20.0, -0.02, 0.0, 0.02, 30.0])
@pytest.mark.parametrize("start_frame", [0, 500])
@pytest.mark.parametrize("filtered", [False, True])
def test_a_track_lies_where_start_and_delay_put_it(delay_ms, start_frame, filtered, tmp_path):
    audio = noise(4000, 1, 1)
    strip = Strip(delay_ms=delay_ms, high_pass=Pass(hz=200) if filtered else None)
    song = plain_song(1, pan_law_db=0.0)
    song = changed(song, tracks=(changed(song.tracks[0], start_frame=start_frame, strip=strip),))
    graph = graph_of(song, (), {"t0": audio})
    still = one_track(
        changed(strip, delay_ms=0.0), np.concatenate([audio, np.zeros((9000, 1), np.float32)]), pan_law_db=0.0
    )
    first = start_frame + round(delay_ms * 48)
    expected = np.zeros((graph.frames, 2))
    expected[max(0, first) :] = still[max(0, -first) : max(0, -first) + graph.frames - max(0, first)]
    for how in ({}, {"cache": Cache(tmp_path)}, {"block_frames": 100}):
        assert np.array_equal(rendered(graph, {"t0": audio}, **how), expected)


def latent(graph, latencies):
    """Return the graph with operations that cost latency and do nothing else, by bus or track id."""

    def wrap(node):
        frames = latencies.get(node.id, 0)
        return replace(node, operations=(*node.operations, Delay(frames, frames))) if frames else node

    return aligned(replace(graph, tracks=tuple(map(wrap, graph.tracks)), buses=tuple(map(wrap, graph.buses))))


@pytest.mark.parametrize(
    "latencies",
    [
        {"group wall": 64},
        {"group wall": 300, "group drums": 17, "send echo": 1000},
        {"send echo": 5, "master master": 700},
        {"voice": 431, "keys": 3, "group drums": 90, "master master": 1},
    ],
)
def test_latency_anywhere_changes_nothing(latencies, tmp_path):
    song, lanes, stems = rich_song(0.3)
    graph = graph_of(song, lanes, stems)
    late = latent(graph, latencies)
    expected = rendered(graph, stems)
    assert late.latency_frames > 0 or set(latencies) <= set(stems)
    for how in ({}, {"block_frames": 50, "workers": 2}, {"cache": Cache(tmp_path)}):
        got = rendered(late, stems, **how)
        assert got.shape == expected.shape
        # Not to the bit: decayed filter states are forgotten at frames counted from each chain's own start.
        assert np.abs(got - expected).max() < 1e-15


def test_a_bus_asked_to_be_earlier_is_read_ahead():
    song, stems = plain_song(2), plain_stems(2)
    tracks = (changed(song.tracks[0], group="g"), song.tracks[1])
    song = changed(song, tracks=tracks, groups=(Group(id="g", name="g", strip=Strip(delay_ms=-5.0)),))
    out = rendered(graph_of(song, (), stems), stems)
    early = np.concatenate([stems["t0"][240:], np.zeros((240, 2))])
    assert np.array_equal(out, early + stems["t1"].astype(np.float64))


def test_sends_come_after_the_fader_and_return_to_the_master():
    song, stems = plain_song(1), plain_stems(1)
    track = changed(song.tracks[0], strip=Strip(fader_db=-6.0), sends={"s": -6.0}, group="g")
    group = Group(id="g", name="g", strip=Strip(fader_db=-2.0), sends={"s": -10.0})
    song = changed(
        song, tracks=(track,), groups=(group,), sends=(Send(id="s", name="s", strip=Strip(polarity="inverted")),)
    )
    factor = 10 ** (-8 / 20) - (10 ** (-12 / 20) + 10 ** (-18 / 20))
    assert np.allclose(rendered(graph_of(song, (), stems), stems), stems["t0"] * factor, atol=1e-15)


def test_mute_of_tracks_and_groups():
    song, stems = plain_song(3), plain_stems(3)
    tracks = (changed(song.tracks[0], mute=True), changed(song.tracks[1], group="g", sends={"s": 0.0}), song.tracks[2])
    song = changed(song, tracks=tracks, groups=(Group(id="g", name="g", mute=True),), sends=(Send(id="s", name="s"),))
    assert np.array_equal(rendered(graph_of(song, (), stems), stems), stems["t1"].astype(float) + stems["t2"])


def test_selected_tracks_add_up_to_the_mix():
    song, lanes, stems = rich_song(0.3)
    graph = graph_of(song, lanes, stems)
    parts = [rendered(graph, stems, tracks=[name]) for name in stems]
    assert np.abs(np.sum(parts, axis=0) - rendered(graph, stems)).max() < 1e-12
    assert not rendered(graph, stems, tracks=[]).any()
    assert not rendered(graph, stems, tracks=["guide"]).any()


def test_tracks_left_out_are_not_in_the_mix():
    song, stems = plain_song(2), plain_stems(2)
    song = changed(song, tracks=(song.tracks[0], changed(song.tracks[1], use=False, start_frame=99999)))
    graph = graph_of(song, (), stems)
    assert np.array_equal(rendered(graph, {"t0": stems["t0"]}), stems["t0"])


class Counting:
    """Counts which tracks are run through their chains."""

    def __init__(self, monkeypatch):
        self.seen = []
        original = kept_strips.StripAudio

        def counted(node, audio, rate_hz):
            self.seen.append(node.id)
            return original(node, audio, rate_hz)

        monkeypatch.setattr(kept_strips, "StripAudio", counted)

    def take(self):
        seen, self.seen = sorted(self.seen), []
        return seen


def test_a_changed_track_renders_alone(tmp_path, monkeypatch):
    song, lanes, stems = rich_song(0.2)
    counting, cache = Counting(monkeypatch), Cache(tmp_path)
    rendered(graph_of(song, lanes, stems), stems, cache=cache)
    assert counting.take() == ["bass", "kick", "pad", "voice"]
    rendered(graph_of(song, lanes, stems), stems, cache=cache)
    assert counting.take() == []
    for fields in ({"fader_db": -9.0}, {"pan": 0.4}, {"delay_ms": 3.0}):
        rendered(graph_of(with_strip(song, "voice", **fields), lanes, stems), stems, cache=cache)
        assert counting.take() == []
    rendered(graph_of(with_strip(song, "voice", high_pass=Pass(hz=120)), lanes, stems), stems, cache=cache)
    assert counting.take() == ["voice"]


def test_a_full_disk_is_an_error_of_ours(tmp_path, monkeypatch):
    push, stems = ArrayWriter.push, plain_stems(1, 200_000)
    song = with_strip(plain_song(1), "t0", high_pass=Pass(hz=100))

    def full(writer, block):
        if writer.frames:
            raise OSError(errno.ENOSPC, "No space left on device")
        push(writer, block)

    monkeypatch.setattr(ArrayWriter, "push", full)
    with pytest.raises(OutputError, match="the disk is full; free some space"):
        rendered(graph_of(song, (), stems), stems, cache=Cache(tmp_path))
    assert list(tmp_path.iterdir()) == []


def test_muted_and_unselected_tracks_cost_nothing(tmp_path, monkeypatch):
    song, lanes, stems = rich_song(0.2)
    counting = Counting(monkeypatch)
    song = changed(song, tracks=tuple(changed(t, mute=t.id == "pad") for t in song.tracks))
    graph = graph_of(song, lanes, stems)
    only = {name: stems[name] for name in ("bass", "keys")}
    rendered(graph, only, cache=Cache(tmp_path), tracks=["bass", "keys", "pad"])
    assert counting.take() == ["bass"]


@settings(max_examples=15, deadline=None)
@given(st.floats(-40.0, 12.0), st.integers(0, 4))
def test_a_fader_is_a_gain(db, k):
    song, stems = plain_song(5), plain_stems(5, 600)
    before = rendered(graph_of(song, (), stems), stems, workers=1)
    after = rendered(graph_of(with_strip(song, f"t{k}", fader_db=db), (), stems), stems, workers=1)
    gain = float(mathematics.ratio(db))
    assert np.allclose(after - before, stems[f"t{k}"].astype(float) * (gain - 1.0), atol=1e-13)


@settings(max_examples=10, deadline=None)
@given(st.permutations(range(6)))
def test_the_order_of_tracks_does_not_matter(order):
    song, lanes, stems = rich_song(0.05)
    shuffled = changed(song, tracks=tuple(song.tracks[k] for k in order))
    got = rendered(graph_of(shuffled, lanes, stems), stems, workers=1)
    assert np.abs(got - rendered(graph_of(song, lanes, stems), stems, workers=1)).max() < 1e-13


def fields_of(strip):
    return {field: getattr(strip, field) for field in strip.__struct_fields__}


bands = st.builds(
    EqBand,
    kind=st.sampled_from(["bell", "low_shelf", "high_shelf", "notch", "band_pass", "tilt"]),
    hz=st.floats(10.0, 23999.0),
    gain_db=st.floats(-24.0, 24.0),
    q=st.floats(0.1, 40.0),
)
passes = st.none() | st.builds(Pass, hz=st.floats(10.0, 23999.0), slope_db_oct=st.sampled_from(range(6, 49, 6)))
strips = st.builds(
    Strip,
    trim_db=st.floats(-120.0, 24.0),
    polarity=st.sampled_from(["normal", "inverted"]),
    delay_ms=st.floats(-50.0, 50.0),
    high_pass=passes,
    low_pass=passes,
    eq=st.lists(bands, max_size=4).map(tuple),
    pan=st.floats(-1.0, 1.0),
    left=st.floats(-1.0, 1.0),
    right=st.floats(-1.0, 1.0),
    width=st.floats(0.0, 2.0),
    fader_db=st.floats(-120.0, 24.0),
)


@settings(max_examples=25, deadline=None)
@given(st.lists(strips, min_size=4, max_size=4), st.sampled_from([1, 2]), st.floats(0.0, 6.0))
def test_any_strips_give_finite_audio_and_the_same_bits(some, channels, pan_law_db):
    song = plain_song(2, pan_law_db=pan_law_db, master=Master(**fields_of(some[3])))
    tracks = tuple(changed(t, strip=strip, group="g") for t, strip in zip(song.tracks, some, strict=False))
    song = changed(song, tracks=tracks, groups=(Group(id="g", name="g", strip=some[2]),))
    stems = plain_stems(2, 3000, channels)
    graph = graph_of(song, (), stems)
    out = rendered(graph, stems, workers=1)
    assert np.isfinite(out).all()
    assert np.array_equal(rendered(graph, stems, workers=2, block_frames=1100), out)


def test_a_stem_that_is_not_finite_does_not_spread():
    song, stems = plain_song(2), plain_stems(2)
    stems["t0"][100] = np.nan
    song = with_strip(song, "t1", high_pass=Pass(hz=50))
    out = rendered(graph_of(song, (), stems), stems)
    assert np.isfinite(out).all()


def test_errors_say_where():
    song, stems = plain_song(1), plain_stems(1)
    with pytest.raises(SettingError, match="track t0: a filter at 30000 Hz does not fit a song of 48000 Hz"):
        graph_of(with_strip(song, "t0", high_pass=Pass(hz=30000)), (), stems)
    with pytest.raises(SettingError, match="master: a filter at 30000 Hz"):
        graph_of(changed(song, master=Master(low_pass=Pass(hz=30000))), (), stems)
    bad = Move(id="m", kind="level", target="t0", settings={}, state="accepted")
    with pytest.raises(SettingError, match=r"move m\.settings: this level move sets nothing"):
        graph_of(changed(song, moves=(bad,)), (), stems)
    graph = graph_of(song, (), stems)
    with pytest.raises(SettingError, match="no track of the mix is called 'x'"):
        rendered(graph, stems, tracks=["x"])
    with pytest.raises(SettingError, match="blocks of 0 frames"):
        rendered(graph, stems, block_frames=0)
    with pytest.raises(InputError, match="track t0: its audio is missing"):
        rendered(graph, {})
    for wrong in (stems["t0"].astype(np.float64), stems["t0"][:-1], np.zeros((5000, 3), np.float32)):
        with pytest.raises(InputError, match="track t0: audio of shape"):
            rendered(graph, {"t0": wrong})


def test_a_song_without_tracks_is_empty():
    graph = compile_mix(Song(title="t", rate_hz=RATE_HZ), (), {})
    assert rendered(graph, {}).shape == (0, 2)


def test_progress_and_stopping(tmp_path):
    song, lanes, stems = rich_song(0.3)
    graph = graph_of(song, lanes, stems)
    seen = []
    rendered(graph, stems, report=seen.append, cache=Cache(tmp_path))
    assert {event.job for event in seen} == {"tracks", "mix"}
    assert seen[-1].done == seen[-1].total == graph.frames
    cancel = Cancel()

    def stop(event):
        if event.done > 0:
            cancel.cancel()

    with pytest.raises(Cancelled):
        rendered(graph, stems, report=stop, cancel=cancel, block_frames=1000)
