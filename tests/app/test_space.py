# SPDX-License-Identifier: Apache-2.0
"""Disk space: stated beforehand, never less than is taken, never twice as much; refused where it does not fit."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from mixwright.app.deliver import deliver
from mixwright.app.measure import measure
from mixwright.app.mix import mix
from mixwright.app.plan import plan
from mixwright.app.refresh import refresh
from mixwright.app.start import start
from mixwright.errors import OutputError
from mixwright.io.song_file import edit_song, load_song
from mixwright.jobs import space
from mixwright.jobs.progress import Progress
from mixwright.jobs.space import SPARE_BYTES, require_space
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.filters import Pass
from mixwright.model.song import Section, Song, Track, changed
from mixwright.model.strip import Limiter

SECONDS = 10


def write(path: Path, hz: float, rate_hz: int = 44100, channels: int = 2) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    frames = SECONDS * rate_hz
    rng = np.random.default_rng(round(hz))
    swing = np.sin(2.0 * np.pi * hz * np.arange(frames) / rate_hz) * (np.arange(frames) % rate_hz < rate_hz // 2)
    soundfile.write(path, (0.1 * swing[:, None] + 0.01 * rng.standard_normal((frames, channels))), rate_hz, "PCM_24")


@pytest.fixture(scope="module")
def received(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("received")
    write(folder / "tracks" / "Lead Vox.wav", 700.0, channels=1)
    write(folder / "tracks" / "Pad.wav", 400.0)
    write(folder / "tracks" / "Kick.wav", 60.0, rate_hz=32000, channels=1)
    write(folder / "record.wav", 500.0)
    return folder


def grown(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def with_everything(now: Song) -> Song:
    """Return a song whose tracks have filters, and whose master is compressed and limited."""
    tracks = tuple(changed(t, strip=changed(t.strip, high_pass=Pass(hz=40.0))) for t in now.tracks)
    master = changed(now.master, inserts=(Compressor(threshold_db=-20.0, ratio=2.0),), limiter=Limiter())
    return changed(now, tracks=tracks, master=master)


def test_what_is_stated_is_enough_and_not_twice_as_much(
    received: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each command on what the ones before it left: decoded, at another rate, filtered, rendered, printed."""
    monkeypatch.setattr(space, "_WORTH_TELLING", 0)
    stated: list[str] = []

    def asked(needs: list[tuple[Path, int]], report: object) -> None:
        stated.append(sum(size for _, size in needs))
        require_space(needs, report)

    for module in ("receiving", "session"):
        monkeypatch.setattr(f"mixwright.app.{module}.require_space", asked)
    song = tmp_path / "song"
    work = shutil.copytree(received, tmp_path / "in")
    steps: dict[str, Callable[[], object]] = {
        "start": lambda: start(work / "tracks", song, references=[work / "record.wav"]),
        "plan": lambda: plan(song, lead="lead-vox"),
        "mix": lambda: mix(song),
        "deliver": lambda: deliver(song, undecided_ok=[move.id for move in load_song(song).moves]),
        "refresh": lambda: refresh(song),
        "measure, no cache": lambda: measure(song),
    }
    for name, step in steps.items():
        if name == "mix":
            edit_song(song, "filters", with_everything)
        if name == "refresh":
            write(work / "tracks" / "Snare.wav", 300.0)
        if name.endswith("no cache"):
            shutil.rmtree(song / "cache")
        before = grown(tmp_path)
        step()
        (told,), took = stated, grown(tmp_path) - before
        assert took <= told <= 2 * took, (name, took, told)
        stated.clear()
    measure(song)
    assert stated[0] < 3e6, "everything was in the cache"


def test_how_layers_are_heard_is_stated_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Many short sections, and audio that lies there already: what is kept of hearing is most of what it takes."""
    for k in range(5):
        write(
            tmp_path / "tracks" / f"{['Pad', 'Keys', 'Organ', 'Strings', 'Brass'][k]}.wav", 100.0 * (k + 1), channels=1
        )
    song = tmp_path / "song"
    start(tmp_path / "tracks", song)
    sections = tuple(Section(name=f"{k}", start_s=k, end_s=k + 1) for k in range(SECONDS))
    edit_song(song, "sections", lambda now: changed(now, sections=sections))
    stated: list[int] = []
    monkeypatch.setattr("mixwright.app.session.require_space", lambda needs, _: stated.append(needs[0][1]))
    before = grown(song)
    measure(song)
    took = grown(song) - before
    assert 2e6 < took <= stated[0] <= 2 * took
    # What is heard first is changed last: all of it is heard again.
    before = grown(song)
    edit_song(song, "one lower", lambda now: changed(now, tracks=(lower(now.tracks[0]), *now.tracks[1:])))
    measure(song)
    took = grown(song) - before
    assert 2e6 < took <= stated[1] <= 2 * took


def lower(track: Track) -> Track:
    return changed(track, strip=changed(track.strip, fader_db=-3.0))


def test_it_is_told_beforehand_and_refused_in_full(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    free = SPARE_BYTES + 2_000_000_000
    monkeypatch.setattr("shutil.disk_usage", lambda _: shutil._ntuple_diskusage(10**13, 0, free))  # type: ignore[attr-defined]
    told: list[Progress] = []
    require_space([(tmp_path / "song", 1_500_000_000), (tmp_path, 400_000_000)], told.append)
    (line,) = told
    assert line.note == "up to 1.9 GB will be used, 2.0 GB can be"
    with pytest.raises(OutputError) as refused:
        require_space([(tmp_path / "song", 1_500_000_000), (tmp_path, 600_000_000)], told.append)
    assert "this may take 2.1 GB of disk space, 2.0 GB can be used" in str(refused.value)
    assert "free some space" in refused.value.hint
    require_space([(tmp_path, 1_000_000)], told.append)
    assert len(told) == 1  # small work is not worth a line


def test_every_command_refuses_before_it_works(received: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    song = tmp_path / "song"
    start(received / "tracks", song)
    edit_song(song, "lead", lambda now: changed(now, lead=("lead-vox",)))
    shutil.rmtree(song / "cache")
    write(received / "tracks" / "Late.wav", 200.0)
    before = {path: path.stat().st_mtime_ns for path in song.rglob("*")}
    full = shutil._ntuple_diskusage(10**10, 10**10, SPARE_BYTES + 1000)  # type: ignore[attr-defined]
    monkeypatch.setattr("shutil.disk_usage", lambda _: full)
    for command in (plan, measure, mix, deliver, refresh):
        with pytest.raises(OutputError, match=r"this may take \d+\.\d [MG]B of disk space, 0\.0 [MG]B can be used"):
            command(song)
    kept = {path: at for path, at in before.items() if path.is_file() and path.suffix != ".lock"}
    assert {path: path.stat().st_mtime_ns for path in kept} == kept
    assert not [*song.rglob("*.npy")]
