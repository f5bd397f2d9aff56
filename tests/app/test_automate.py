# SPDX-License-Identifier: Apache-2.0
"""Lanes set by hand: what the mix does with them, and that each is a step of the journal."""

import msgspec
import numpy as np
import pytest

from made_songs import write_audio
from mixwright.app.automate import lanes_view, set_lane
from mixwright.app.decide import redo, undo
from mixwright.app.playable import Playable
from mixwright.errors import SettingError, StateError
from mixwright.io.song_file import create_song, edit_song, load_song
from mixwright.model.lane import Breakpoint, Lane
from mixwright.model.song import Group, Send, Song, Source, Track, changed

RATE_HZ = 8000
SECONDS = 2


def points(*pairs):
    return tuple(Breakpoint(at_s=at_s, value=value) for at_s, value in pairs)


@pytest.fixture
def folder(tmp_path):
    """Two tracks that read as one and a third, each a constant; one is sent to a bus that does nothing to it."""
    tracks = []
    for name, value, source in (("a", 0.25, "pair"), ("b", 0.125, "pair"), ("c", 0.0625, "")):
        write_audio(tmp_path / f"{name}.wav", np.full((SECONDS * RATE_HZ, 2), value, dtype=np.float32), RATE_HZ)
        sends = {"room": 0.0} if name == "c" else {}
        tracks.append(Track(id=name, name=name, file=f"../{name}.wav", source=source, sends=sends))
    folder = tmp_path / "song"
    song = Song(
        title="Made up",
        rate_hz=RATE_HZ,
        tracks=tuple(tracks),
        sources=(Source(id="pair", name="pair"),),
        sends=(Send(id="room", name="Room"),),
    )
    create_song(folder, song)
    return folder


def heard(folder, **how):
    with Playable(folder) as playable:
        return playable.excerpt(0.0, SECONDS, **how).samples[:, 0].astype(np.float64)


def db(value):
    return 10.0 ** (value / 20.0)


def test_levels_of_a_track_and_of_its_source_add_up_in_db(folder):
    set_lane(folder, "a", "level", points((0.0, -6.0), (1.0, -6.0), (2.0, 0.0)))
    set_lane(folder, "pair", "level", points((0.0, 2.0)))
    found, at = heard(folder), np.array([0, RATE_HZ // 2, RATE_HZ, RATE_HZ * 3 // 2])
    own = np.array([-6.0, -6.0, -6.0, -3.0])
    np.testing.assert_allclose(found[at], 0.25 * db(own + 2.0) + 0.125 * db(2.0) + 2 * 0.0625, rtol=1e-6)


def test_a_mute_is_silence_and_ends_where_it_is_written(folder):
    set_lane(folder, "pair", "mute", points((0.0, 0.0), (0.5, 1.0), (1.5, 0.0)))
    found = heard(folder)
    whole, rest = 0.25 + 0.125 + 2 * 0.0625, 2 * 0.0625
    np.testing.assert_allclose(found[: round(0.47 * RATE_HZ)], whole, rtol=1e-6)
    np.testing.assert_array_equal(found[round(0.5 * RATE_HZ) : round(1.47 * RATE_HZ)], np.float32(rest))
    np.testing.assert_allclose(found[round(1.5 * RATE_HZ) :], whole, rtol=1e-6)
    between = [found[round(at_s * RATE_HZ)] for at_s in (0.49, 1.49)]  # half of 20 ms
    np.testing.assert_allclose(between, (whole + rest) / 2.0, rtol=1e-3)
    np.testing.assert_allclose(heard(folder, without_lane=("pair", "mute")), whole, rtol=1e-6)


def test_what_is_sent_moves_by_itself_and_a_mute_takes_it_along(folder):
    set_lane(folder, "c", "sends.room", points((0.0, -20.0)))
    np.testing.assert_allclose(heard(folder, tracks=["c"]), 0.0625 * (1.0 + db(-20.0)), rtol=1e-6)
    set_lane(folder, "c", "mute", points((0.0, 1.0)))
    np.testing.assert_array_equal(heard(folder, tracks=["c"]), 0.0)


def test_each_lane_is_a_step_and_undo_brings_back_what_was_kept_by_hand(folder):
    by_hand = (Lane(target="c", parameter="level", points=points((0.0, -3.0))),)
    (folder / "kept").mkdir(exist_ok=True)
    (folder / "kept" / "lanes.json").write_bytes(msgspec.json.encode(by_hand))
    kept = set_lane(folder, "a", "level", points((1.0, -2.0), (0.5, 1.0)))
    assert [(lane.target, [point.at_s for point in lane.points]) for lane in kept] == [("a", [0.5, 1.0]), ("c", [0.0])]
    after = (folder / "song.toml").read_bytes()
    assert undo(folder).undone == "lane of a: level, 2 points"
    assert lanes_view(folder).lanes == by_hand
    redo(folder)
    assert (folder / "song.toml").read_bytes() == after
    assert lanes_view(folder).lanes == kept
    assert set_lane(folder, "a", "level", ()) == by_hand
    (folder / "kept" / "lanes" / f"{load_song(folder).automation}.json").unlink()
    with pytest.raises(StateError, match="automation of the song is gone"):
        heard(folder)


def test_where_a_track_and_a_group_share_an_id_the_lane_is_that_of_the_track(folder):
    edit_song(folder, "by hand", lambda song: changed(song, groups=(Group(id="a", name="All"),)))
    assert [one.name for one in lanes_view(folder).targets if one.id == "a"] == ["a"]
    assert [lane.target for lane in set_lane(folder, "a", "level", points((0.0, -6.0)))] == ["a"]


def test_what_has_no_lane_is_refused(folder):
    for target, parameter, value, told in (
        ("nobody", "level", 0.0, "nothing is called"),
        ("pair", "pan", 0.0, "has no 'pan'"),
        ("a", "sends.room", 0.0, "has no 'sends.room'"),
        ("a", "level", 60.0, "level is 60"),
    ):
        with pytest.raises(SettingError, match=told):
            set_lane(folder, target, parameter, points((0.0, value)))
    assert load_song(folder).automation == ""


def test_what_may_have_a_lane_is_told(folder):
    told = {one.id: [parameter.parameter for parameter in one.parameters] for one in lanes_view(folder).targets}
    assert told["pair"] == ["level", "mute"]
    assert told["c"] == ["level", "mute", "pan", "left", "right", "width", "sends.room"]
    assert told["room"] == ["level", "mute", "left", "right", "width"]
    assert told["master"] == ["level"]
