# SPDX-License-Identifier: Apache-2.0
"""What no single field of a song can check."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings

from mixwright.errors import SettingError
from mixwright.model.checks import check_song
from mixwright.model.song import Lock, Move, Reference, Section, Send, Song, Source, Track, changed
from mixwright.model.strip import Reverb
from strategies import songs

SONG = Song(title="x", rate_hz=48000, tracks=(Track(id="a", name="A", file="a.wav"), Track(id="b", name="B", file="b")))


def _with(**track: object) -> dict[str, object]:
    return {"tracks": (SONG.tracks[0], changed(SONG.tracks[1], **track))}


def _move(kind: str, **settings: float) -> dict[str, object]:
    return {"moves": (Move(id="m", kind=kind, target="a", settings=settings),)}  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("fields", "where"),
    [
        ({"schema": 99}, "schema"),
        (_with(id="a"), "tracks[1].id"),
        (_with(group="none"), "tracks[1].group"),
        (_with(sends={"none": -6.0}), "tracks[1].sends"),
        (_with(place_in={"none": "bed"}), "tracks[1].place_in"),
        ({"lead": ("a", "none")}, "lead"),
        ({"sources": (Source(id="s", name=""), Source(id="s", name=""))}, "sources[1].id"),
        ({"sends": (Send(id="s", name=""), Send(id="s", name=""))}, "sends[1].id"),
        (
            {"sends": (Send(id="s", name="", reverb=Reverb(kind="voice", decay_s=1.0, low_hz=500, high_hz=500)),)},
            "sends[0].reverb.low_hz",
        ),
        ({"references": (Reference(id="r", file="f"), Reference(id="r", file="g"))}, "references[1].id"),
        ({"locks": (Lock(target="none", parameter="pan"),)}, "locks[0].target"),
        ({"sections": (Section(name="v", start_s=1, end_s=1),)}, "sections[0].end_s"),
        ({"moves": (Move(id="m", kind="level", target="none", settings={"gain_db": 1}),)}, "moves[0].target"),
        (_move("level"), "moves[0].settings"),
        (_move("level", pan=0.5), "moves[0].settings"),
        (_move("level", gain_db=25.0), "moves[0].settings.gain_db"),
        (_move("pan", gain_db=1.0), "moves[0].settings"),
        (_move("pan", left=-1.5, right=1.0), "moves[0].settings.left"),
        (_move("pan", pan=float("nan")), "moves[0].settings.pan"),
    ],
)
def test_what_does_not_fit_together_is_told_with_its_key(fields, where):
    check_song(SONG)
    with pytest.raises(SettingError) as caught:
        check_song(changed(SONG, **fields))
    assert caught.value.where == where


@settings(deadline=None, max_examples=30, suppress_health_check=list(HealthCheck))
@given(songs())
def test_valid_songs_pass(song):
    check_song(song)
