# SPDX-License-Identifier: Apache-2.0
"""`relink` finds moved files by what they hold, and changes nothing but their paths."""

from __future__ import annotations

import hashlib
import os
import shutil
import sys
from pathlib import Path

import pytest

from mixwright.app.decide import undo
from mixwright.app.relink import relink
from mixwright.errors import Cancelled, InputError
from mixwright.io.kept import song_path
from mixwright.io.song_file import create_song, load_song
from mixwright.jobs.progress import Cancel
from mixwright.model.files import files_of
from mixwright.model.song import Reference, Song, Track, changed


def write(path: Path, content: str) -> str:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(content)
    os.utime(path, (1e9, 1e9))
    return hashlib.sha256(content.encode()).hexdigest()


@pytest.fixture
def song(tmp_path: Path) -> Path:
    """A song of two tracks, a reference, a rough mix and a print: texts, since nothing here is decoded."""
    files = {name: write(tmp_path / "in" / f"{name}.wav", name) for name in ("kick", "vox", "record", "rough", "print")}
    created = Song(
        title="Moved",
        rate_hz=48000,
        tracks=tuple(Track(id=n, name=n, file=f"../in/{n}.wav", sha256=files[n]) for n in ("kick", "vox")),
        references=(Reference(id="record", file="../in/record.wav", sha256=files["record"]),),
        rough="../in/rough.wav",
        rough_sha256=files["rough"],
        mix_print="../in/print.wav",
        mix_print_sha256=files["print"],
    )
    create_song(tmp_path / "song", created)
    return tmp_path / "song"


def test_a_moved_folder_is_found(song: Path, tmp_path: Path) -> None:
    before = load_song(song)
    shutil.move(tmp_path / "in", tmp_path / "archive" / "2026" / "in")
    result = relink(song)
    assert [(moved.use, moved.id) for moved in result.found] == [
        ("track", "kick"), ("track", "vox"), ("reference", "record"), ("rough", "rough"), ("mix_print", "mix_print"),
    ]  # fmt: skip
    assert result.missing == ()
    assert result.found[0].was == "../in/kick.wav"
    assert result.found[0].file == "../archive/2026/in/kick.wav"
    after = load_song(song)
    for file in files_of(after):
        assert hashlib.sha256(song_path(song, file.file).read_bytes()).hexdigest() == file.sha256
    back = [(t.id, t.file.replace("archive/2026/", "")) for t in after.tracks]
    assert back == [(t.id, t.file) for t in before.tracks]
    assert undo(song).undone == "relink 5 moved files"
    assert load_song(song) == before


def test_only_what_is_missing_changes_and_only_to_the_same_content(song: Path, tmp_path: Path) -> None:
    before = load_song(song)
    shutil.copytree(tmp_path / "in", tmp_path / "copies")
    (tmp_path / "in" / "kick.wav").rename(tmp_path / "in" / "Kick (renamed).flac")
    (tmp_path / "in" / "vox.wav").unlink()
    write(tmp_path / "copies" / "vox.wav", "another take")
    (tmp_path / "copies" / "kick.wav").unlink()
    result = relink(song, tmp_path)
    assert [(moved.id, moved.file) for moved in result.found] == [("kick", "../in/Kick (renamed).flac")]
    assert [(lost.id, lost.why) for lost in result.missing] == [("vox", "nothing there holds the same")]
    after = load_song(song)
    assert after == changed(
        before, tracks=(changed(before.tracks[0], file="../in/Kick (renamed).flac"), *after.tracks[1:])
    )
    assert after.tracks[1] == before.tracks[1]


def test_the_copy_of_the_same_name_is_taken(song: Path, tmp_path: Path) -> None:
    (tmp_path / "in" / "kick.wav").unlink()
    write(tmp_path / "a" / "other.wav", "kick")
    write(tmp_path / "b" / "KICK.wav", "kick")
    assert relink(song).found[0].file == "../b/KICK.wav"


def test_nothing_is_read_when_nothing_is_missing(song: Path) -> None:
    text = (song / "song.toml").read_bytes()
    events = []
    result = relink(song, report=events.append)
    assert (result.found, result.missing, events) == ((), (), [])
    assert (song / "song.toml").read_bytes() == text


def test_files_of_the_same_name_are_read_first_and_no_more_than_needed(song: Path, tmp_path: Path) -> None:
    (tmp_path / "in" / "vox.wav").rename(tmp_path / "in" / "zz vox.wav")
    for i in range(40):
        write(tmp_path / "aa" / f"{i}.wav", str(i))
    (tmp_path / "zz").mkdir()
    (tmp_path / "in" / "zz vox.wav").rename(tmp_path / "zz" / "vox.wav")
    assert relink(song).found[0].file == "../zz/vox.wav"
    assert len(list((song / "cache").glob("*.json"))) <= 8  # what two threads had begun, of 40


def test_what_a_file_held_must_be_known(song: Path, tmp_path: Path) -> None:
    text = (song / "song.toml").read_text()
    rough = next(line for line in text.splitlines() if line.startswith("rough_sha256"))
    (song / "song.toml").write_text(text.replace(rough, ""))
    (tmp_path / "in" / "rough.wav").rename(tmp_path / "in" / "r.wav")
    (lost,) = relink(song).missing
    assert (lost.use, lost.why) == ("rough", "what it held is not known: correct its path in song.toml")


@pytest.mark.skipif(sys.platform == "win32", reason="no pipes in folders")
def test_links_pipes_and_names_that_are_no_text_do_no_harm(song: Path, tmp_path: Path) -> None:
    (tmp_path / "in" / "kick.wav").unlink()
    os.mkfifo(tmp_path / "kick.wav")
    (tmp_path / "loop").symlink_to(tmp_path)
    (tmp_path / "dead.wav").symlink_to(tmp_path / "nowhere")
    odd = os.fsencode(tmp_path) + b"/in/\xff.wav"
    with open(odd, "wb") as file:  # noqa: PTH123 - its name is bytes
        file.write(b"kick")
    assert [lost.id for lost in relink(song).missing] == ["kick"]


@pytest.mark.parametrize("name", ["\\u0000", "x" * 5000])
def test_a_name_that_cannot_be_one_is_missing(song: Path, name: str) -> None:
    text = (song / "song.toml").read_text()
    (song / "song.toml").write_text(text.replace("../in/kick.wav", name))
    (moved,) = relink(song).found
    assert (moved.id, moved.file) == ("kick", "../in/kick.wav")


def test_a_song_behind_a_link_finds_its_files(song: Path, tmp_path: Path) -> None:
    (tmp_path / "deep" / "er").mkdir(parents=True)
    (tmp_path / "linked").symlink_to(song.rename(tmp_path / "deep" / "er" / "song"))
    assert {moved.file for moved in relink(tmp_path / "linked", tmp_path / "in").found} >= {"../../../in/kick.wav"}
    assert all((tmp_path / "linked" / file.file).is_file() for file in files_of(load_song(tmp_path / "linked")))


def test_no_folder_and_a_stop(song: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is no folder; name the folder"):
        relink(song, tmp_path / "nowhere")
    (tmp_path / "in" / "kick.wav").rename(tmp_path / "in" / "k.wav")
    before = (song / "song.toml").read_bytes()
    cancel = Cancel()
    cancel.cancel()
    with pytest.raises(Cancelled):
        relink(song, cancel=cancel)
    assert (song / "song.toml").read_bytes() == before
