# SPDX-License-Identifier: Apache-2.0
"""Inserts in strips: order, sections, lanes of their settings, and what cannot move."""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.engine.compiling import compile_mix
from mixwright.engine.inserts import with_setting
from mixwright.errors import SettingError
from mixwright.jobs.cache import Cache
from mixwright.model.filter_inserts import Filters
from mixwright.model.filters import EqBand, Pass
from mixwright.model.lane import Breakpoint, Lane
from mixwright.model.song import Group, Section, Send, Song, Track, changed
from mixwright.model.strip import Change, Master, Strip
from reference.noise_songs import RATE_HZ, noise, rendered

FRAMES = 30000
BELL = Filters(bands=(EqBand(hz=1000.0, gain_db=-9.0, q=2.0),))
CUT = Filters(high_pass=Pass(hz=300.0, slope_db_oct=24), gain_db=3.0)
SECTIONS = (Section(name="verse", start_s=0.0, end_s=0.2), Section(name="chorus", start_s=0.2, end_s=0.4))


def song_of(strip=None, group=None, lanes=(), master=None, start_frame=0):
    track = Track(id="a", name="a", file="a", group="g", strip=strip or Strip(), start_frame=start_frame)
    song = Song(
        title="t", rate_hz=RATE_HZ, tracks=(track,), groups=(Group(id="g", name="g", strip=group or Strip()),),
        sections=SECTIONS, master=master or Master(),
    )  # fmt: skip
    return song, lanes


def mixed(song, lanes=(), stems=None, **how):
    stems = stems or {"a": noise(FRAMES, 2, 3)}
    return rendered(compile_mix(song, lanes, {id_: len(audio) for id_, audio in stems.items()}), stems, **how)


@pytest.mark.parametrize("where", ["strip", "group"])
def test_an_insert_of_filters_is_the_filters_of_the_strip(where):
    strip = Strip(eq=BELL.bands, trim_db=-2.0)
    moved = Strip(inserts=(BELL,), trim_db=-2.0)
    found = mixed(*song_of(**{where: moved}))
    assert np.array_equal(found, mixed(*song_of(**{where: strip})))


def test_order_is_free_and_an_insert_may_stand_twice():
    one, other, twice = (mixed(*song_of(Strip(inserts=i))) for i in ((BELL, CUT), (CUT, BELL), (BELL, CUT, BELL)))
    np.testing.assert_allclose(one, other, atol=1e-6)  # both are linear
    assert np.abs(twice - one).max() > 0.01
    off = mixed(*song_of(Strip(inserts=(changed(BELL, on=False), CUT, changed(BELL, on=False)))))
    assert np.array_equal(off, mixed(*song_of(Strip(inserts=(CUT,)))))


@pytest.mark.parametrize("where", ["strip", "group", "master"])
def test_it_is_heard_in_its_sections_alone(where):
    """Wholly inside, not at all outside, and in between within the ramp and a stride."""

    def strip(*inserts):
        return (Master if where == "master" else Strip)(inserts=inserts)

    start = 777  # of a track's own time
    found = mixed(*song_of(**{where: strip(changed(CUT, sections=("chorus",)))}, start_frame=start))
    wet, dry = (mixed(*song_of(**{where: strip(*i)}, start_frame=start)) for i in ((CUT,), ()))
    edge = round(0.2 * RATE_HZ)
    ramp = round(0.02 * RATE_HZ) + 256
    assert np.abs(found[: edge - ramp] - dry[: edge - ramp]).max() < 1e-7
    assert np.abs(found[edge + 256 : 2 * edge - ramp] - wet[edge + 256 : 2 * edge - ramp]).max() < 1e-6
    assert np.abs(found[2 * edge + 256 :] - dry[2 * edge + 256 :]).max() < 1e-7
    assert np.abs(wet - dry)[edge : edge + 5000].max() > 0.1


def lane(parameter, *points, target="a"):
    return Lane(target=target, parameter=parameter, points=tuple(Breakpoint(at_s=t, value=v) for t, v in points))


@pytest.mark.parametrize("owner", ["strip", "group", "master"])
@pytest.mark.parametrize(
    ("parameter", "value"),
    [("inserts[0].bands[0].gain_db", -20.0), ("inserts[0].mix", 0.25), ("inserts[0].gain_db", 5.0)],
)
def test_a_setting_that_stands_where_its_lane_is_gives_what_it_gives_by_hand(owner, parameter, value):
    target = {"strip": "a", "group": "g", "master": "master"}[owner]
    kind = Master if owner == "master" else Strip
    by_hand = with_setting(BELL, parameter.removeprefix("inserts[0]."), value)
    wanted = mixed(*song_of(**{owner: kind(inserts=(by_hand,))}))
    found = mixed(*song_of(**{owner: kind(inserts=(BELL,))}, lanes=(lane(parameter, (0.0, value), target=target),)))
    np.testing.assert_allclose(found, wanted, atol=1e-7)


def test_a_setting_moves_along_its_lane_in_the_time_of_the_song():
    """A gain in steps of dB: what comes out follows it within a stride, wherever the track begins."""
    plain = Filters()
    for start in (0, 1000):
        stems = {"a": np.ones((FRAMES, 2), np.float32)}
        points = ((0.1, 0.0), (0.3, -12.0))
        song, lanes = song_of(Strip(inserts=(plain,)), lanes=(lane("inserts[0].gain_db", *points),), start_frame=start)
        out = mixed(song, lanes, stems)[start:FRAMES, 0]
        at_s = np.arange(start, FRAMES) / RATE_HZ
        wanted = np.interp(at_s, *zip(*points, strict=True))
        off_db = np.abs(20 * np.log10(out) - wanted)
        assert off_db.max() < 12.0 / 0.2 * 256 / RATE_HZ
        for how in ({"block_frames": 100}, {"workers": 2}):
            assert np.array_equal(mixed(song, lanes, stems, **how)[start:FRAMES, 0], out)


@pytest.mark.parametrize(
    ("parameter", "value", "says"),
    [
        ("inserts[0].bands[0].gain_db", 99.0, "bands[0].gain_db is 99: at most 24 is allowed; correct its lane"),
        ("inserts[0].bands[0].hz", 1.0, "bands[0].hz is 1: at least 10 is allowed"),
        ("inserts[0].bands[7].hz", 100.0, "no setting bands[7].hz"),
        ("inserts[0].sang", 100.0, "no setting sang"),
        ("inserts[0].on", 1.0, "no number that can move"),
        ("inserts[0].mix", 2.0, "mix is 2"),
        ("inserts[3].mix", 0.5, "it has 1 insert"),
    ],
)
def test_a_lane_that_does_not_fit_is_refused_with_the_track(parameter, value, says):
    with pytest.raises(SettingError) as caught:
        mixed(*song_of(Strip(inserts=(BELL,)), lanes=(lane(parameter, (0.0, value)),)))
    assert says in str(caught.value)
    assert str(caught.value).startswith("tracks[0].strip")


def test_sections_and_lanes_are_part_of_what_strip_audio_depends_on(tmp_path):
    stems = {"a": noise(FRAMES, 2, 3)}
    cache = Cache(tmp_path)
    songs = [
        song_of(Strip(inserts=(BELL,))),
        song_of(Strip(inserts=(changed(BELL, sections=("verse",)),))),
        song_of(Strip(inserts=(changed(BELL, sections=("chorus",)),))),
        song_of(Strip(inserts=(BELL,)), lanes=(lane("inserts[0].mix", (0.0, 0.5)),)),
        song_of(Strip(inserts=(BELL,)), lanes=(lane("inserts[0].bands[0].hz", (0.0, 500.0), (0.5, 900.0)),)),
    ]
    found = []
    for song, lanes in songs:
        hashed = changed(song, tracks=tuple(changed(t, sha256="0f" * 32) for t in song.tracks))
        plain = mixed(song, lanes, stems)
        assert np.array_equal(mixed(hashed, lanes, stems, cache=cache), plain)
        found.append(plain.tobytes())
    assert len(set(found)) == len(songs)


def test_a_return_has_its_inserts_after_its_reverb():
    """The filters of the strip feed the reverb; an insert shapes what comes back."""
    stems = {"a": noise(FRAMES, 2, 3)}
    track = Track(id="a", name="a", file="a", sends={"s": 0.0}, strip=Strip(fader_db=-120.0))

    def mix(**strip):
        send = Send(id="s", name="s", strip=Strip(delay_ms=5.0, **strip))
        return mixed(Song(title="t", rate_hz=RATE_HZ, tracks=(track,), sends=(send,)), (), stems)

    np.testing.assert_allclose(mix(inserts=(BELL,)), mix(eq=BELL.bands), atol=1e-15)


def test_a_group_in_a_group_runs_through_both():
    """The order in which the song has them does not matter; the same by hand."""
    stems = {name: noise(6000, 2, seed) for seed, name in enumerate("ab")}
    tracks = (Track(id="a", name="a", file="a", group="in"), Track(id="b", name="b", file="b", group="out"))
    groups = (
        Group(id="in", name="in", group="out", strip=Strip(fader_db=-6.0, delay_ms=-2.0)),
        Group(id="out", name="out", strip=Strip(fader_db=3.0), sends={"s": -4.0}),
    )
    for order in (groups, groups[::-1]):
        song = Song(
            title="t", rate_hz=RATE_HZ, tracks=tracks, groups=order, sends=(Send(id="s", name="s"),), sections=SECTIONS
        )
        a, b = (stems[name].astype(np.float64) for name in "ab")
        early = np.concatenate([a[96:], np.zeros((96, 2))]) * 10 ** (-6 / 20)
        wanted = (early + b) * 10 ** (3 / 20) * (1 + 10 ** (-4 / 20))
        np.testing.assert_allclose(mixed(song, (), stems), wanted, atol=1e-12)
        muted = changed(song, groups=tuple(changed(g, mute=g.id == "out") for g in order))
        assert not mixed(muted, (), stems).any()


def test_a_send_before_the_fader_stays_as_the_fader_moves():
    stems = {"a": noise(6000, 2, 1)}
    lanes = (lane("level", (0.0, -20.0), (0.1, 0.0)),)

    def mix(fader_db, moves=(), **sends):
        track = Track(id="a", name="a", file="a", strip=Strip(fader_db=fader_db, left=-0.5), **sends)
        return mixed(Song(title="t", rate_hz=RATE_HZ, tracks=(track,), sends=(Send(id="s", name="s"),)), moves, stems)

    dry, wet = mix(-12.0, lanes), mix(-12.0, lanes, pre_sends={"s": -6.0})
    np.testing.assert_allclose(wet - dry, mix(0.0) * 10 ** (-6 / 20), atol=1e-12)
    after = mix(-12.0, sends={"s": -6.0})
    np.testing.assert_allclose(after, mix(-12.0) * (1 + 10 ** (-6 / 20)), atol=1e-12)


def test_a_derived_strip_sounds_as_if_written_out_and_follows():
    """Pan, trim and fader are its own."""
    noises = {"a": noise(FRAMES, 2, 3), "b": noise(FRAMES, 1, 4)}
    lead = Strip(high_pass=Pass(hz=100.0), inserts=(BELL, CUT), fader_db=-40.0, pan=-1.0)
    derived = Strip(
        as_="a", trim_db=2.0, pan=0.3, changes=(Change(at="filters[0].bands[0].hz", times=2.0),), inserts=(CUT,)
    )
    for louder in (0.0, 6.0):
        lead = changed(lead, inserts=(changed(BELL, gain_db=louder), CUT))
        bell = changed(lead.inserts[0], bands=(changed(BELL.bands[0], hz=2000.0),))
        whole = Strip(trim_db=2.0, pan=0.3, high_pass=Pass(hz=100.0), inserts=(bell, CUT, CUT))
        found, wanted = (
            mixed(Song(title="t", rate_hz=RATE_HZ, tracks=tuple(
                Track(id=id_, name=id_, file=id_, strip=strip) for id_, strip in (("a", lead), ("b", strip))
            )), stems=noises)
            for strip in (derived, whole)
        )  # fmt: skip
        assert np.array_equal(found, wanted)


def test_the_gain_comes_after_what_passes_beside_and_inside_the_sections_alone():
    """So a gain makes an insert louder without moving the balance of what it makes and what goes in."""
    half = changed(BELL, mix=0.3)
    dry, plain, louder, lane_of_mix = (
        mixed(*song_of(Strip(inserts=inserts), lanes=lanes))
        for inserts, lanes in (
            ((), ()),
            ((half,), ()),
            ((changed(half, gain_db=6.0),), ()),
            ((changed(BELL, gain_db=6.0),), (lane("inserts[0].mix", (0.0, 0.3)),)),
        )
    )
    np.testing.assert_allclose(louder, 10**0.3 * plain, atol=1e-6)
    np.testing.assert_allclose(lane_of_mix, louder, atol=1e-6)
    edge = round(0.2 * RATE_HZ)
    ramp = round(0.02 * RATE_HZ) + 256
    found = mixed(*song_of(Strip(inserts=(changed(half, gain_db=6.0, sections=("chorus",)),))))
    assert np.abs(found[: edge - ramp] - dry[: edge - ramp]).max() < 1e-6
    inside = slice(edge + 256, 2 * edge - ramp)
    np.testing.assert_allclose(found[inside], louder[inside], atol=1e-5)
