# SPDX-License-Identifier: Apache-2.0
"""The inserts of a strip one by one: what comes out of the last is what the mix hears of the strip."""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.engine.compiling import compile_mix
from mixwright.engine.stages import Bare, stretch, tapped
from mixwright.jobs.cache import Cache
from mixwright.model.colour_inserts import Saturation
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.filter_inserts import Filters
from mixwright.model.filters import EqBand, Pass
from mixwright.model.keyed_inserts import Duck, DuckRule
from mixwright.model.lane import Breakpoint, Lane
from mixwright.model.song import Group, Section, Send, Song, Track
from mixwright.model.strip import Change, Strip
from reference.noise_songs import RATE_HZ, noise

FRAMES = 30000
INSERTS = (
    Saturation(drive_db=18.0),
    Duck(key="b", rules=(DuckRule(depth_db=20.0, above_db=-60.0),)),
    Filters(bands=(EqBand(hz=900.0, gain_db=-9.0),), sections=("chorus",)),
    Compressor(threshold_db=-40.0, ratio=4.0, key="both", mix=0.7),
    Filters(bands=(EqBand(hz=300.0, gain_db=6.0),), on=False),
    Saturation(oversampling=8, works_on="middle"),
)
MOVES = (Breakpoint(at_s=0.0, value=500.0), Breakpoint(at_s=0.5, value=2000.0))
LANES = tuple(Lane(target=name, parameter="inserts[2].bands[0].hz", points=MOVES) for name in ("a", "g", "s"))
PLAIN = Strip(trim_db=-3.0, high_pass=Pass(hz=60.0))


def song_of(kind):
    """Whoever has the inserts is keyed by a track with latency of its own and a delay, and by a source."""
    full = Strip(trim_db=-3.0, high_pass=Pass(hz=60.0), inserts=INSERTS, fader_db=-9.0, pan=0.3)

    def strip(own):
        return full if kind == own else PLAIN

    late = Strip(inserts=(Saturation(oversampling=2),), delay_ms=3.0, fader_db=-120.0)
    tracks = (
        Track(id="a", name="a", file="a", group="g", strip=strip("track"), sends={"s": 0.0}),
        Track(id="b", name="b", file="b", strip=late, source="both"),
        Track(id="c", name="c", file="c", strip=Strip(trim_db=4.0, fader_db=-120.0), source="both"),
    )
    return Song(
        title="t",
        rate_hz=RATE_HZ,
        tracks=tracks,
        groups=(Group(id="g", name="g", strip=strip("group")),),
        sends=(Send(id="s", name="s", strip=strip("send")),),
        sections=(Section(name="verse", start_s=0.0, end_s=0.2), Section(name="chorus", start_s=0.2, end_s=0.4)),
    )


STEMS = {"a": noise(FRAMES, 2, 3), "b": noise(FRAMES, 1, 4), "c": noise(FRAMES, 2, 5) * 0.1}
LENGTHS = {name: len(audio) for name, audio in STEMS.items()}


def run(bare, inserts, audio, keys, **how):
    found = {}

    def take(stage, block, gains):
        found.setdefault(stage, []).append((block.copy(), gains))

    bare.stages(inserts, audio.shape[1]).run(audio, keys, take, **how)
    return {k: np.concatenate([block for block, _ in blocks]) for k, blocks in found.items()}


@pytest.mark.parametrize(("kind", "id_"), [("track", "a"), ("group", "g"), ("send", "s")])
def test_the_last_stage_is_what_the_mix_hears(kind, id_, tmp_path):
    """Keys, latencies, sections and lanes fall where they do in the mix."""
    song = song_of(kind)
    lanes = [lane for lane in LANES if lane.target == id_]
    cache = Cache(tmp_path)
    graph = compile_mix(song, lanes, LENGTHS)
    bare = Bare(song, lanes, LENGTHS, kind, id_)
    wanted = np.concatenate(list(tapped(graph, bare.node, STEMS, cache)))
    audio = np.concatenate(list(tapped(bare.graph, bare.node, STEMS, cache)))
    keys = {
        key: [np.concatenate(list(tapped(bare.graph, node, STEMS, cache))) for node in nodes]
        for key, nodes in bare.keys.items()
    }
    found = run(bare, INSERTS, audio, keys)
    assert sorted(found) == list(range(-1, len(INSERTS)))
    assert {len(one) for one in found.values()} == {graph.frames}
    assert np.array_equal(found[-1], audio)
    assert np.array_equal(found[4], found[3])  # bypassed
    rough = 1e-6 * np.abs(wanted).max()
    whole = slice(0, -200)  # after the song's end nothing goes in: what its filters ring on for is not heard
    assert np.abs(found[5] - wanted)[whole].max() < rough
    moved = {key: [np.roll(one, 200, axis=0) for one in ones] for key, ones in keys.items()}
    assert np.abs(run(bare, INSERTS, audio, moved)[5] - wanted)[whole].max() > 1e4 * rough
    split = run(bare, INSERTS, audio, keys, block_frames=1000)
    assert all(np.array_equal(split[k], found[k]) for k in found)


def test_a_derived_strip_is_written_out():
    song = song_of("track")
    derived = Strip(as_="a", changes=(Change(at="duck.key", set="c"),))
    song = Song(title="t", rate_hz=RATE_HZ, tracks=(*song.tracks, Track(id="d", name="d", file="d", strip=derived)),
                groups=song.groups, sends=song.sends, sections=song.sections)  # fmt: skip
    bare = Bare(song, (), {**LENGTHS, "d": FRAMES}, "track", "d")
    assert bare.keys == {"c": ("c",), "both": ("b", "c")}
    assert len(bare.strip.inserts) == len(INSERTS)


def test_a_stretch_beyond_what_there_is_is_silent():
    audio = np.ones((10, 2), np.float32)
    assert stretch(audio, -3, 5).sum() == 4.0
    assert stretch(audio, 8, 5).sum() == 4.0
    assert stretch(audio, 20, 5).sum() == 0.0
    assert stretch(audio, 2, 5).base is audio
