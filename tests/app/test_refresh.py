# SPDX-License-Identifier: Apache-2.0
"""`refresh` adds what is new beside the tracks, and leaves all else as it is."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from intake_sounds import RATE_HZ, hits, tone, voice
from mixwright.app.decide import add
from mixwright.app.mix import mix
from mixwright.app.ready import Confirmed, check_ready
from mixwright.app.refresh import refresh
from mixwright.app.start import start
from mixwright.errors import Cancelled, InputError, OutputError, StateError
from mixwright.io.hashing import file_sha256
from mixwright.io.kept import read_kept, write_kept
from mixwright.io.song_file import edit_song, load_song
from mixwright.jobs.progress import Cancel
from mixwright.model.audio import Fault
from mixwright.model.results import StartResult
from mixwright.model.song import Song, changed

SECONDS = 6.0
KICK = hits("kick", np.arange(0, SECONDS, 0.5), SECONDS)
SNARE = hits("snare", np.arange(0.25, SECONDS, 0.5), SECONDS)
VOICE = voice([(220, 0.5), (247, 0.5), (0, 0.25), (262, 0.75)] * 3)
PAD = tone([(220, 3), (196, 3)])


def write(path: Path, audio: np.ndarray, rate_hz: int = RATE_HZ) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(path, audio, rate_hz, subtype="PCM_24")
    return path


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a song of a kick, a voice and a rough mix, decided on by an engineer."""
    folder = tmp_path_factory.mktemp("refresh")
    write(folder / "tracks" / "Kick.wav", KICK)
    write(folder / "tracks" / "Lead Vox.wav", VOICE)
    write(folder / "tracks" / "Rough Mix.wav", KICK + VOICE)
    song = folder / "song"
    start(folder / "tracks", song, title="Paper Harbour")
    add(song, "level kick -2 dB")

    def by_hand(now: Song) -> Song:
        kick, *others = now.tracks
        groups = tuple(
            changed(group, id="beat", name="Beat") if group.id == kick.group else group for group in now.groups
        )
        return changed(now, tracks=(changed(kick, group="beat", place="lead"), *others), groups=groups, lead=("kick",))

    edit_song(song, "by hand", by_hand)
    return folder


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "copy")
    return tmp_path / "copy"


def test_folders_far_below_one_another_are_all_looked_at(folder: Path) -> None:
    song = folder / "song"
    low = folder / "tracks" / "more" / "takes"
    low.mkdir(parents=True)
    (folder / "tracks" / "Lead Vox.wav").rename(low / "Lead Vox.wav")
    edit_song(song, "moved by hand", lambda now: changed(now, tracks=tuple(
        changed(track, file=track.file.replace("Lead", "more/takes/Lead")) for track in now.tracks)))  # fmt: skip
    write(low / "Pad.wav", PAD)
    assert [track.file for track in refresh(song).added] == ["takes/Pad.wav"]


def test_a_file_that_cannot_be_read_is_not_told_as_changed(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def digest(path: Path, *others: object) -> str:
        if path.name == "Kick.wav":
            raise InputError("cannot be read")
        return file_sha256(path, *others)

    monkeypatch.setattr("mixwright.app.refresh.file_sha256", digest)
    result = refresh(folder / "song")
    assert (result.changed, result.missing) == ((), ())
    assert result.notes == ("../tracks/Kick.wav cannot be read: see who may read it.",)


def test_nothing_new_changes_nothing(folder: Path) -> None:
    before = (folder / "song" / "song.toml").read_bytes()
    result = refresh(folder / "song")
    assert (result.added, result.changed, result.missing, result.copies, result.notes) == ((), (), (), (), ())
    assert (folder / "song" / "song.toml").read_bytes() == before


def test_new_files_become_tracks_and_the_rest_stays(folder: Path) -> None:
    song = folder / "song"
    before = load_song(song)
    write(folder / "tracks" / "Snare.wav", SNARE)
    write(folder / "tracks" / "more" / "Pad.wav", np.stack([PAD, 0.9 * PAD], axis=1))
    (folder / "tracks" / "broken.wav").write_bytes(b"RIFF nothing of worth")
    (folder / "tracks" / "notes.txt").write_text("louder please")
    result = refresh(song)
    assert {(track.id, track.role, track.use) for track in result.added} == {
        ("snare", "snare", True), ("pad", "pad", True), ("broken", "unknown", False),
    }  # fmt: skip
    after = load_song(song)
    assert after.tracks[: len(before.tracks)] == before.tracks
    assert changed(after, tracks=(), groups=()) == changed(before, tracks=(), groups=())
    assert after.groups[: len(before.groups)] == before.groups
    new = {track.id: track for track in after.tracks[len(before.tracks) :]}
    assert new["snare"].group == "beat"  # where the drums of this song are now
    assert new["snare"].file == "../tracks/Snare.wav"
    assert new["pad"].file == "../tracks/more/Pad.wav"
    assert new["broken"].why.startswith("unreadable")
    kept = read_kept(song, "intake", StartResult)
    assert kept.tracks[-3:] == result.added
    assert "Snare" in (song / "page.html").read_text()
    assert mix(song).moves == ("level-kick-" + before.moves[0].id.rsplit("-", 1)[1],)
    assert refresh(song).added == ()


def test_of_a_bounce_that_is_taken_the_intake_tells_what_it_holds(folder: Path) -> None:
    song, file = folder / "song", folder / "tracks" / "Kick.wav"
    before = read_kept(song, "intake", StartResult)
    kick, *others = before.tracks
    cut = Fault(kind="truncated", severity="look", detail="")
    write_kept(song, "intake", changed(before, tracks=(changed(kick, faults=(cut,)), *others)))
    with pytest.raises(StateError, match="1 damaged track: kick"):
        check_ready(song, load_song(song), Confirmed())
    write(file, np.stack([KICK, 0.5 * KICK], axis=1))
    result = refresh(song, take=True)
    assert ([bounce.track for bounce in result.taken], result.added, result.notes) == (["kick"], (), ())
    check_ready(song, load_song(song), Confirmed())
    intake = read_kept(song, "intake", StartResult)
    assert [track.id for track in intake.tracks] == [track.id for track in before.tracks]
    assert intake.tracks[0].channels == 2
    damaged = KICK.copy()
    damaged[1000:1010] = np.nan
    soundfile.write(file, damaged, RATE_HZ, subtype="FLOAT")
    result = refresh(song, take=True)
    assert any(note.startswith("Kick.wav: damaged samples") for note in result.notes)
    with pytest.raises(StateError, match="1 damaged track: kick"):
        check_ready(song, load_song(song), Confirmed())
    assert refresh(song).added == ()


def test_a_changed_file_is_told_and_never_taken(folder: Path) -> None:
    song = folder / "song"
    before = load_song(song)
    write(folder / "tracks" / "Kick.wav", 0.5 * SNARE)
    result = refresh(song)
    assert [(track.id, track.file) for track in result.changed] == [("kick", "../tracks/Kick.wav")]
    assert result.added == ()
    assert load_song(song) == before


def test_a_moved_file_and_a_copy_are_no_new_tracks(folder: Path) -> None:
    song = folder / "song"
    before = load_song(song)
    (folder / "tracks" / "Kick.wav").rename(folder / "tracks" / "BD.wav")
    shutil.copy(folder / "tracks" / "Lead Vox.wav", folder / "tracks" / "Lead Vox copy.wav")
    result = refresh(song)
    assert [track.id for track in result.missing] == ["kick"]
    assert {(copy.file, copy.id) for copy in result.copies} == {
        ("../tracks/BD.wav", "kick"), ("../tracks/Lead Vox copy.wav", "lead-vox"),
    }  # fmt: skip
    assert (result.added, load_song(song)) == ((), before)


def test_ids_are_never_given_twice(folder: Path) -> None:
    song = folder / "song"
    edit_song(song, "out", lambda now: changed(now, tracks=tuple(t for t in now.tracks if t.id != "lead-vox")))
    (folder / "tracks" / "Lead Vox.wav").unlink()
    write(folder / "tracks" / "lead vox.flac", VOICE[::-1])
    write(folder / "tracks" / "more" / "Kick.wav", SNARE)
    assert {track.id for track in refresh(song).added} == {"lead-vox-2", "kick-2"}


def test_a_track_that_reads_as_one_with_another_is_left_to_a_person(folder: Path) -> None:
    song = folder / "song"
    write(folder / "tracks" / "Kick Out.wav", np.roll(0.6 * KICK, 20))
    result = refresh(song)
    assert [track.id for track in result.added] == ["kick-out"]
    assert all(track.source == "" for track in load_song(song).tracks)
    assert result.notes == ("kick-out may read as one layer with kick: give them one source in song.toml if so.",)


def test_new_tracks_that_read_as_one_get_a_source(folder: Path) -> None:
    song = folder / "song"
    write(folder / "tracks" / "Snare Top.wav", SNARE)
    write(folder / "tracks" / "Snare Bottom.wav", -0.5 * np.roll(SNARE, 9))
    result = refresh(song)
    (source,) = load_song(song).sources
    assert {track.source for track in result.added} == {source.id}
    write(folder / "tracks" / "Snare Side.wav", 0.4 * np.roll(SNARE, 14))
    (side,) = refresh(song).added
    assert side.source == source.id
    assert load_song(song).sources == (source,)


def test_mixes_in_the_song_folder_are_no_tracks(folder: Path) -> None:
    song = folder / "song"
    for name in ("Kick.wav", "Lead Vox.wav"):
        shutil.move(folder / "tracks" / name, song / name)
    edit_song(
        song,
        "in",
        lambda now: changed(now, tracks=tuple(changed(t, file=t.file.split("/")[-1]) for t in now.tracks[:2])),
    )
    mix(song)
    assert refresh(song).added == ()
    write(song / "Snare.wav", SNARE)
    assert [track.id for track in refresh(song).added] == ["snare"]


def test_a_stop_changes_nothing(folder: Path) -> None:
    song = folder / "song"
    write(folder / "tracks" / "Snare.wav", SNARE)
    before = (song / "song.toml").read_bytes()
    cancel = Cancel()
    cancel.cancel()
    with pytest.raises(Cancelled):
        refresh(song, cancel=cancel)
    assert (song / "song.toml").read_bytes() == before


def test_too_little_space_is_told_beforehand(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write(folder / "tracks" / "Snare.wav", SNARE)
    usage = shutil.disk_usage(folder)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage._replace(free=1000))
    with pytest.raises(OutputError, match=r"this may take \d\.\d MB of disk space, 0\.0 MB can be used"):
        refresh(folder / "song")


def test_two_at_once_add_each_file_once(folder: Path) -> None:
    song = folder / "song"
    write(folder / "tracks" / "Snare.wav", SNARE)
    code = "import sys, pathlib, mixwright; print(len(mixwright.refresh(pathlib.Path(sys.argv[1])).added))"
    runs = [subprocess.Popen([sys.executable, "-c", code, str(song)], stdout=subprocess.PIPE, text=True) for _ in "12"]
    assert sorted(run.communicate()[0] for run in runs) == ["0\n", "1\n"]
    assert [track.id for track in load_song(song).tracks].count("snare") == 1


KILLED = """
import os, pathlib, signal, sys
from mixwright.app import refresh as module
setattr(module, sys.argv[2], lambda *_: os.kill(os.getpid(), signal.SIGKILL))
module.refresh(pathlib.Path(sys.argv[1]))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
@pytest.mark.parametrize(
    ("moment", "left"), [("_understood", 1), ("edit_song", 1), ("write_kept", 1), ("write_page", 0)]
)
def test_a_kill_leaves_the_old_song_or_the_new_one(folder: Path, moment: str, left: int) -> None:
    song = folder / "song"
    write(folder / "tracks" / "Snare.wav", SNARE)
    before = load_song(song)
    assert subprocess.run([sys.executable, "-c", KILLED, str(song), moment], check=False).returncode == -9
    assert (load_song(song) == before) == (moment in ("_understood", "edit_song"))
    assert [track.id for track in refresh(song).added] == ["snare"] * left  # what was added untold is told now
    intake = read_kept(song, "intake", StartResult)
    assert [track.id for track in intake.tracks] == [*(track.id for track in before.tracks), "snare"]
    assert [track.id for track in load_song(song).tracks] == [*(track.id for track in before.tracks), "snare"]
    assert not [path for path in song.rglob(".mixwright-*") if path.parent.name != "cache"]
    assert not list((song / "cache").glob(".mixwright-*"))
