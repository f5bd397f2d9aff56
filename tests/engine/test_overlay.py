# SPDX-License-Identifier: Apache-2.0
"""Accepted moves laid over hand settings: what each strip's lanes say."""

from __future__ import annotations

import pytest

from mixwright.engine.lanes import packed
from mixwright.engine.overlay import Overlay
from mixwright.errors import SettingError
from mixwright.model.lane import Breakpoint, Lane
from mixwright.model.song import Group, Move, Section, Song, Track
from mixwright.model.strip import Strip
from mixwright.native.place import lane_values

RATE_HZ = 1000
FRAMES = 10_000


def song_of(*moves, **fields):
    tracks = (
        Track(
            id="low", name="low", file="low.wav", group="bass", source="basses", strip=Strip(fader_db=-3.0, pan=-0.5)
        ),
        Track(id="high", name="high", file="high.wav", group="bass", source="basses"),
        Track(id="voice", name="voice", file="voice.wav"),
    )
    sections = (Section(name="verse", start_s=2.0, end_s=4.0), Section(name="chorus", start_s=4.0, end_s=6.0))
    plain = {"tracks": tracks, "groups": (Group(id="bass", name="bass", strip=Strip(fader_db=1.0)),)}
    return Song(title="t", rate_hz=RATE_HZ, sections=sections, moves=moves, **{**plain, **fields})


def move(kind, target, settings, **fields):
    return Move(
        **{"id": f"{kind}-{target}", "state": "accepted", **fields}, kind=kind, target=target, settings=settings
    )


def value(lanes, k, frame):
    return lane_values(packed([lanes[k]]), frame, 1)[0]


def track_lanes(song, track, kept=()):
    return Overlay(song, kept, FRAMES).track_lanes(next(t for t in song.tracks if t.id == track))


def test_a_fader_and_an_accepted_move_add_up_in_db():
    song = song_of(move("level", "low", {"gain_db": 4.0}, strength=0.5))
    assert track_lanes(song, "low")[0].points == ((0, -1.0),)
    assert track_lanes(song, "high")[0].points == ((0, 0.0),)


@pytest.mark.parametrize("state", ["proposed", "refused"])
def test_only_accepted_moves_count(state):
    assert track_lanes(song_of(move("level", "low", {"gain_db": 4.0}, state=state)), "low")[0].points == ((0, -3.0),)


def test_moves_of_two_sections_cross_in_the_20_ms_before_the_boundary():
    song = song_of(
        move("level", "voice", {"gain_db": 3.0}, sections=("verse",), id="a"),
        move("level", "voice", {"gain_db": 1.0}, sections=("chorus",), id="b"),
    )
    level = track_lanes(song, "voice")[0]
    values = lane_values(packed([level]), 0, FRAMES)
    assert [values[f] for f in (1980, 1990, 2000, 3980, 3990, 4000, 5980, 5990, 6000)] == pytest.approx(
        [0.0, 1.5, 3.0, 3.0, 2.0, 1.0, 1.0, 0.5, 0.0]
    )


def test_a_kept_lane_adds_to_the_fader():
    lane = Lane(
        target="low", parameter="level", points=(Breakpoint(at_s=1.0, value=0.0), Breakpoint(at_s=2.0, value=-10.0))
    )
    level = track_lanes(song_of(move("level", "low", {"gain_db": 2.0})), "low", [lane])[0]
    assert lane_values(packed([level]), 0, 3000)[[0, 1500, 2500]] == pytest.approx([-1.0, -6.0, -11.0])


def test_a_pan_move_goes_from_the_hand_position_towards_its_own():
    lanes = track_lanes(song_of(move("pan", "low", {"pan": 0.5}, strength=0.25)), "low")
    assert value(lanes, 1, 0) == pytest.approx(-0.25)
    assert value(lanes, 2, 0) == -1.0
    song = song_of(move("pan", "voice", {"left": -0.2, "right": 0.6}, sections=("chorus",)))
    lanes = track_lanes(song, "voice")
    assert [value(lanes, 2, f) for f in (3980, 3990, 4000, 7000)] == pytest.approx([-1.0, -0.6, -0.2, -1.0])
    assert [value(lanes, 3, f) for f in (3980, 3990, 4000, 7000)] == pytest.approx([1.0, 0.8, 0.6, 1.0])


def test_a_kept_position_replaces_the_hand_position():
    lane = Lane(target="low", parameter="pan", points=(Breakpoint(at_s=0.0, value=1.0),))
    assert value(track_lanes(song_of(move("pan", "low", {"pan": 0.0}, strength=0.5)), "low", [lane]), 1, 0) == 0.5


def test_a_level_move_on_a_group_moves_the_groups_fader():
    song = song_of(move("level", "bass", {"gain_db": -2.0}))
    assert track_lanes(song, "low")[0].points == ((0, -3.0),)
    assert Overlay(song, (), FRAMES).bus_lanes("bass", "group", song.groups[0].strip)[0].points == ((0, -1.0),)


def test_a_level_move_on_a_source_moves_each_of_its_tracks():
    song = song_of(move("level", "basses", {"gain_db": -2.0}))
    assert [track_lanes(song, track)[0].points[0][1] for track in ("low", "high", "voice")] == [-5.0, -2.0, 0.0]


def test_a_name_that_is_group_and_source_of_other_tracks_moves_the_tracks():
    voice = Track(id="voice", name="voice", file="voice.wav", source="bass")
    song = song_of(move("level", "bass", {"gain_db": -2.0}), tracks=(*song_of().tracks[:2], voice))
    assert [track_lanes(song, track)[0].points[0][1] for track in ("low", "high", "voice")] == [-5.0, -2.0, -2.0]
    assert Overlay(song, (), FRAMES).bus_lanes("bass", "group", Strip())[0].points == ((0, 0.0),)


@pytest.mark.parametrize(
    ("bad", "message"),
    [
        (move("level", "low", {"pan": 0.0}), "move level-low.settings: a level move has no setting 'pan'"),
        (move("pan", "low", {"gain_db": 0.0}), "move pan-low.settings: a pan move has no setting 'gain_db'"),
        (move("pan", "low", {"pan": 1.5}), "move pan-low.settings.pan: 1.5 does not fit; allowed: pan (-1 to 1)"),
        (move("level", "low", {"gain_db": float("nan")}), "move level-low.settings.gain_db: nan does not fit"),
        (
            move("level", "low", {"gain_db": 1.0}, sections=("bridge",)),
            "move level-low.sections: no section is called 'bridge'",
        ),
    ],
)
def test_a_move_that_cannot_be_done_is_refused(bad, message):
    with pytest.raises(SettingError) as caught:
        track_lanes(song_of(bad), "low")
    assert str(caught.value).startswith(message)


def test_a_level_move_on_the_master_moves_the_whole_mix_alone():
    overlay = Overlay(song_of(move("level", "master", {"gain_db": -7.0}, strength=0.5)), (), FRAMES)
    assert overlay.bus_lanes("master", "master", Strip(fader_db=1.0))[0].points == ((0, -2.5),)
    assert overlay.bus_lanes("bass", "group", Strip())[0].points == ((0, 0.0),)
