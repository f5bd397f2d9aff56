# SPDX-License-Identifier: Apache-2.0
"""Accepted moves written into strips: the mix stays, and undo takes it back. The song is invented."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from engine.test_moves_laid import KINDS, compiled, mixed, move, song_of
from mixwright import settle, undo
from mixwright.errors import SettingError
from mixwright.io.song_file import SONG_FILE, create_song, load_song
from mixwright.model.song import changed, with_strip
from mixwright.model.strip import Change, Strip


def _folder(tmp_path: Path, song) -> Path:
    folder = tmp_path / "song"
    create_song(folder, song)
    return folder


def _all_moves():
    laid = [
        move(kind, target, settings, key=key, strength=strength)
        for (kind, (settings, key, _, _)), target, strength in zip(
            KINDS.items(), ["pad", "bed", "wall", "send hall", "keys", "wall", "bed", "pad"], [1, 0.5] * 4, strict=True
        )
    ]
    return (
        *laid[::-1],
        move("level", "bed", {"gain_db": -1.5}),
        move("level", "pad", {"gain_db": 0.7}, strength=0.3, id="more"),
        move("level", "master", {"gain_db": -3.0}),
        move("level", "send hall", {"gain_db": -2.0}),
        move("pan", "v1", {"pan": -0.4}, strength=0.3),
        move("pan", "pad", {"left": -0.3, "right": 0.9}),
        move("send", "wall", {"gain_db": 1.7}, send="hall", strength=0.9),
    )


def test_all_moves_settle_the_mix_stays_and_undo_brings_them_back(tmp_path):
    song = song_of(*_all_moves())
    folder = _folder(tmp_path, song)
    before = (folder / SONG_FILE).read_bytes()
    result = settle(folder)
    after = load_song(folder)
    assert {one.id for one in result.settled} == {one.id for one in song.moves}
    assert (result.stays, after.moves) == ((), ())
    assert result.song_moves == {"proposed": 0, "accepted": 0, "refused": 0}
    wanted, found = mixed(compiled(song))[0], mixed(compiled(after))[0]
    assert np.abs(found - wanted).max() < 1e-7  # -140 dBFS: sums of levels are rounded
    assert undo(folder).undone == "settle all accepted moves"
    assert (folder / SONG_FILE).read_bytes() == before


@pytest.mark.parametrize("kind", [*KINDS, "level", "pan", "send"])
def test_each_kind_settles_to_the_bit(tmp_path, kind):
    plain = {
        "level": move("level", "wall", {"gain_db": -1.5}, strength=0.5),
        "pan": move("pan", "keys", {"left": -0.3, "right": 0.9}),
        "send": move("send", "keys", {"gain_db": 2.5}, send="hall"),
    }
    settings, key, _, _ = KINDS.get(kind, ({}, "", None, None))
    sections = ("b",) if kind in KINDS else ()
    one = plain.get(kind) or move(kind, "bed", settings, key=key, strength=0.5, sections=sections)
    folder = _folder(tmp_path, song_of(one))
    settle(folder, [one.id])
    assert compiled(load_song(folder)).identity() == compiled(song_of(one)).identity()
    assert load_song(folder).moves == ()


def test_what_a_strip_cannot_say_stays_and_says_why(tmp_path):
    shape, width = KINDS["shape"][0], KINDS["width"][0]
    song = song_of(
        move("level", "pad", {"gain_db": 1.0}, sections=("b",)),
        move("send", "keys", {"gain_db": 1.0}, send="hall", sections=("b",)),
        move("level", "keys", {"gain_db": 24.0}),
        move("shape", "pad", shape, sections=("a",)),
        move("width", "pad", width),
        move("pan", "v1", {"pan": 0.2}, state="proposed"),
        move("shape", "v1", shape),
    )
    hot = changed(song.tracks[2], strip=Strip(fader_db=6.0))
    taker = changed(
        song.tracks[0], id="v2", name="v2", strip=Strip(as_="v1", changes=(Change(at="eq[0].hz", set=900.0),))
    )
    band = changed(song.tracks[0].strip, eq=KINDS["shape"][2].bands)
    song = with_strip(changed(song, tracks=(*song.tracks[:2], hot, taker)), "track", "v1", band)
    folder = _folder(tmp_path, song)
    result = settle(folder, ["level-pad", "send-keys", "level-keys", "width-pad", "pan-v1", "shape-v1"])
    assert result.settled == ()
    assert {one.id: one.why for one in result.stays} == {
        "level-pad": "it is for b alone, and a fader has one setting for the whole song",
        "send-keys": "it is for b alone, and a send has one setting for the whole song",
        "level-keys": "the fader of keys would stand at 30 dB, and goes from -120 to 24",
        "width-pad": "shape-pad comes before it in pad, and is not settled",
        "shape-v1": "v2 takes over the chain of v1, and would get it too",
    }
    assert result.notes == ("pan-v1 is proposed: only accepted moves are settled.",)
    assert load_song(folder) == song
    assert [one.id for one in settle(folder, ["shape-pad", "width-pad"]).settled] == ["shape-pad", "width-pad"]


def test_a_position_along_a_lane_stays(tmp_path):
    folder = _folder(tmp_path, song_of(move("pan", "v1", {"pan": 0.2})))
    lane = '[{"target":"v1","parameter":"pan","points":[{"at_s":0.0,"value":-1.0}]}]'
    (folder / "kept" / "lanes.json").write_text(lane)
    (stays,) = settle(folder).stays
    assert stays.why == "kept automation moves pan of v1, which its strip then does not say"


def test_nothing_to_settle(tmp_path):
    folder = _folder(tmp_path, song_of())
    assert settle(folder).notes == ("No moves are accepted.",)
    with pytest.raises(SettingError, match="no move is called 'x'"):
        settle(folder, ["x"])
