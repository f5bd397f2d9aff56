# SPDX-License-Identifier: Apache-2.0
"""What is kept beside the song."""

from __future__ import annotations

import sys
from pathlib import Path

import msgspec
import pytest

from mixwright.errors import InputError, InternalError, StateError
from mixwright.io.kept import read_kept, read_lanes, relative_to_song, song_path, write_kept, write_lanes
from mixwright.model.lane import Breakpoint, Lane
from mixwright.model.results import Spread
from mixwright.model.undone import UndoResult

LANES = (
    Lane(target="vox", parameter="level", points=(Breakpoint(at_s=0.0, value=-1.5), Breakpoint(at_s=2.5, value=0))),
)


def test_records_and_lanes_come_back(tmp_path):
    assert read_kept(tmp_path, "plan", UndoResult) is None
    assert read_lanes(tmp_path) == ()
    write_kept(tmp_path, "plan", UndoResult(undone="x\u2028", remaining=3))
    (tmp_path / "kept" / "lanes.json").write_bytes(msgspec.json.encode(LANES))
    assert read_kept(tmp_path, "plan", UndoResult) == UndoResult(undone="x\u2028", remaining=3)
    assert read_lanes(tmp_path) == LANES
    assert sorted(path.name for path in (tmp_path / "kept").iterdir()) == ["lanes.json", "plan.json"]


def test_lanes_are_written_anew_where_a_file_of_their_name_holds_something_else(tmp_path):
    name = write_lanes(tmp_path, LANES)
    for content in (b"", b"[]\n"):
        (tmp_path / "kept" / "lanes" / f"{name}.json").write_bytes(content)
        assert write_lanes(tmp_path, LANES) == name
        assert read_lanes(tmp_path, name) == LANES


@pytest.mark.parametrize(
    "content", [b"", b"{", b"[1]", b'{"undone": "x"}', b'{"undone":"x","remaining":1,"more":1}', b"\xff"]
)
def test_what_is_damaged_says_how_to_mend_it(tmp_path, content):
    write_kept(tmp_path, "intake", UndoResult(undone="x", remaining=3))
    (tmp_path / "kept" / "intake.json").write_bytes(content)
    with pytest.raises(StateError, match=r"intake\.json: cannot be read .*; remove the file"):
        read_kept(tmp_path, "intake", UndoResult)


def test_what_would_not_come_back_is_not_kept(tmp_path):
    with pytest.raises(InternalError):
        write_kept(tmp_path, "plan", Spread(low=float("nan"), high=1.0, unit="db", source=""))
    assert not (tmp_path / "kept").exists()


def test_paths_are_relative_with_forward_slashes(tmp_path):
    song, track = tmp_path / "songs" / "night bus", tmp_path / "tracks" / "Lead Vox.wav"
    song.mkdir(parents=True)
    assert relative_to_song(song, track) == "../../tracks/Lead Vox.wav"
    assert song_path(song, "../../tracks/Lead Vox.wav").resolve() == track
    assert relative_to_song(song, song / "mixes" / "a.wav") == "mixes/a.wav"


def test_relative_to_song_works_from_anywhere(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert relative_to_song(Path("song"), Path("tracks/a.wav")) == "../tracks/a.wav"


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_links_on_the_way_lead_to_the_same_file(tmp_path):
    """`..` of the system goes up from where a link leads (POSIX, pathname resolution), not from where it lies."""
    disk, home = tmp_path / "disk" / "far" / "away", tmp_path / "home"
    (disk / "song").mkdir(parents=True)
    home.mkdir()
    (home / "projects").symlink_to(disk)
    (home / "song").symlink_to(disk / "song")
    (home / "vox.wav").write_bytes(b"vox")
    (home / "link.wav").symlink_to(home / "vox.wav")
    (home / "tracks").symlink_to(home)
    for song in (disk / "song", home / "projects" / "song", home / "song"):
        for file in (home / "vox.wav", home / "tracks" / "vox.wav", home / "link.wav"):
            named = relative_to_song(song, file)
            assert song_path(song, named).read_bytes() == b"vox"
            assert Path(named).name == file.name
            assert not named.startswith("/")


@pytest.mark.parametrize("name", ["", "a\0b"])
def test_what_is_no_file_name(tmp_path, name):
    with pytest.raises(InputError):
        song_path(tmp_path, name)
