# SPDX-License-Identifier: Apache-2.0
"""A small invented song, printed whole: names, lengths, sums, refusals, kills."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from mixwright.app.deliver import deliver
from mixwright.app.mix import mix
from mixwright.errors import Cancelled, OutputError, SettingError, StateError
from mixwright.io.kept import read_kept
from mixwright.io.song_file import create_song, edit_song
from mixwright.io.write import write_wav
from mixwright.jobs.progress import Cancel
from mixwright.meter.measure import measure
from mixwright.model.filters import EqBand, Pass
from mixwright.model.prints import DeliverResult
from mixwright.model.song import Group, Move, Send, Song, Track, changed
from mixwright.model.strip import Master, Strip

RATE_HZ = 48000
FRAMES = 60_000


def invented_song() -> Song:
    def track(name: str, role: str, group: str, strip: Strip, **more: object) -> Track:
        return Track(id=name, name=name, file=f"../tracks/{name}.wav", role=role, group=group, strip=strip, **more)  # type: ignore[arg-type]

    tracks = (
        track("kick", "kick", "drums", Strip(fader_db=-3.0, high_pass=Pass(hz=30.0))),
        track("hats", "hats", "drums", Strip(pan=0.4), start_frame=1000),
        track("bass", "bass", "", Strip(eq=(EqBand(hz=120.0, gain_db=3.0),))),
        track("lead", "lead vocal", "vocals", Strip(fader_db=-1.0), sends={"room": -12.0}),
        track("choir", "backing vocal", "vocals", Strip(left=-0.7, right=0.7)),
    )
    groups = (Group(id="drums", name="Drums", strip=Strip(fader_db=1.0)), Group(id="vocals", name="Vocals"))
    return Song(
        title="Night Bus",
        artist="Invented Artist",
        rate_hz=RATE_HZ,
        tracks=tracks,
        groups=groups,
        sends=(Send(id="room", name="Room", strip=Strip(delay_ms=20.0)),),
        master=Master(eq=(EqBand(kind="high_shelf", hz=8000.0, gain_db=1.0, q=0.7),)),
    )


@pytest.fixture(scope="session")
def received(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("invented")
    (folder / "tracks").mkdir()
    noise = np.random.default_rng(11)
    for i, track in enumerate(invented_song().tracks):
        audio = noise.uniform(-0.15, 0.15, (FRAMES - 1000 * i, 2 if track.id == "choir" else 1))
        write_wav(
            folder / "tracks" / f"{track.id}.wav",
            [audio],
            rate_hz=RATE_HZ,
            channels=audio.shape[1],
            frames=len(audio),
            sample_format="pcm24",
        )
    create_song(folder / "song", invented_song())
    deliver(folder / "song")
    return folder


@pytest.fixture
def song(received: Path, tmp_path: Path) -> Path:
    """Return a copy of the song, its cache filled, without prints."""
    shutil.copytree(received, tmp_path / "invented", ignore=shutil.ignore_patterns("prints"))
    return tmp_path / "invented" / "song"


def edit(song: Path, change: Callable[[Song], Song]) -> None:
    edit_song(song, "test", change)


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


def test_what_is_delivered(received: Path) -> None:
    song, folder = received / "song", received / "song" / "prints" / "001"
    stems = [f"NightBus_{name}_48k{depth}.wav" for depth in ("24", "32f") for name in ("Drums", "Vocals", "Other")]
    mixes = [f"NightBus_{name}_48k24.wav" for name in ("Main", "Instrumental", "ACappella")]
    assert sorted(contents(folder)) == sorted([*mixes, *stems, "manifest.json", "prints.txt", "SHA256SUMS"])
    for name in [*mixes, *stems]:
        info = soundfile.info(folder / name)
        assert (info.frames, info.channels, info.samplerate) == (FRAMES, 2, RATE_HZ)
        assert info.subtype == ("FLOAT" if "32f" in name else "PCM_24")
    kept = read_kept(song, "deliver", DeliverResult)
    assert kept is not None
    assert (kept.folder, kept.manifest) == ("prints/001", "prints/001/manifest.json")
    assert [check.name for check in kept.checks if not check.passed] == []
    assert (song / "page.html").exists()


def test_stems_add_up_to_the_mix_and_say_so(received: Path) -> None:
    folder = received / "song" / "prints" / "001"
    audio = {name: soundfile.read(folder / name)[0] for name in contents(folder) if name.endswith(".wav")}
    main = audio["NightBus_Main_48k24.wav"]
    for depth in ("24", "32f"):
        total = sum(audio[f"NightBus_{name}_48k{depth}.wav"] for name in ("Drums", "Vocals", "Other"))
        assert np.max(np.abs(total - main)) < 10 ** (-90 / 20)
    total = audio["NightBus_Instrumental_48k24.wav"] + audio["NightBus_ACappella_48k24.wav"]
    assert np.max(np.abs(total - main)) < 10 ** (-90 / 20)
    assert np.max(np.abs(main)) > 0.1
    assert np.max(np.abs(audio["NightBus_Vocals_48k32f.wav"])) > 0.1


def test_a_mix_that_begins_and_ends_with_a_step_is_faded_there(received: Path) -> None:
    folder = received / "song" / "prints" / "001"
    audio = soundfile.read(folder / "NightBus_Main_48k24.wav")[0]
    whole = soundfile.read(received / "song" / mix(received / "song").file)[0]
    assert np.abs(whole[0]).max() > 0.01
    assert np.abs(audio[0]).max() < 1e-6
    # Half way through the 48 frames a fade of 3 x^2 - 2 x^3 lets a half through (by hand).
    assert audio[24] == pytest.approx(0.5 * whole[24], abs=1e-6)
    np.testing.assert_allclose(audio[48:-48], whole[48:-48], atol=1e-6)
    kept = read_kept(received / "song", "deliver", DeliverResult)
    assert kept is not None
    assert next(one.detail for one in kept.checks if one.name == "files start and end in quiet").startswith(
        "a print begins"
    )


def test_levels_and_digests_are_those_of_the_files(received: Path) -> None:
    folder = received / "song" / "prints" / "001"
    manifest = json.loads((folder / "manifest.json").read_bytes())
    assert manifest["frames"] == FRAMES
    for entry in manifest["files"]:
        levels = measure(soundfile.read(folder / entry["file"])[0], RATE_HZ)
        assert entry["integrated_lufs"] == pytest.approx(levels.integrated_lufs, abs=0.001)
        assert entry["true_peak_dbtp"] == pytest.approx(levels.true_peak_dbtp, abs=0.001)


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="needs sha256sum")
def test_sha256sum_accepts_the_manifest(received: Path) -> None:
    folder = received / "song" / "prints" / "001"
    run = subprocess.run(["sha256sum", "--strict", "-c", "SHA256SUMS"], cwd=folder, capture_output=True, check=False)
    assert run.returncode == 0
    assert len(run.stdout.splitlines()) == len(contents(folder)) - 1


def test_a_reprint_is_the_same_to_the_byte_and_overwrites_nothing(song: Path, received: Path) -> None:
    shutil.rmtree(song / "cache")
    first = deliver(song)
    before = contents(song / first.folder)
    second = deliver(song)
    assert (first.folder, second.folder) == ("prints/001", "prints/002")
    assert contents(song / "prints/001") == before == contents(song / "prints/002")
    assert before == contents(received / "song" / "prints" / "001")


def test_received_tracks_are_not_touched(song: Path, received: Path) -> None:
    deliver(song)
    assert contents(song.parent / "tracks") == contents(received / "tracks")


def test_too_loud_a_set_is_lowered_as_one(song: Path) -> None:
    edit(song, lambda now: changed(now, master=Master(fader_db=12.0)))
    result = deliver(song)
    assert all(check.passed for check in result.checks)
    level = next(check for check in result.checks if check.name == "level")
    assert "every file is lowered by" in level.detail
    gain_db = json.loads((song / result.manifest).read_bytes())["gain_db"]
    assert gain_db < -1.0
    peaks = {f.file: np.max(np.abs(soundfile.read(song / result.folder / f.file)[0])) for f in result.files}
    assert max(peaks.values()) <= 1.0
    assert -0.11 < max(printed.true_peak_dbtp for printed in result.files if printed.true_peak_dbtp is not None) <= 0.0
    for printed in result.files:
        levels = measure(soundfile.read(song / result.folder / printed.file)[0], RATE_HZ)
        assert printed.true_peak_dbtp == pytest.approx(levels.true_peak_dbtp, abs=0.001)
        assert printed.integrated_lufs == pytest.approx(levels.integrated_lufs, abs=0.01)


def test_peaks_between_samples_count_too(tmp_path: Path) -> None:
    """A tone at a quarter of the rate, 45 degrees off: its peaks lie 3.01 dB above its samples (Tech 3341, 5.2)."""
    phase = np.pi / 2 * np.arange(FRAMES) + np.pi / 4
    tone = np.hanning(FRAMES) * np.sin(phase) * 10 ** (1.0 / 20)
    settings = {"rate_hz": RATE_HZ, "channels": 1, "frames": FRAMES, "sample_format": "float32"}
    write_wav(tmp_path / "tone.wav", [tone[:, np.newaxis]], **settings)  # type: ignore[arg-type]
    track = Track(id="tone", name="Tone", file="../tone.wav", role="synth")
    create_song(tmp_path / "song", Song(title="Tone", rate_hz=RATE_HZ, tracks=(track,), pan_law_db=0.0))
    result = deliver(tmp_path / "song")
    audio, _ = soundfile.read(tmp_path / "song" / result.folder / result.files[0].file)
    assert np.max(np.abs(tone)) < 0.8
    assert measure(audio, RATE_HZ).true_peak_dbtp == pytest.approx(-0.05, abs=0.05)
    line = next(check for check in result.checks if check.name == "true peak at most 0 dBTP")
    assert line.passed
    assert json.loads((tmp_path / "song" / result.manifest).read_bytes())["gain_db"] == pytest.approx(-1.0, abs=0.11)


def with_move(state: str) -> Callable[[Song], Song]:
    move = Move(id="level-bass-abc123", kind="level", target="bass", settings={"gain_db": 6.0}, state=state)  # type: ignore[arg-type]
    return lambda now: changed(now, moves=(move,))


def test_undecided_moves_are_named(song: Path) -> None:
    plain = contents(song / deliver(song).folder)["NightBus_Main_48k24.wav"]
    edit(song, with_move("proposed"))
    with pytest.raises(StateError, match=r"level-bass-abc123.*--undecided-ok"):
        deliver(song)
    assert not (song / "prints" / "002").exists()
    result = deliver(song, undecided_ok=["level-bass-abc123"])
    assert contents(song / result.folder)["NightBus_Main_48k24.wav"] == plain
    edit(song, with_move("accepted"))
    result = deliver(song)
    assert contents(song / result.folder)["NightBus_Main_48k24.wav"] != plain
    assert json.loads((song / result.manifest).read_bytes())["moves"] == ["level-bass-abc123"]


def test_muted_tracks_are_named(song: Path) -> None:
    edit(song, lambda now: changed(now, tracks=(*now.tracks[:2], changed(now.tracks[2], mute=True), *now.tracks[3:])))
    with pytest.raises(StateError, match=r"bass.*--mutes-ok"):
        deliver(song)
    result = deliver(song, mutes_ok=["bass"])
    assert all(check.passed for check in result.checks)
    assert not any("Other" in printed.file for printed in result.files)
    edit(song, lambda now: changed(now, groups=tuple(changed(group, mute=True) for group in now.groups)))
    with pytest.raises(StateError, match="every track is muted"):
        deliver(song, mutes_ok=["bass", "drums", "vocals"])


def test_wrong_template_is_refused_before_the_work(song: Path) -> None:
    shutil.rmtree(song / "cache")
    with pytest.raises(SettingError, match="allowed fields"):
        deliver(song, template="{album}")
    assert not (song / "cache").exists()
    assert not (song / "prints").exists()
    result = deliver(song, template="{artist}_{print}_{depth}")
    assert result.files[0].file == "InventedArtist_Main_24.wav"


def test_a_full_disk_is_refused_beforehand(song: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("shutil.disk_usage", lambda _: shutil._ntuple_diskusage(10**9, 10**9, 10**6))  # type: ignore[attr-defined]
    with pytest.raises(OutputError, match="of disk space"):
        deliver(song)
    assert not (song / "prints").exists()


def test_cancelled_work_leaves_nothing(song: Path) -> None:
    cancel = Cancel()
    seen: list[str] = []

    def report(progress: object) -> None:
        seen.append(progress.job)  # type: ignore[attr-defined]
        if progress.job == "printing" and progress.done > 0:  # type: ignore[attr-defined]
            cancel.cancel()

    with pytest.raises(Cancelled):
        deliver(song, report=report, cancel=cancel)
    assert "printing" in seen
    assert not (song / "prints").exists()
    assert deliver(song).folder == "prints/001"


KILLED = """
import os, signal, sys
from pathlib import Path
from mixwright.app.deliver import deliver
def report(progress):
    if progress.job == "printing" and progress.done > float(sys.argv[2]) * progress.total:
        os.kill(os.getpid(), signal.SIGKILL)
deliver(Path(sys.argv[1]), report=report)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
@pytest.mark.parametrize("part", [0.1, 0.49, 0.9])
def test_a_kill_leaves_no_folder_and_the_next_run_cleans_up(song: Path, part: float) -> None:
    run = subprocess.run([sys.executable, "-c", KILLED, str(song), str(part)], check=False)
    assert run.returncode == -9
    assert [path.name.startswith(".") for path in (song / "prints").iterdir()] == [True]
    assert deliver(song).folder == "prints/001"
    assert [path.name for path in (song / "prints").iterdir()] == ["001"]
