# SPDX-License-Identifier: Apache-2.0
"""Keys: whom an insert listens to, from where in the strip and when; the same by hand, in any blocks, kept or not."""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.engine.chain import Chain
from mixwright.engine.compiling import compile_mix
from mixwright.engine.curves import Curves
from mixwright.engine.processors import operations_of
from mixwright.engine.render import render
from mixwright.errors import SettingError
from mixwright.jobs.cache import Cache
from mixwright.model.checks import check_song
from mixwright.model.dynamics_inserts import Compressor, Expander
from mixwright.model.filter_inserts import Filters
from mixwright.model.filters import EqBand
from mixwright.model.keyed_inserts import Dip, DipBand
from mixwright.model.lane import Breakpoint, Lane
from mixwright.model.song import Group, Move, Send, Song, Track, changed
from mixwright.model.strip import Limiter, Master, Strip
from reference.noise_songs import RATE_HZ, noise, rendered

FRAMES = 24000
GATE = Expander(threshold_db=-30.0, ratio=10.0, range_db=60.0, attack_ms=1.0, hold_ms=5.0, release_ms=20.0)
DUCK = Compressor(threshold_db=-40.0, ratio=4.0, attack_ms=2.0, release_ms=40.0)
DIP = Dip(key="v1", bands=(DipBand(hz=1000.0, most_db=9.0),), look_ahead_ms=5.0)
BELL = Filters(bands=(EqBand(hz=700.0, gain_db=6.0),))


def bursts(seed, channels=2, frames=FRAMES):
    on = (np.arange(frames) // 3000 % 2 == seed % 2)[:, np.newaxis]
    return noise(frames, channels, seed) * np.where(on, 1.0, 0.001).astype(np.float32)


def stems_of(frames=FRAMES):
    return {
        "v1": bursts(1, 1, frames),
        "v2": bursts(2, 2, frames - 500),
        "pad": noise(frames, 2, 3),
        "keys": noise(frames, 1, 4),
    }  # fmt: skip


def song_of(pad=(), wall=(), hall=(), master=None, voices=(), v1=(), wall_sends=True, **fields):
    """Two voices (one source, one group, a send), a pad and keys (another group)."""
    tracks = (
        Track(id="v1", name="v1", file="v1", source="voice", group="voices", sends={"hall": -3.0}, start_frame=200,
              strip=Strip(inserts=v1, trim_db=-2.0, fader_db=-9.0, pan=0.5)),
        Track(id="v2", name="v2", file="v2", source="voice", group="voices", start_frame=700),
        Track(id="pad", name="pad", file="pad", group="wall", start_frame=100, strip=Strip(inserts=pad)),
        Track(id="keys", name="keys", file="keys", group="wall"),
    )  # fmt: skip
    return Song(
        title="t", rate_hz=RATE_HZ, tracks=tracks,
        groups=(
            Group(id="wall", name="wall", strip=Strip(inserts=wall), sends={"hall": -20.0} if wall_sends else {}),
            Group(id="voices", name="voices", strip=Strip(inserts=voices, fader_db=-3.0)),
        ),
        sends=(Send(id="hall", name="hall", strip=Strip(inserts=hall)),),
        master=master or Master(),
        **fields,
    )  # fmt: skip


def compiled(song, stems):
    check_song(song)
    return compile_mix(song, (), {id_: len(audio) for id_, audio in stems.items()})


def mixed(song, stems=None, **how):
    """Return the mix, with its gains logged on the way where it is not linear, and these."""
    stems = stems or stems_of()
    graph = compiled(song, stems)
    if not graph.dynamics:
        return rendered(graph, stems, **how), None
    gains = []
    return rendered(graph, stems, log=gains.append, **how), Curves(np.concatenate(gains))


def hashed(song):
    return changed(song, tracks=tuple(changed(t, sha256=f"{k:064x}") for k, t in enumerate(song.tracks)))


def alone(song, *names):
    """Return the strips of tracks alone at their places, before faders and pans, float32 in stereo."""
    stems, found = stems_of(), np.zeros((FRAMES, 2))
    for track in song.tracks:
        if track.id in names:
            audio = stems[track.id].astype(np.float64) * 10 ** (track.strip.trim_db / 20)
            end = min(FRAMES, track.start_frame + len(audio))
            found[track.start_frame : end] += audio[: end - track.start_frame]
    return found.astype(np.float32)


@pytest.mark.parametrize(("key", "names"), [("v1", ["v1"]), ("voice", ["v1", "v2"])])
def test_a_track_follows_a_track_or_all_of_a_source_before_their_faders(key, names):
    """By hand: the pad through the gate, given the key where the pad lies in the song."""
    gate = changed(GATE, key=key)
    song, stems = song_of(pad=(gate,)), stems_of()
    chain = Chain(operations_of(gate, RATE_HZ), 2)
    wanted = stems["pad"].astype(np.float64)
    heard = np.zeros((len(wanted), 1, 2), np.float32)
    heard[: FRAMES - 100, 0] = alone(song, *names)[100:]
    chain.process(wanted, heard)
    found = rendered(compiled(song, stems), stems, tracks=["pad"])
    direct = 1.0 + 10 ** (-20 / 20)  # the group, and its send
    np.testing.assert_allclose(found[100:FRAMES], direct * wanted[: FRAMES - 100], atol=1e-6)
    assert np.abs(found[100:FRAMES] - direct * stems["pad"][: FRAMES - 100]).max() > 0.05


@pytest.mark.parametrize("key", ["voices", "hall"])
def test_a_track_follows_a_group_or_a_return(key):
    """The key is what the bus makes of its tracks, faders and pans in it, its own fader not."""
    gate = changed(GATE, key=key)
    song, stems = song_of(pad=(gate,), wall=()), stems_of()
    song = changed(song, groups=tuple(changed(g, sends={}) for g in song.groups))
    feeds = {"voices": ["v1", "v2"], "hall": ["v1"]}[key]
    only = changed(song, groups=tuple(changed(g, strip=Strip()) for g in song.groups), sends=(), tracks=tuple(
        changed(t, group="", sends={}, strip=changed(t.strip, inserts=())) for t in song.tracks))  # fmt: skip
    heard_at = rendered(compiled(only, stems), stems, tracks=feeds) * (1.0 if key == "voices" else 10 ** (-3 / 20))
    heard = np.zeros((FRAMES, 1, 2), np.float32)
    heard[: FRAMES - 100, 0] = heard_at[100:FRAMES]
    wanted = stems["pad"].astype(np.float64)
    Chain(operations_of(gate, RATE_HZ), 2).process(wanted, heard)
    found = rendered(compiled(song, stems), stems, tracks=["pad"])
    np.testing.assert_allclose(found[100:FRAMES], wanted[: FRAMES - 100], atol=1e-6)


SONGS = {
    "track by track": song_of(pad=(changed(GATE, key="v1"), BELL)),
    "track by source, with look-ahead": song_of(pad=(changed(DIP, key="voice"), changed(DUCK, key="voice"))),
    "track by group that looks ahead": song_of(
        pad=(DIP, changed(GATE, key="voices")), voices=(changed(DIP, key="keys"),)
    ),
    "track by return": song_of(pad=(changed(DUCK, key="hall"),), hall=(BELL, DUCK), wall_sends=False),
    "group by group": song_of(wall=(changed(DIP, key="voices"), DUCK)),
    "return by track, master by group": song_of(
        hall=(changed(DUCK, key="v1"),), master=Master(inserts=(changed(DUCK, key="voices"), BELL), limiter=Limiter())
    ),
    "through a keyed track": song_of(
        v1=(changed(DUCK, key="keys"),), pad=(changed(DIP, key="v1"),), wall=(changed(GATE, key="v2"),)
    ),
}  # fmt: skip
each = pytest.mark.parametrize("song", SONGS.values(), ids=SONGS)


@each
def test_no_block_size_no_number_of_threads_and_no_cache_changes_a_bit(song, tmp_path):
    stems, song = stems_of(), hashed(song)
    mix, curves = mixed(song, workers=1)
    cache = Cache(tmp_path)
    for how in (
        {"block_frames": 37, "workers": 1},
        {"block_frames": 10**9, "workers": 2},
        {"block_frames": 4000, "cache": cache},
    ):  # fmt: skip
        again, found = mixed(song, **how)
        assert np.array_equal(again, mix)
        assert curves is None or np.array_equal(found.gains, curves.gains)
        assert np.array_equal(rendered(compiled(song, stems), stems, curves=curves, **how), mix)


@each
def test_parts_add_up_to_the_mix(song, tmp_path):
    stems, song = stems_of(), hashed(song)
    graph = compiled(song, stems)
    mix, curves = mixed(song)
    parts = [rendered(graph, stems, curves=curves, tracks=[name]) for name in stems]
    assert np.abs(np.sum(parts, axis=0) - mix).max() < 10 ** (-140 / 20)
    cache = Cache(tmp_path)
    for name, part in zip(stems, parts, strict=True):
        assert np.array_equal(rendered(graph, stems, curves=curves, tracks=[name], cache=cache), part)
    as_files = np.sum([part.astype(np.float32).astype(np.float64) for part in parts], axis=0)
    assert np.abs(as_files - mix.astype(np.float32)).max() < 10 ** (-120 / 20)


def test_latency_of_a_key_is_made_up_for():
    """A bypassed look-ahead in the strip of the key delays it, and whoever listens waits."""
    late = changed(DIP, key="keys", on=False, look_ahead_ms=20.0)
    for where in ({"pad": (changed(GATE, key="voices"),)}, {"wall": (changed(GATE, key="voices"),)}):
        prompt, _ = mixed(song_of(**where))
        for delayed in ({"voices": (late,)}, {"v1": (late,)}):
            found, _ = mixed(song_of(**where, **delayed))
            np.testing.assert_allclose(found, prompt, atol=1e-7)  # kept as float32


def test_what_is_muted_is_a_silent_key():
    stems = stems_of()
    song = song_of(pad=(changed(GATE, key="v1"),))
    silent = changed(song, tracks=tuple(changed(t, mute=t.id == "v1") for t in song.tracks))
    found = rendered(compiled(silent, stems), stems, tracks=["pad"])
    assert np.abs(found[RATE_HZ // 5 :]).max() < 0.25 * 1.2 * 10 ** (-40 / 20)  # the gate is open at first
    unused = changed(song, tracks=tuple(changed(t, use=t.id != "v1") for t in song.tracks))
    np.testing.assert_allclose(rendered(compiled(unused, stems), stems, tracks=["pad"]), found, atol=1e-12)


def test_faders_of_keys_move_nothing_and_what_they_are_made_of_does():
    stems = stems_of()

    def pad(song):
        graph = compiled(hashed(song), stems)
        return Cache.key(graph.identity(["pad"])), rendered(graph, stems, tracks=["pad"])

    song = song_of(pad=(changed(GATE, key="v1"),))
    key, audio = pad(song)
    move = Move(id="m", kind="level", target="v1", settings={"gain_db": 6.0}, state="accepted")
    key_faded, audio_faded = pad(changed(song, moves=(move,)))
    assert key_faded == key
    assert np.array_equal(audio_faded, audio)
    tracks = (changed(t, strip=changed(t.strip, trim_db=20.0)) if t.id == "v1" else t for t in song.tracks)
    louder = changed(song, tracks=tuple(tracks))
    key_louder, audio_louder = pad(louder)
    assert key_louder != key
    assert not np.array_equal(audio_louder, audio)


@pytest.mark.parametrize(
    ("inserts", "says"),
    [
        ({"v1": (changed(GATE, key="voices"),)}, "v1 > voices > v1"),
        ({"pad": (changed(GATE, key="pad"),)}, "pad > pad"),
        ({"pad": (changed(GATE, key="v1"),), "v1": (changed(GATE, key="wall"),)}, "> v1"),
        ({"hall": (changed(GATE, key="pad"),), "pad": (changed(GATE, key="hall"),)}, "hall"),
    ],
)
def test_a_circle_is_refused_with_its_way(inserts, says):
    song = song_of(**inserts)
    for check in (check_song, lambda one: compile_mix(one, (), {id_: len(a) for id_, a in stems_of().items()})):
        with pytest.raises(SettingError, match="runs in a circle") as caught:
            check(song)
        assert says in str(caught.value)
    with pytest.raises(SettingError) as caught:
        check_song(song)
    assert ".inserts[0].key" in caught.value.where


def test_a_key_that_is_nobody_gets_the_nearest_name():
    with pytest.raises(SettingError, match=r"no track, source, group or send is called 'voise'.*did you mean voice"):
        check_song(song_of(pad=(changed(GATE, key="voise"),)))


@each
@pytest.mark.parametrize("kept", [False, True])
def test_an_excerpt_is_the_mix_within_80_db(song, kept, tmp_path):
    """Processors listen to a few seconds before; nothing else is rendered. With strips kept or not."""
    frames = 8 * RATE_HZ
    stems, song = stems_of(frames), hashed(song)
    graph = compiled(song, stems)
    mix, curves = mixed(song, stems)
    cache = Cache(tmp_path)
    if kept:
        rendered(graph, stems, curves=curves, cache=cache)
    first, end = 6 * RATE_HZ + 77, 7 * RATE_HZ
    for how in ({"curves": None}, {"curves": curves}):
        found = np.concatenate(list(render(graph, stems, span=(first, end), excerpt=True, cache=cache, **how)))
        assert len(found) == end - first
        assert 20.0 * np.log10(np.abs(found - mix[first:end]).max() + 1e-30) < -80.0


def lane_of(parameter, *points):
    return (Lane(target="pad", parameter=parameter, points=tuple(Breakpoint(at_s=t, value=v) for t, v in points)),)


@pytest.mark.parametrize(
    ("against", "setting"), [("", "bands[0].most_db"), ("keys", "bands[0].most_db"), ("keys", "bands[0].hz")]
)
def test_settings_of_a_dip_move_with_what_it_listens_to(against, setting):
    """A lane that stands still gives what is set by hand, to what 32-bit floats hold; one that moves does something."""
    stems = stems_of()
    song = song_of(pad=(changed(DIP, against=against),), wall_sends=False)
    by_hand = 3.0 if "most" in setting else 700.0
    moved = changed(DIP, against=against, bands=(changed(DIP.bands[0], **{setting.partition(".")[2]: by_hand}),))
    frames = {id_: len(audio) for id_, audio in stems.items()}
    still = compile_mix(song, lane_of(f"inserts[0].{setting}", (0.0, by_hand)), frames)
    wanted = rendered(compiled(song_of(pad=(moved,), wall_sends=False), stems), stems, tracks=["pad"])
    np.testing.assert_allclose(rendered(still, stems, tracks=["pad"]), wanted, atol=1e-6)
    moving = compile_mix(song, lane_of(f"inserts[0].{setting}", (0.1, by_hand), (0.4, 1.5 * by_hand)), frames)
    assert np.abs(rendered(moving, stems, tracks=["pad"]) - wanted).max() > 1e-3


def test_a_look_ahead_cannot_move():
    frames = {id_: len(audio) for id_, audio in stems_of().items()}
    with pytest.raises(SettingError, match=r"tracks\[2\]\.strip\.inserts\[0\].*look_ahead_ms cannot move"):
        compile_mix(song_of(pad=(DIP,)), lane_of("inserts[0].look_ahead_ms", (0.1, 2.0), (0.4, 4.0)), frames)
