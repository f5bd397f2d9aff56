# SPDX-License-Identifier: Apache-2.0
"""What a move may set and name: one clear line for each wrong thing."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import msgspec
import pytest

from mixwright.errors import SettingError
from mixwright.model.checks import check_song
from mixwright.model.inserts import AnyInsert
from mixwright.model.keyed_inserts import Dip, DipBand
from mixwright.model.move_checks import check_move
from mixwright.model.move_inserts import AS_INSERTS, insert_of, moved_strips
from mixwright.model.move_settings import KEYED, MOVE_SETTINGS, ONE_OF
from mixwright.model.moves import id_for
from mixwright.model.song import Group, Move, Section, Send, Song, Track, changed
from mixwright.model.strip import Strip
from mixwright.model.words import MoveKind

SONG = Song(
    title="x",
    rate_hz=48000,
    tracks=(
        Track(id="vox", name="Vox", file="v.wav", group="voices", sends={"hall": -9.0}),
        Track(id="low", name="Low", file="l.wav", source="basses"),
        Track(id="high", name="High", file="h.wav", source="basses"),
        Track(id="old", name="Old", file="o.wav", use=False),
    ),
    groups=(Group(id="voices", name="Voices", pre_sends={"room": -3.0}),),
    sends=(Send(id="hall", name="Hall"), Send(id="room", name="Room")),
    sections=(Section(name="verse", start_s=0, end_s=10),),
)


def move(kind, target, settings, **fields):
    return Move(id=f"{kind}-{target}", kind=kind, target=target, settings=settings, **fields)


DIP, DUCK = {"hz": 2000.0, "most_db": 3.0}, {"depth_db": 3.0}


@pytest.mark.parametrize(
    ("bad", "told"),
    [
        (move("shape", "vox", {}), "m.settings: this shape move sets nothing; allowed: hz (10 to 96000), gain_db"),
        (move("tilt", "vox", {"hz": 100.0}), "m.settings: a tilt move needs gain_db; allowed: hz"),
        (move("even_out", "vox", {"ratio": 2.0}), "m.settings: an even out move needs threshold_db; allowed"),
        (move("band_limit", "vox", {"slope_db_oct": 12.0}), "m.settings: a band limit move needs low_hz or high_hz"),
        (move("tilt", "vox", {"hz": 100.0, "gain_db": 1.0, "q": 1.0}), "m.settings: a tilt move has no setting 'q'"),
        (move("width", "vox", {"width": 2.5}), "m.settings.width: 2.5 does not fit; allowed: width (0 to 2)"),
        (move("dip", "low", {**DIP, "q": 0.0}, key="vox"), "m.settings.q: 0 does not fit; allowed: hz (20 to 24000)"),
        (move("shape", "vox", {"hz": 24000.0, "gain_db": 1.0}), "m.settings.hz: 24000 Hz does not fit a song of 48000"),
        (
            move("band_limit", "vox", {"low_hz": 300.0, "high_hz": 200.0}),
            "m.settings.low_hz: nothing lies between 300 and 200 Hz; set low_hz below high_hz",
        ),
        (
            move("band_limit", "vox", {"low_hz": 30.0, "slope_db_oct": 20.0}),
            "m.settings.slope_db_oct: 20 does not fit; allowed: 6, 12, 18 and so on, up to 48",
        ),
        (move("duck", "low", {**DUCK, "by_hits": 0.5}, key="vox"), "m.settings.by_hits: 0.5 does not fit; 1: at each"),
        (move("duck", "low", {**DUCK, "low_hz": 5.0}, key="vox"), "m.settings.low_hz: 5 does not fit; 0 is open"),
        (move("colour", "low", {"drive_db": 6.0, "low_hz": 50.0}), "m.settings: a range to colour has two edges"),
        (
            move("colour", "low", {"drive_db": 3.0, "low_hz": 50.0, "high_hz": 150.0}),
            "m.settings.drive_db: 3 does not fit; the harmonics of a range need at least 6",
        ),
        (
            move("shape", "master", {"hz": 100.0, "gain_db": 1.0}),
            "m.target: a shape move is for layers, and the master takes levels alone; name a track",
        ),
        (move("width", "voces", {"width": 0.5}), "m.target: no track, source, group or return is called 'voces'; did"),
        (move("pan", "send hall", {"pan": 0.5}), "m.settings.pan: a return is stereo; set left and right"),
        (move("dip", "low", DIP), "m.key: a dip move names no key; name the track, source, group or send"),
        (move("dip", "low", DIP, key="vx"), "m.key: no track, source, group or send is called 'vx'; did you mean vox?"),
        (move("dip", "vox", DIP, key="vox"), "m.key: this runs in a circle: vox > vox; take its key from elsewhere"),
        (move("dip", "vox", DIP, key="voices"), "m.key: this runs in a circle: vox > voices > vox; take its key"),
        (move("dip", "vox", DIP, key="hall"), "m.key: this runs in a circle: vox > hall > vox; take its key"),
        (move("duck", "voices", DUCK, key="vox"), "m.key: voices is to duck under vox, and vox is part of both; let"),
        (move("duck", "send hall", DUCK, key="vox"), "m.key: hall is to duck under vox, and vox is part of both; let"),
        (move("shape", "low", {"hz": 100.0, "gain_db": 1.0}, key="vox"), "m.key: a shape move listens to nobody"),
        (move("level", "low", {"gain_db": 1.0}, send="hall"), "m.send: a level move feeds no send; take its send out"),
        (move("send", "vox", {"gain_db": 1.0}), "m.send: a send move names no send; name the send that is fed"),
        (move("send", "vox", {"gain_db": 1.0}, send="hal"), "m.send: no send is called 'hal'; did you mean hall?"),
        (move("send", "basses", {"gain_db": 1.0}, send="hall"), "m.send: basses does not feed hall; fed by vox"),
        (move("send", "send hall", {"gain_db": 1.0}, send="room"), "m.target: send hall feeds no send; name what"),
        (move("level", "vox", {"gain_db": 1.0}, sections=("bridge",)), "m.sections: no section is called 'bridge'"),
    ],
)
def test_each_wrong_thing_has_a_line_of_its_own(bad, told):
    with pytest.raises(SettingError) as caught:
        check_move(SONG, bad, "m")
    assert str(caught.value).startswith(told)
    song = changed(SONG, moves=(move("level", "high", {"gain_db": 1.0}, state="accepted"), bad))
    with pytest.raises(SettingError) as caught:
        check_song(song)
    assert str(caught.value).startswith(told.replace("m.", "moves[1].", 1))


@pytest.mark.parametrize(
    "good",
    [
        move("dip", "send hall", DIP, key="vox"),
        move("dip", "voices", DIP, key="vox"),
        move("duck", "basses", DUCK, key="voices"),
        move("send", "voices", {"gain_db": 1.0}, send="hall"),
        move("send", "voices", {"gain_db": 1.0}, send="room"),
        move("level", "send hall", {"gain_db": 1.0}),
        move("pan", "send hall", {"left": -0.5, "right": 0.5}),
        move("dip", "vox", DIP, key="vox", state="refused"),
    ],
)
def test_what_fits_is_taken(good):
    check_move(SONG, good, "m")
    check_song(changed(SONG, moves=(good,)))


def test_two_accepted_moves_that_make_a_circle_together():
    one = move("dip", "low", DIP, key="high", state="accepted")
    other = move("dip", "high", DIP, key="low")
    check_song(changed(SONG, moves=(one,)))
    with pytest.raises(SettingError, match=r"moves\[1\]\.key: this runs in a circle: "):
        check_song(changed(SONG, moves=(one, other)))
    strip = Strip(inserts=(Dip(key="high", bands=(DipBand(hz=1000.0),)),))
    tracks = (SONG.tracks[0], changed(SONG.tracks[1], strip=strip), *SONG.tracks[2:])
    with pytest.raises(SettingError, match=r"moves\[0\]\.key: this runs in a circle: "):
        check_song(changed(SONG, tracks=tracks, moves=(other,)))


@pytest.mark.parametrize(
    ("target", "kind", "settings", "strips"),
    [
        ("basses", "width", {"width": 0.5}, (("track", "low"), ("track", "high"))),
        ("voices", "width", {"width": 0.5}, (("group", "voices"),)),
        ("voices", "pan", {"pan": 0.5}, (("track", "vox"),)),
        ("send hall", "level", {"gain_db": 1.0}, (("send", "hall"),)),
        ("master", "level", {"gain_db": 1.0}, (("master", "master"),)),
        ("old", "level", {"gain_db": 1.0}, ()),
    ],
)
def test_whose_strips_a_move_is_made_on(target, kind, settings, strips):
    assert moved_strips(SONG, move(kind, target, settings)) == strips


@pytest.mark.parametrize("kind", AS_INSERTS)
@pytest.mark.parametrize("strength", [0.25, 1.0])
@pytest.mark.parametrize("end", ["low", "high"])
def test_what_fits_a_move_fits_its_insert_at_any_strength(kind, strength, end):
    """The ranges of moves lie within those of the processors, which msgspec checks as it reads."""
    settings = {name: getattr(one, end) for name, one in MOVE_SETTINGS[kind].items()}
    settings |= {"low_hz": 100.0, "high_hz": 200.0} if "low_hz" in settings else {}
    settings |= {"drive_db": 36.0} if kind == "colour" else {}
    insert = insert_of(move(kind, "low", settings, key="vox" if kind in KEYED else "", strength=strength), 48000)
    assert msgspec.convert(msgspec.to_builtins(insert), AnyInsert) == insert


def test_every_setting_of_every_kind_is_told_in_the_page_of_the_song_file():
    page = (Path(__file__).parents[2] / "docs" / "song-file.md").read_text()
    table = page[page.index("## Moves") :]
    for kind in get_args(MoveKind):
        line = next(line for line in table.splitlines() if line.startswith(f"| `{kind}` |"))
        assert set(MOVE_SETTINGS[kind]) <= set(re.findall(r"`(\w+)`", line)), kind
        assert not set(ONE_OF.get(kind, ())) - set(MOVE_SETTINGS[kind])


def test_an_id_holds_the_band_and_whom_it_names():
    dip = id_for("dip", "low", (), {"hz": 2000.0, "most_db": 3.0}, key="vox")
    assert dip == id_for("dip", "low", (), {"hz": 2050.0, "most_db": 6.0}, key="vox")
    assert dip != id_for("dip", "low", (), {"hz": 2000.0, "most_db": 3.0}, key="high")
    assert dip != id_for("dip", "low", (), {"hz": 4000.0, "most_db": 3.0}, key="vox")
    assert id_for("send", "vox", (), {"gain_db": 1.0}, send="hall") != id_for(
        "send", "vox", (), {"gain_db": 1.0}, send="room"
    )
    assert re.fullmatch(r"level-send-hall-[0-9a-f]{6}", id_for("level", "send hall", (), {"gain_db": 1.0}))
