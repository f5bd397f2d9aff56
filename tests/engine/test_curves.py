# SPDX-License-Identifier: Apache-2.0
"""Compressors and the limiter in the mix: logged once, replayed to the bit, and every set of parts adds up."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest

from mixwright.engine.chain import Chain
from mixwright.engine.compiling import compile_mix, song_frames
from mixwright.engine.curves import Curves
from mixwright.engine.dynamics import PeakLimiter
from mixwright.engine.graph import LIMITER
from mixwright.engine.processors import operations_of
from mixwright.errors import InternalError
from mixwright.jobs.cache import Cache
from mixwright.meter.true_peak import true_peak_16x
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.song import Group, Song, Track, changed
from mixwright.model.strip import Limiter, Master, Reverb, Strip
from mixwright.native import mathematics
from reference.noise_songs import RATE_HZ, graph_of, noise, rendered, rich_song

HARD = Compressor(threshold_db=-24.0, ratio=4.0, attack_ms=3.0, release_ms=60.0, gain_db=6.0)


def with_insert(groups, insert):
    """Return the groups with an insert on the wall."""
    return tuple(changed(g, strip=changed(g.strip, inserts=(insert,))) if g.id == "wall" else g for g in groups)


def dense_song(seconds=0.4):
    """The rich song with a compressor on two buses, a reverb, and a limiter that the master drives hard."""
    song, lanes, stems = rich_song(seconds)
    groups = with_insert(song.groups, HARD)
    sends = tuple(changed(s, reverb=Reverb(kind="voice", decay_s=0.3)) for s in song.sends)
    master = changed(
        song.master, fader_db=20.0, inserts=(changed(HARD, gain_db=0.0),), limiter=Limiter(ceiling_dbtp=-3.0)
    )
    return changed(song, groups=groups, sends=sends, master=master), lanes, stems


def logged(graph, stems, **how):
    """Return the mix while it is logged, and its curves."""
    gains = []
    mix = rendered(graph, stems, log=gains.append, **how)
    return mix, Curves(np.concatenate(gains))


@pytest.fixture(scope="module")
def dense():
    song, lanes, stems = dense_song()
    graph = graph_of(song, lanes, stems)
    mix, curves = logged(graph, stems, workers=1)
    return graph, stems, mix, curves


def test_gains_are_logged_for_every_frame_and_processor(dense):
    graph, _, mix, curves = dense
    assert graph.dynamics == ("group wall", "master master", LIMITER)
    assert curves.gains.shape == graph.gains_shape
    assert graph.gains_shape[1] == 3
    assert len(mix) == graph.frames
    assert (curves.gains > 0.0).all()
    assert curves.gains.min(axis=0).max() < 0.8  # every one works
    assert curves.gains[:, 2].max() <= 1.0


def test_the_replayed_mix_has_the_bits_of_the_logged_one(dense):
    graph, stems, mix, curves = dense
    assert np.array_equal(rendered(graph, stems, curves=curves), mix)


@pytest.mark.parametrize("block_frames", [37, 4096, 10**9])
@pytest.mark.parametrize("workers", [1, 2])
def test_no_block_size_and_no_number_of_threads_changes_a_bit(dense, block_frames, workers, tmp_path):
    graph, stems, mix, curves = dense
    how = {"block_frames": block_frames, "workers": workers, "cache": Cache(tmp_path)}
    again, found = logged(graph, stems, **how)
    assert np.array_equal(again, mix)
    assert np.array_equal(found.gains, curves.gains)
    part = rendered(graph, stems, curves=curves, tracks=["voice", "kick"])
    assert np.array_equal(rendered(graph, stems, curves=curves, tracks=["voice", "kick"], **how), part)


def test_parts_add_up_to_the_limited_mix(dense):
    graph, stems, mix, curves = dense
    trimmed = Curves(curves.gains, trim_db=-0.3)
    whole = rendered(graph, stems, curves=trimmed)
    assert np.allclose(whole, mix * float(mathematics.ratio(-0.3)), atol=1e-15)
    parts = [rendered(graph, stems, curves=trimmed, tracks=[name]) for name in stems]
    assert np.abs(np.sum(parts, axis=0) - whole).max() < 1e-12
    as_files = [part.astype(np.float32).astype(np.float64) for part in parts]
    assert np.abs(np.sum(as_files, axis=0) - whole.astype(np.float32)).max() < 10 ** (-120 / 20)
    assert np.abs(parts[0]).max() > 0.01


def test_a_bus_is_its_sum_through_the_processors(tmp_path):
    """The same by hand: the sum of two tracks into a compressor, and what comes out into the limiter."""
    frames = 20000
    stems = {name: noise(frames, 2, seed) * 3.0 for seed, name in enumerate("ab")}
    tracks = tuple(Track(id=name, name=name, file=name, group="g") for name in stems)
    group = Group(id="g", name="g", strip=Strip(trim_db=2.0, fader_db=-1.0, inserts=(HARD,)))
    song = Song(title="t", rate_hz=RATE_HZ, tracks=tracks, groups=(group,), master=Master(limiter=Limiter()))
    graph = compile_mix(song, (), dict.fromkeys(stems, frames))
    mix, curves = logged(graph, stems, block_frames=1000)

    bus = np.sum([audio.astype(np.float64) for audio in stems.values()], axis=0) * float(mathematics.ratio(2.0))
    compressor = Chain(operations_of(HARD, RATE_HZ), 2)
    limiter = PeakLimiter(RATE_HZ, ceiling_dbtp=-1.0, release_s=0.1)
    gains = np.empty((frames, 1), np.float32)
    compressor.process(bus, gains=gains)
    assert np.array_equal(curves.gains[:frames, :1], gains)
    late = np.concatenate([bus * float(mathematics.ratio(-1.0)), np.zeros((limiter.latency_frames, 2))])
    gains = np.empty(len(late), np.float32)
    limiter.process(late, gains)
    assert np.array_equal(curves.gains[:, 1], gains)
    assert np.array_equal(mix, late[limiter.latency_frames :])
    assert true_peak_16x([mix]) < 10 ** (-0.95 / 20)
    assert np.abs(mix).max() > 0.8


def test_a_linear_song_has_the_bits_it_always_had():
    """Independent of the engine: stems times fader, summed in the order of the tracks, in doubles."""
    stems = {f"t{k}": noise(9000, 2, k) for k in range(5)}
    faders = (0.0, -3.5, 1.25, -12.0, 0.0)
    tracks = tuple(
        Track(id=name, name=name, file=name, strip=Strip(fader_db=db)) for name, db in zip(stems, faders, strict=True)
    )
    graph = compile_mix(Song(title="t", rate_hz=RATE_HZ, tracks=tracks), (), dict.fromkeys(stems, 9000))
    plain = np.zeros((9000, 2))
    for audio, db in zip(stems.values(), faders, strict=True):
        plain += audio.astype(np.float64) * float(mathematics.ratio(db))
    assert graph.dynamics == ()
    found = rendered(graph, stems, block_frames=700)
    assert hashlib.sha256(found.tobytes()).hexdigest() == hashlib.sha256(plain.tobytes()).hexdigest()
    song, lanes, rich = rich_song(0.3)
    assert np.array_equal(logged_or_not(song, lanes, rich), rendered(graph_of(song, lanes, rich), rich))


def logged_or_not(song, lanes, stems):
    """Return a song with a compressor that lets everything pass at a gain of 1."""
    idle = Compressor(threshold_db=0.0, ratio=1.0, knee_db=0.0)
    graph = graph_of(changed(song, groups=with_insert(song.groups, idle)), lanes, stems)
    return rendered(graph, stems, curves=logged(graph, stems)[1])


def test_a_bus_that_nothing_feeds_and_a_muted_one(tmp_path):
    song, lanes, stems = dense_song()
    silent = changed(song, tracks=tuple(changed(t, mute=t.group == "wall" or t.mute) for t in song.tracks))
    graph = graph_of(silent, lanes, stems)
    _, curves = logged(graph, stems)
    assert (curves.gains[:, 0] == 1.0).all()
    muted = changed(song, groups=tuple(changed(g, mute=g.id == "wall") for g in song.groups))
    graph = graph_of(muted, lanes, stems)
    assert graph.dynamics == ("master master", LIMITER)
    mix, curves = logged(graph, stems)
    assert np.array_equal(rendered(graph, stems, curves=curves), mix)


def test_gains_of_a_bus_that_is_read_ahead_lie_on_the_time_of_the_song():
    frames = 6000
    stems = {"a": noise(frames, 2, 1), "b": noise(frames, 2, 2)}
    tracks = (Track(id="a", name="a", file="a", group="g"), Track(id="b", name="b", file="b"))

    def gains(delay_ms):
        group = Group(id="g", name="g", strip=Strip(delay_ms=delay_ms, inserts=(HARD,)))
        song = Song(title="t", rate_hz=RATE_HZ, tracks=tracks, groups=(group,))
        graph = compile_mix(song, (), dict.fromkeys(stems, frames))
        mix, curves = logged(graph, stems, block_frames=500)
        assert np.array_equal(rendered(graph, stems, curves=curves), mix)
        return curves.gains[:frames, 0]

    # The compressor hears the group before its delay, which other paths are lined up with.
    assert np.array_equal(gains(-5.0), gains(0.0))
    assert np.array_equal(gains(5.0), gains(0.0))


@pytest.mark.parametrize("frames", [0, 1, 300])
def test_a_song_shorter_than_the_look_ahead(frames):
    master = Master(fader_db=20.0, limiter=Limiter(), inserts=(HARD,))
    song = Song(title="t", rate_hz=RATE_HZ, tracks=(Track(id="a", name="a", file="a"),), master=master)
    stems = {"a": noise(frames, 2, 1)}
    graph = compile_mix(song, (), {"a": frames})
    mix, curves = logged(graph, stems, block_frames=7)
    assert curves.gains.shape == graph.gains_shape
    assert np.array_equal(rendered(graph, stems, curves=curves), mix)


def test_what_a_track_in_the_mix_depends_on():
    song, lanes, stems = rich_song(0.1)
    compressed = changed(song, groups=with_insert(song.groups, HARD))

    def keys(of, track, **strip):
        tracks = tuple(changed(t, strip=changed(t.strip, **strip)) if t.id == track else t for t in of.tracks)
        graph = graph_of(changed(of, tracks=tracks), lanes, stems)
        return {name: Cache.key(graph.identity([name])) for name in stems}

    def moved(of, track):
        before, after = keys(of, track), keys(of, track, fader_db=-7.0)
        return {name for name in stems if before[name] != after[name]}

    assert moved(song, "keys") == {"keys"}
    assert moved(compressed, "keys") == {"keys", "pad"}  # they share the compressed group
    assert moved(compressed, "voice") == {"voice"}
    for master in (changed(song.master, inserts=(HARD,)), changed(song.master, limiter=Limiter())):
        assert moved(changed(song, master=master), "voice") == set(stems)


def test_each_setting_of_a_processor_is_part_of_the_key():
    song, lanes, stems = dense_song(0.1)
    masters = [
        song.master,
        changed(song.master, limiter=Limiter(ceiling_dbtp=-2.0)),
        changed(song.master, limiter=changed(song.master.limiter, release_ms=200.0)),
        changed(song.master, inserts=(changed(HARD, ratio=2.0),)),
        changed(song.master, inserts=()),
    ]
    keys = {Cache.key(graph_of(changed(song, master=m), lanes, stems).identity(["kick"])) for m in masters}
    assert len(keys) == len(masters)


def test_the_song_is_longer_by_the_tail_of_what_is_sent_to():
    song, _, stems = rich_song(0.3)
    lengths = {name: len(audio) for name, audio in stems.items()}
    dry = song_frames(song, lengths)
    reverb = Reverb(kind="instruments", decay_s=1.25, pre_delay_ms=20.0)
    wet = changed(song, sends=tuple(changed(s, reverb=reverb) for s in song.sends))
    assert song_frames(wet, lengths) == dry + round(1.27 * RATE_HZ)
    mute = changed(wet, tracks=tuple(changed(t, mute=True) for t in wet.tracks))
    assert song_frames(mute, lengths) == song_frames(wet, lengths)
    unsent = tuple(changed(t, sends={}) for t in wet.tracks)
    assert song_frames(changed(wet, tracks=unsent), lengths) == song_frames(wet, lengths)  # a group still sends
    none = changed(wet, tracks=unsent, groups=tuple(changed(g, sends={}) for g in wet.groups))
    assert song_frames(none, lengths) == dry


def test_parts_are_never_rendered_without_the_gains_of_the_whole(dense):
    graph, stems, _, curves = dense
    with pytest.raises(InternalError, match="logged gains"):
        rendered(graph, stems)
    with pytest.raises(InternalError, match="logged gains"):
        rendered(graph, stems, curves=Curves(curves.gains[:-1]))
    with pytest.raises(InternalError, match="from the whole mix"):
        rendered(graph, stems, tracks=["kick"], log=print)
