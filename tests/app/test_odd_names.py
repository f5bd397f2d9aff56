# SPDX-License-Identifier: Apache-2.0
"""What else lies in a folder of tracks, and what files are called: each has a report, nothing is waited for."""

from __future__ import annotations

import json
import os
import socket
import sys
import unicodedata
import zipfile
from html.parser import HTMLParser
from pathlib import Path

import msgspec
import numpy as np
import pytest

from malformed import RATE_HZ, chunk, fmt, riff
from mixwright.app.deliver import deliver
from mixwright.app.receiving import find_delivery
from mixwright.app.refresh import refresh
from mixwright.app.start import start
from mixwright.cli.output import Output
from mixwright.errors import InputError
from mixwright.io.decode import Decoder
from mixwright.io.kept import song_path
from mixwright.io.song_file import edit_song, load_song
from mixwright.model.results import StartResult
from mixwright.model.song import changed
from mixwright.report.figures import clean_record
from mixwright.report.text import start_text
from mixwright.report.warnings import warnings_of

linux = pytest.mark.skipif(sys.platform != "linux", reason="such names and files exist on Linux")


def sound(path: Path, seed: int = 1) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    # A tone, every seed its own: no drum, whose microphones would be searched for bleed.
    tone = 3000 * np.hanning(RATE_HZ) * np.sin(2 * np.pi * (200 + 10 * seed) / RATE_HZ * np.arange(RATE_HZ))
    path.write_bytes(riff(fmt(), chunk(b"data", tone.astype("<i2").tobytes())))
    return path


def told(result: StartResult) -> dict[str, str]:
    """What is said of each file, by its name."""
    return {track.file: "; ".join(fault.detail for fault in track.faults) for track in result.tracks}


def test_files_of_systems_are_counted_once(tmp_path: Path) -> None:
    tracks = tmp_path / "tracks"
    sound(tracks / "Kick.wav")
    for name in ("._Kick.wav", ".DS_Store", "Thumbs.db", "desktop.ini", "__MACOSX/._Kick.wav", "__MACOSX/x/y.wav"):
        sound(tracks / name, 2)
    (tracks / "lyrics.txt").write_text("la la")
    result = start(tracks, tmp_path / "song")
    assert [track.file for track in result.tracks] == ["Kick.wav"]
    assert (result.ignored_files, result.system_files, result.notes) == (7, 6, ())
    lines = "\n".join(start_text(result))
    assert "Left aside: 6 files of the operating system and 1 other file." in lines
    assert lines.count("DS_Store") == 0
    assert warnings_of(result) == ()


def test_a_folder_called_like_a_track_is_a_folder(tmp_path: Path) -> None:
    sound(tmp_path / "tracks" / "Kick.wav" / "Snare.wav")
    sound(tmp_path / "tracks" / "Bass.wav", 2)
    result = start(tmp_path / "tracks", tmp_path / "song")
    assert told(result) == {"Bass.wav": "", "Kick.wav/Snare.wav": ""}


@linux
def test_what_is_no_file_is_told_and_never_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tracks = tmp_path / "tracks"
    sound(tracks / "Kick.wav")
    os.mkfifo(tracks / "Pipe.wav")
    os.mkfifo(tracks / "pipe without an ending")
    (tracks / "Null.wav").symlink_to("/dev/null")
    (tracks / "Endless.wav").symlink_to("/dev/zero")
    (tracks / "Gone.wav").symlink_to(tmp_path / "absent.wav")
    (tracks / "Round.wav").symlink_to(tracks / "Trip.wav")
    (tracks / "Trip.wav").symlink_to(tracks / "Round.wav")
    (tracks / "again").symlink_to(tracks)
    monkeypatch.chdir(tracks)  # a socket's path may be no longer than 107 bytes
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind("Socket.wav")
        result = start(tracks, tmp_path / "song")
    says = told(result)
    assert {name for name, said in says.items() if "is not a file" in said} == {
        "Pipe.wav", "Null.wav", "Endless.wav", "Socket.wav",
    }  # fmt: skip
    assert "is a link to something that is not there" in says["Gone.wav"]
    assert "cannot be read" in says["Round.wav"]
    assert [track.file for track in result.tracks if track.use] == ["Kick.wav"]
    with Decoder(1) as decoder:
        assert len(find_delivery(tracks / "Pipe.wav", (), decoder).files) == 1


def test_an_archive_is_to_be_unpacked(tmp_path: Path) -> None:
    tracks = tmp_path / "tracks"
    sound(tracks / "Kick.wav")
    with zipfile.ZipFile(tracks / "rest.zip", "w") as archive:
        archive.writestr("Bass.wav", b"")
    (tmp_path / "copy.wav").write_bytes((tracks / "rest.zip").read_bytes())
    result = start(tracks, tmp_path / "song")
    assert result.notes == ("rest.zip is an archive and was not opened: unpack it.",)
    assert result.notes == warnings_of(result)
    with pytest.raises(InputError, match=r"rest\.zip: is an archive, not a folder; unpack it, and name the folder"):
        start(tracks / "rest.zip", tmp_path / "other")
    with pytest.raises(InputError, match=r"copy\.wav: is an archive"):
        start(tmp_path / "copy.wav", tmp_path / "other")


def test_what_lies_too_deep_is_told(tmp_path: Path) -> None:
    sound(tmp_path / "tracks" / "Kick.wav")
    sound(tmp_path / "tracks" / "drums" / "more" / "Snare.wav", 2)
    result = start(tmp_path / "tracks", tmp_path / "song")
    assert result.notes == (
        "drums/more/Snare.wav lies more than one folder down and was not read: name its folder, too.",
    )


def test_folders_and_files_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    tracks = tmp_path / "tracks"
    sound(tracks / "Kick.wav")
    sound(tracks / "mine" / "Bass.wav", 2)
    sound(tracks / "Pad.wav", 3)
    listing, opening = Path.iterdir, Path.open

    def iterdir(path: Path):
        if path.name == "mine" or path == tmp_path / "other":
            raise PermissionError(13, "Permission denied", str(path))
        return listing(path)

    def open_(path: Path, *arguments, **settings):
        if path.name == "Pad.wav":
            raise PermissionError(13, "Permission denied", str(path))
        return opening(path, *arguments, **settings)

    # Tests may run as a user who may read everything.
    monkeypatch.setattr(Path, "iterdir", iterdir)
    monkeypatch.setattr(Path, "open", open_)
    result = start(tracks, tmp_path / "song")
    assert result.notes == ("The folder mine cannot be read (Permission denied): see who may read it.",)
    assert told(result) == {"Kick.wav": "", "Pad.wav": "cannot be read (Permission denied); see who may read it"}
    (tmp_path / "other").mkdir()
    with pytest.raises(InputError, match=r"other: cannot be read \(Permission denied\); see who may read it"):
        start(tmp_path / "other", tmp_path / "second")


def test_a_song_is_no_folder_of_tracks(tmp_path: Path) -> None:
    sound(tmp_path / "tracks" / "Kick.wav")
    start(tmp_path / "tracks", tmp_path / "song")
    with pytest.raises(InputError, match="song: is a song already, not a folder of tracks"):
        start(tmp_path / "song", tmp_path / "other")


def test_a_song_among_its_tracks_is_never_taken_for_one(tmp_path: Path) -> None:
    tracks = tmp_path / "tracks"
    sound(tracks / "Kick.wav")
    start(tracks, tracks / "song")
    deliver(tracks / "song")
    sound(tracks / "Bass.wav", 2)
    assert [track.file for track in refresh(tracks / "song").added] == ["Bass.wav"]
    assert [track.file for track in start(tracks, tmp_path / "again").tracks] == ["Bass.wav", "Kick.wav"]


NAMES = [
    "-rf.wav",
    "--help.wav",
    "quote'\"`$(id)`.wav",
    "new\nline\r.wav",
    "tab\t\x1b[31mred.wav",
    "=cmd|' '!A1.wav",
    "<img src=x onerror=alert(1)>&amp;.wav",
    "\u05e9\u05dc\u05d5\u05dd.wav",  # right to left
    "turned \u202egnp.wav",  # an override of direction
    "\U0001f941 drums \U0001f468\u200d\U0001f3a4.wav",
    "\u97f3\u697d.wav",
    f"{'x' * 246}.wav",  # 250 characters
    "\u00e9" * 125 + "a.wav",  # 255 bytes
    "dots....wav",
    "ending with a space .wav",
    "no ending...",
    " .wav",
    "CON.wav",
    "nul",
    "COM1.wav",
    "a;b,c.wav",
    "back\\slash.wav",
    "{title}.wav",
    "[table].wav",
    'toml """ quotes.wav',
    "%s %d.wav",
    "Kick.wav",
    "KICK.wav",
    "kick.WAV",
    unicodedata.normalize("NFC", "Caf\u00e9.wav"),
    unicodedata.normalize("NFD", "Caf\u00e9.wav"),
]


class _Text(HTMLParser):
    """The text of a page, and the tags that it is made of."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.text = ""

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.tags.add(tag)

    def handle_data(self, data: str) -> None:
        self.text += data


@pytest.fixture(scope="module")
def odd(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, StartResult]:
    """A song of tracks with odd names, started from the command line."""
    folder = tmp_path_factory.mktemp("odd")
    for seed, name in enumerate(NAMES):
        sound(folder / "tracks" / name, seed)
    return folder, start(folder / "tracks", folder / "song")


@linux
def test_odd_names_are_tracks_with_ids_of_their_own(odd: tuple[Path, StartResult]) -> None:
    folder, result = odd
    assert len(result.tracks) == len(NAMES)
    assert all(track.use for track in result.tracks), [track for track in result.tracks if not track.use]
    assert all(track.file.isprintable() for track in result.tracks)
    ids = [track.id for track in result.tracks]
    assert len({id_.casefold() for id_ in ids}) == len(NAMES)
    # song.toml names every file as it is: to the letter, and to the Unicode form.
    song = load_song(folder / "song")
    assert {song_path(folder / "song", track.file).name for track in song.tracks} == set(NAMES)
    assert all(song_path(folder / "song", track.file).is_file() for track in song.tracks)


@linux
def test_odd_names_are_escaped_wherever_they_are_shown(
    odd: tuple[Path, StartResult], capsys: pytest.CaptureFixture[str]
) -> None:
    folder, result = odd
    lines = start_text(clean_record(result))
    assert all(line.isprintable() for line in lines)
    page = _Text()
    page.feed((folder / "song" / "page.html").read_text(encoding="utf-8"))
    assert "<img src=x onerror=alert(1)>&amp;.wav" in page.text
    assert "img" not in page.tags
    assert "\u202e" not in page.text
    output = Output()
    output.as_json = True
    output.show(result, start_text)
    printed = capsys.readouterr().out
    assert len(printed.splitlines()) == 1
    assert json.loads(printed)["result"]["tracks"] == json.loads(msgspec.json.encode(result.tracks))


@linux
def test_prints_of_odd_names_are_kept_apart(odd: tuple[Path, StartResult]) -> None:
    folder, _ = odd
    alike = ("Drums", "DRUMS", "CON", "../up", "\u202e", "Drums")

    def grouped(song):
        groups = [changed(song.groups[0], id=f"g{i}", name=name) for i, name in enumerate(alike)]
        tracks = [changed(track, group=groups[i % len(groups)].id) for i, track in enumerate(song.tracks)]
        return changed(song, groups=tuple(groups), tracks=tuple(tracks), moves=())

    edit_song(folder / "song", "groups", grouped)
    files = deliver(folder / "song").files
    names = [Path(file.file).name for file in files]
    assert len({name.casefold() for name in names}) == len(names) >= len(alike)
    assert all((folder / "song" / file.file).resolve().is_relative_to(folder / "song") for file in files)


def test_a_name_that_is_too_long_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is not there"):
        start(tmp_path / ("x" * 300), tmp_path / "song")
    sound(tmp_path / "tracks" / "Kick.wav")
    with pytest.raises(InputError, match=r"there is no such file|cannot be read|name too long"):
        start(tmp_path / "tracks", tmp_path / "song", rough=tmp_path / ("x" * 300))
