# SPDX-License-Identifier: Apache-2.0
"""The files of the demo: complete, equal in length, the same bytes every time, plausible in level and tone."""

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy import signal

from mixwright.demo.layers import LAYERS, made
from mixwright.demo.pieces import SONG
from mixwright.demo.record import DemoPaths, write_demo
from mixwright.errors import Cancelled, OutputError
from mixwright.jobs.progress import Cancel, Progress

ROUGH_PLR_DB = (12.0, 18.0)


def read(path: Path) -> np.ndarray:
    audio, rate_hz = soundfile.read(path, always_2d=True)
    assert rate_hz == 48_000
    return audio


def db(ratio: float) -> float:
    return 20.0 * np.log10(max(float(ratio), 1e-12))


def truth_of(demo: DemoPaths) -> dict:
    return json.loads(demo.truth.read_text(encoding="utf-8"))


def files_of(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_every_layer_is_there_with_one_length_and_a_common_start(demo):
    truth = truth_of(demo)
    assert len(truth["tracks"]) >= 12
    assert {track["file"] for track in truth["tracks"]} == {path.name for path in demo.tracks.iterdir()}
    for track in truth["tracks"]:
        info = soundfile.info(demo.tracks / track["file"])
        assert (info.frames, info.samplerate, info.subtype) == (truth["frames"], truth["rate_hz"], "PCM_24")
        assert info.channels == track["channels"]
    assert 64.0 <= truth["frames"] / truth["rate_hz"] <= 80.0
    assert soundfile.info(demo.rough).frames == truth["frames"]
    assert all(30.0 <= soundfile.info(path).duration <= 60.0 for path in demo.references)
    assert all(path.exists() for path in (demo.brief, demo.rough_settings, *demo.references))


def test_everything_says_that_it_is_invented(demo):
    assert "invented" in (demo.folder / "README.txt").read_text(encoding="utf-8")
    assert "invented" in demo.brief.read_text(encoding="utf-8").lower()
    assert truth_of(demo)["invented"] is True


def test_levels_are_those_of_raw_recordings(demo):
    for track in truth_of(demo)["tracks"]:
        audio = read(demo.tracks / track["file"])
        peak_dbfs = db(np.abs(audio).max())
        assert -12.0 <= peak_dbfs <= -3.0, track["file"]
        assert abs(peak_dbfs - track["peak_dbfs"]) < 0.01
        assert np.abs(audio.mean(axis=0)).max() < 1e-3, "mean of a channel"
        assert db(np.abs(audio[-4800:]).max()) < -90.0, f"{track['file']} does not die away"
        # Nothing may begin in the middle of a wave.
        assert db(np.abs(audio[:5]).max()) < -50.0, track["file"]


def test_long_notes_start_and_end_without_a_click(demo):
    # A jump would give one-sample differences far above those of the highest partial that is there.
    for name, highest_hz in (("Bass Sub.wav", 160.0), ("Pad Warm.wav", 6500.0)):
        audio = read(demo.tracks / name)
        step = np.abs(np.diff(audio, axis=0)).max() / np.abs(audio).max()
        assert step < 2.0 * np.pi * highest_hz / 48_000, name


def test_layers_sound_in_their_sections_and_nowhere_else(demo):
    truth = truth_of(demo)
    rate_hz = truth["rate_hz"]
    for track in truth["tracks"]:
        power = np.mean(read(demo.tracks / track["file"]) ** 2, axis=1)
        for section in truth["sections"]:
            sounds = section["name"] in track["sections"]
            # Silence is looked for between the ring-out of the section before and the breath before the next.
            start_s, end_s = section["start_s"] + (0.0 if sounds else 3.0), section["end_s"] - (0.0 if sounds else 1.0)
            loudest = power[round(start_s * rate_hz) : round(end_s * rate_hz)].max() / power.max()
            case = f"{track['file']} in {section['name']}: {10.0 * np.log10(loudest + 1e-12):.0f} dB"
            assert loudest > 10.0**-3.2 if sounds else loudest < 10.0**-4.0, case


@pytest.mark.parametrize("role", ["bass", "electric guitar", "pad", "keys", "synth", "percussion"])
def test_entries_stand_on_bar_lines(demo, role):
    truth = truth_of(demo)
    bar_s = 60.0 / truth["tempo_bpm"] * truth["beats_per_bar"]
    for track in truth["tracks"]:
        if track["role"] == role:
            level = np.abs(read(demo.tracks / track["file"])).max(axis=1)
            first_s = np.flatnonzero(level > 0.02 * level.max())[0] / truth["rate_hz"]
            start_s = next(s["start_s"] for s in truth["sections"] if s["name"] == track["sections"][0])
            assert start_s % bar_s == pytest.approx(0.0, abs=1e-9)
            assert -0.002 <= first_s - start_s <= 0.06, track["file"]


def integrated_lufs(audio: np.ndarray) -> float:
    """Integrated loudness by ITU-R BS.1770-5 Annex 1: its filters at 48 kHz (Tables 1 and 2), its two gates."""
    shelf = ([1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585])
    high_pass = ([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621])
    weighted = signal.lfilter(*high_pass, signal.lfilter(*shelf, audio, axis=0), axis=0)
    total = np.concatenate(([0.0], np.cumsum(np.sum(weighted**2, axis=1))))
    first = np.arange(0, len(audio) - 19_200 + 1, 4_800)
    power = (total[first + 19_200] - total[first]) / 19_200
    loudness = -0.691 + 10.0 * np.log10(power + 1e-20)
    gate = -0.691 + 10.0 * np.log10(power[loudness > -70.0].mean()) - 10.0
    return float(-0.691 + 10.0 * np.log10(power[loudness > max(gate, -70.0)].mean()))


def deviation_from_records_db(audio: np.ndarray) -> np.ndarray:
    """Third-octave levels 100 Hz to 5 kHz minus the mean curve of 12 345 popular tracks, aligned 200 Hz to 2 kHz.

    Curve: Elowsson and Friberg, "Long-term average spectrum in popular music and its relation to the level of the
    percussion", AES 142nd Convention (2017), fitted equations (quoted second-hand).
    """
    hz, density = signal.welch(audio, 48_000, nperseg=16_384, axis=0)
    density = density.mean(axis=1)
    centres = 1000.0 * 10.0 ** (np.arange(-10, 8) / 10.0)
    levels = np.array([density[(hz >= c * 10**-0.05) & (hz < c * 10**0.05)].sum() for c in centres])
    x = 1.0 + 60.0 * np.log2(centres / 30.0)
    curve = -0.000183 * x**2 + 0.0213 * x - 16.735 + 10.0 * np.log10(centres)
    difference = 10.0 * np.log10(levels) - curve
    return difference - difference[(centres > 190.0) & (centres < 2100.0)].mean()


def test_rough_mix_is_a_plausible_dense_mix(demo):
    rough = read(demo.rough)
    peak = np.abs(rough).max()
    assert 0.25 < peak < 0.95
    assert ROUGH_PLR_DB[0] < db(peak) - integrated_lufs(rough) < ROUGH_PLR_DB[1]
    assert np.abs(deviation_from_records_db(rough)).max() < 6.0


def test_finished_record_is_louder_denser_and_unclipped(demo):
    record, rough = read(demo.references[0]), read(demo.rough)
    assert np.abs(record).max() < 0.95
    assert integrated_lufs(record) > integrated_lufs(rough) + 2.0
    assert np.abs(deviation_from_records_db(record)).max() < 6.0


def test_rough_mix_is_the_sum_that_its_settings_say(demo):
    settings = json.loads(demo.rough_settings.read_text(encoding="utf-8"))
    assert settings["pan_law_db"] == 3.0
    total = np.zeros((SONG.frames, 2))
    for track in settings["tracks"]:
        audio = 10.0 ** (track["gain_db"] / 20.0) * read(demo.tracks / track["file"])
        if audio.shape[1] == 1:
            angle = (track["pan"] + 1.0) * np.pi / 4.0  # sine and cosine: -3 dB in the middle
            audio = audio * np.array([np.cos(angle), np.sin(angle)])
        total += audio
    # What is left is the dither of 16 and 24 bits.
    assert db(np.abs(total - read(demo.rough)).max()) < -83.0
    assert settings == truth_of(demo)["rough"]


def test_layers_do_not_depend_on_order(demo):
    for layer in (LAYERS[4], LAYERS[0], LAYERS[-1]):
        again = made(layer, SONG)
        # Written with triangular dither of at most one step of 24 bits.
        assert np.abs(again - read(demo.tracks / layer.file)).max() <= 2.0 * 2.0**-23


@pytest.mark.slow
def test_two_processes_write_equal_bytes(demo, tmp_path):
    code = "import sys, pathlib; from mixwright.demo.record import write_demo; write_demo(pathlib.Path(sys.argv[1]))"
    environment = {**os.environ, "PYTHONHASHSEED": "7"}
    subprocess.run([sys.executable, "-c", code, str(tmp_path / "again")], check=True, env=environment)
    assert files_of(tmp_path / "again") == files_of(demo.folder)


def test_a_folder_in_use_is_refused_and_left_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="exists"):
        write_demo(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_stopping_leaves_nothing(tmp_path):
    cancel, seen = Cancel(), []

    def stop(progress: Progress) -> None:
        seen.append(progress)
        cancel.cancel()

    with pytest.raises(Cancelled):
        write_demo(tmp_path / "song", report=stop, cancel=cancel)
    assert seen[0].done == 0.0
    assert not list(tmp_path.iterdir())
