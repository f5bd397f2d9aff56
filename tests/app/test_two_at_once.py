# SPDX-License-Identifier: Apache-2.0
"""Two processes at once on one song: nothing is lost, and both end well."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from mixwright.io.song_file import create_song, history, load_song
from mixwright.jobs.parts import is_part
from mixwright.model.song import Group, Song, Track

RATE_HZ = 16000


@pytest.fixture
def song(tmp_path: Path) -> Path:
    tracks = []
    for number, name in enumerate(("vox", "kick", "pad")):
        time_s = np.arange(3 * RATE_HZ) / RATE_HZ
        sound = 0.2 * np.sin(2.0 * np.pi * (60.0 + 300.0 * number) * time_s)
        soundfile.write(tmp_path / f"{name}.wav", sound, RATE_HZ, subtype="PCM_24")
        role = "lead vocal" if name == "vox" else "other"
        tracks.append(Track(id=name, name=name, file=f"../{name}.wav", role=role, group="all"))
    made = Song(title="Two", rate_hz=RATE_HZ, tracks=tuple(tracks), groups=(Group(id="all", name="All"),))
    create_song(tmp_path / "song", made)
    return tmp_path / "song"


def run(song: Path, *command_lines: str) -> Iterator[str]:
    """Run command lines at once; yield what each printed."""
    runs = [
        subprocess.Popen(
            [sys.executable, "-m", "mixwright", *line.format(song=song).split(), "--progress", "none"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for line in command_lines
    ]
    for started in runs:
        out, err = started.communicate(timeout=120)
        assert (started.returncode, err) == (0, "")
        yield out


def left_behind(song: Path) -> list[Path]:
    return [path for path in song.parent.rglob("*") if is_part(path)]


def test_prints_a_mix_and_an_edit(song: Path) -> None:
    list(run(song, "deliver {song}", "mix {song}", "add {song} level pad -3"))
    assert [path.name for path in (song / "prints").iterdir()] == ["001"]
    assert len(list((song / "mixes").iterdir())) == 1
    assert [move.target for move in load_song(song).moves] == ["pad"]
    assert not left_behind(song)


def test_prints_while_the_cache_is_emptied(song: Path) -> None:
    list(run(song, "deliver {song}", "clean {song} --all", "deliver {song}"))
    first, second = (
        {path.name: path.read_bytes() for path in (song / "prints" / number).glob("*.wav")} for number in ("001", "002")
    )
    assert first == second
    assert len(first) == 5
    assert not left_behind(song)


def test_edits_and_an_undo(song: Path) -> None:
    list(run(song, "add {song} level vox -1", "add {song} level kick -2"))
    assert {move.target for move in load_song(song).moves} == {"vox", "kick"}
    assert len(history(song)) == 3
    list(run(song, "undo {song}", "add {song} level all -6"))
    assert (len(history(song)), len(load_song(song).moves)) == (3, 2)  # the older step is undone, or the newer
    assert not left_behind(song)
