# SPDX-License-Identifier: Apache-2.0
"""`start` on folders of real files, made by code."""

from __future__ import annotations

import hashlib
import os
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile

from intake_sounds import RATE_HZ, hits, tone, voice
from mixwright.app.start import start
from mixwright.errors import Cancelled, InputError, OutputError, SettingError
from mixwright.io.kept import read_kept, song_path
from mixwright.io.song_file import load_song
from mixwright.jobs.progress import Cancel
from mixwright.model.results import StartResult

SECONDS = 8.0
KICK = hits("kick", np.arange(0, SECONDS, 0.5), SECONDS)
VOICE = voice([(220, 0.5), (247, 0.5), (0, 0.25), (262, 0.75)] * 4)
PAD = tone([(220, 4), (196, 4)])


def write(path: Path, audio: np.ndarray, rate_hz: int = RATE_HZ, **settings: str) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    soundfile.write(path, audio, rate_hz, **({"subtype": "PCM_24"} | settings))
    return path


def digests(folder: Path) -> dict[str, str]:
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.rglob("*") if p.is_file()
    }


@pytest.fixture
def delivery(tmp_path: Path) -> Path:
    tracks = tmp_path / "from artist" / "Paper Harbour"
    write(tracks / "Tom 10.wav", 0.3 * KICK)
    write(tracks / "Tom 2.wav", 0.5 * KICK)
    write(tracks / "Kick", KICK, format="WAV")
    write(tracks / "voices" / "LV.flac", VOICE)
    write(tracks / "Pad.aiff", np.stack([PAD, 0.9 * PAD], axis=1))
    write(tracks / "RoughMix_v3.wav", KICK + VOICE + PAD)
    (tracks / "broken.wav").write_bytes(b"RIFF nothing of worth")
    (tracks / "notes.txt").write_text("louder please")
    (tracks / ".DS_Store").write_bytes(b"\0" * 64)
    write(tracks / "._Kick.wav", KICK)
    write(tracks / "too" / "deep" / "Hats.wav", KICK)
    return tracks


def test_a_folder_becomes_a_song(delivery, tmp_path):
    before = digests(delivery)
    reference = write(tmp_path / "records" / "one.wav", np.stack([PAD, KICK], axis=1), 44100)
    result = start(delivery, tmp_path / "song", references=[reference])
    assert digests(delivery) == before
    files = [track.file for track in result.tracks]
    assert files == ["broken.wav", "Kick", "Pad.aiff", "RoughMix_v3.wav", "Tom 2.wav", "Tom 10.wav", "voices/LV.flac"]
    assert {track.id: track.use for track in result.tracks} == {
        "broken": False, "kick": True, "pad": True, "roughmix-v3": False, "tom-2": True, "tom-10": True, "lv": True,
    }  # fmt: skip
    assert result.ignored_files == 4
    assert (result.title, result.rate_hz, result.lead_guess) == ("Paper Harbour", RATE_HZ, "lv")
    song = load_song(tmp_path / "song")
    assert song.title == "Paper Harbour"
    assert song.lead == ()
    for track in song.tracks:
        path = song_path(tmp_path / "song", track.file)
        assert path.is_file()
        if track.use:
            assert track.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert song_path(tmp_path / "song", song.references[0].file).samefile(reference)
    # The one file that reads as a mix is taken for the rough mix, and asked about.
    assert song_path(tmp_path / "song", song.rough).samefile(delivery / "RoughMix_v3.wav")
    assert song.rough_sha256 == before["RoughMix_v3.wav"]
    assert any("RoughMix_v3.wav" in question for question in result.questions)
    assert read_kept(tmp_path / "song", "intake", StartResult) == result


def test_a_given_rough_mix_is_no_track_and_settings_are_kept(delivery, tmp_path):
    rough = delivery / "RoughMix_v3.wav"
    result = start(delivery, tmp_path / "song", rough=rough, rate_hz=48000, title="Other", tempo_bpm=97.0)
    assert "RoughMix_v3.wav" not in [track.file for track in result.tracks]
    song = load_song(tmp_path / "song")
    assert (song.title, song.rate_hz, song.tempo_bpm) == ("Other", 48000, 97.0)
    assert song_path(tmp_path / "song", song.rough).samefile(rough)
    assert song.rough_sha256 == hashlib.sha256(rough.read_bytes()).hexdigest()
    assert {fault.kind for track in result.tracks if track.use for fault in track.faults} >= {"rate_differs"}


def test_layers_as_mixed_with_their_print(delivery, tmp_path):
    start(delivery, tmp_path / "song", as_mixed=True)
    song = load_song(tmp_path / "song")
    assert (song.tracks_are, song.pan_law_db, song.rough) == ("as mixed", 0.0, "")
    assert song_path(tmp_path / "song", song.mix_print).samefile(delivery / "RoughMix_v3.wav")
    with pytest.raises(SettingError, match="as mixed"):
        start(delivery, tmp_path / "other", mix_print=delivery / "RoughMix_v3.wav")


def test_several_files_instead_of_a_folder(delivery, tmp_path):
    result = start([delivery / "Tom 10.wav", delivery / "Kick"], tmp_path / "song")
    assert [track.file for track in result.tracks] == ["Kick", "Tom 10.wav"]
    with pytest.raises(InputError, match="is not there"):
        start([delivery / "absent.wav"], tmp_path / "other")


def test_several_folders_and_files_each_file_once(delivery, tmp_path):
    again = write(tmp_path / "from artist" / "later" / "Kick.wav", VOICE[::-1])
    named = [delivery, again.parent, delivery / "Kick", again, write(tmp_path / "from artist" / "Bell.wav", PAD)]
    result = start(named, tmp_path / "song")
    files = [track.file for track in result.tracks if track.use]
    kept = ["Kick", "Pad.aiff", "Tom 2.wav", "Tom 10.wav", "voices/LV.flac"]
    assert files == ["Bell.wav", "later/Kick.wav", *(f"Paper Harbour/{name}" for name in kept)]
    assert result.ignored_files == 4
    assert result.title == "from artist"


def refused(tmp_path: Path, error: type[Exception], match: str, **arguments) -> None:
    """Nothing may be written when `start` refuses."""
    before = digests(tmp_path)
    with pytest.raises(error, match=match):
        start(arguments.pop("tracks"), arguments.pop("into", tmp_path / "song"), **arguments)
    assert digests(tmp_path) == before
    assert not (tmp_path / "song").exists()


def test_refusals_write_nothing(delivery, tmp_path):
    (tmp_path / "taken").mkdir()
    refused(tmp_path, OutputError, "exists already", tracks=delivery, into=tmp_path / "taken")
    refused(tmp_path, SettingError, "8000 to 384000", tracks=delivery, rate_hz=100)
    refused(tmp_path, SettingError, "20 to 400", tracks=delivery, tempo_bpm=0.0)
    refused(tmp_path, InputError, "not there", tracks=tmp_path / "absent")
    bad = tmp_path / "bad.wav"
    bad.write_text("no audio")
    refused(tmp_path, InputError, "bad.wav", tracks=delivery, references=[bad])
    wide = write(tmp_path / "wide.wav", np.zeros((RATE_HZ, 6)))
    refused(tmp_path, InputError, "6 channels; a finished mix has one or two", tracks=delivery, references=[wide])
    refused(tmp_path, InputError, "absent.wav", tracks=delivery, rough=tmp_path / "absent.wav")
    empty = tmp_path / "empty"
    empty.mkdir()
    refused(tmp_path, InputError, "no audio files", tracks=empty)
    write(empty / "silence.wav", np.zeros(1000))
    (empty / "broken.flac").write_bytes(b"fLaC")
    refused(tmp_path, InputError, "none of the 2 files can be used", tracks=empty)


def test_a_disk_that_is_too_small_is_told_beforehand(delivery, tmp_path, monkeypatch):
    monkeypatch.setattr("shutil.disk_usage", lambda _: SimpleNamespace(free=256 << 20))
    refused(tmp_path, OutputError, r"this may take \d+\.\d MB of disk space, 0\.0 MB can be used", tracks=delivery)


def test_a_cancelled_start_leaves_nothing(delivery, tmp_path):
    cancel = Cancel()
    cancel.cancel()
    refused(tmp_path, Cancelled, "stopped", tracks=delivery, cancel=cancel)


def test_progress_is_told(delivery, tmp_path):
    told = []
    start(delivery, tmp_path / "song", report=told.append)
    assert told[0].done == 0
    assert told[-1].done == told[-1].total == 7


def test_other_songs_inside_the_folder_are_not_tracks(delivery, tmp_path):
    start(delivery, delivery / "song")
    write(delivery / "song" / "mix.wav", KICK)
    again = start(delivery, tmp_path / "again")
    assert [track.file for track in again.tracks] == [
        "broken.wav", "Kick", "Pad.aiff", "RoughMix_v3.wav", "Tom 2.wav", "Tom 10.wav", "voices/LV.flac",
    ]  # fmt: skip


@pytest.mark.skipif(sys.platform != "linux", reason="names that are no text exist on Linux only")
def test_hostile_names(tmp_path):
    tracks = tmp_path / "tracks"
    write(tracks / "Kick.wav", KICK)
    for name in (b"Ba\xffss.wav", b"LV\x1b[31m\n.wav", b"<b>Pad'\".wav"):
        (tracks / os.fsdecode(name)).write_bytes((tracks / "Kick.wav").read_bytes())
    result = start(tracks, tmp_path / "song")
    assert all(track.file.isprintable() for track in result.tracks)
    assert all(question.isprintable() for question in result.questions)
    song = load_song(tmp_path / "song")
    used = [track for track in song.tracks if track.use]
    assert len(used) == 1
    unreadable = [track for track in result.tracks if any(fault.kind == "unreadable" for fault in track.faults)]
    assert [track.file for track in unreadable] == ["Ba\\udcffss.wav"]
