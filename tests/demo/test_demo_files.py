# SPDX-License-Identifier: Apache-2.0
"""The files of the demo: complete, the same bytes every time, plausible in level and tone, wrong where it is meant."""

import hashlib
import json
import math
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile
from scipy import signal

from demo_audio import RATE_HZ, db, read
from mixwright.demo.drums import HATS, KIT, OVERHEADS, ROOM, SNARE_BOTTOM, SNARE_TOP
from mixwright.demo.layers import CLASHES, LAYERS, LEAD_FILE, made
from mixwright.demo.pieces import SONG
from mixwright.demo.record import DemoPaths, write_demo
from mixwright.errors import Cancelled, OutputError
from mixwright.jobs.progress import Cancel, Progress


@dataclass(frozen=True)
class File:
    """One delivered file at the song's rate, read once: what several tests look at."""

    frames: int
    rate_hz: int
    channels: int
    subtype: str
    peak: float
    mean: float
    first: float
    last: float
    step: float
    power: np.ndarray


def truth_of(demo: DemoPaths) -> dict:
    return json.loads(demo.truth.read_text(encoding="utf-8"))


def files_of(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file()
    }


def placed(audio: np.ndarray, pan: float) -> np.ndarray:
    """Sine and cosine: -3 dB in the middle; two channels stand as they are."""
    angle = (pan + 1.0) * np.pi / 4.0
    return audio * np.array([np.cos(angle), np.sin(angle)]) if audio.shape[1] == 1 else audio


@pytest.fixture(scope="module")
def heard(demo) -> tuple[dict[str, File], np.ndarray]:
    """Every track, read once, and the sum of all of them as the settings of the rough mix say."""
    settings = {track["file"]: track for track in json.loads(demo.rough_settings.read_text(encoding="utf-8"))["tracks"]}
    files, total = {}, np.zeros((SONG.frames, 2))
    for track in truth_of(demo)["tracks"]:
        path = demo.tracks / track["file"]
        info, audio = soundfile.info(path), read(path)
        mean = audio.mean(axis=0)
        start, rough = track["start_frame"], settings[track["file"]]
        whole = np.zeros(SONG.frames)
        audio = audio[: SONG.frames - start]
        whole[start : start + len(audio)] = np.mean((audio - mean) ** 2, axis=1)
        files[track["file"]] = File(
            frames=info.frames,
            rate_hz=info.samplerate,
            channels=info.channels,
            subtype=info.subtype,
            peak=float(np.abs(audio).max()),
            mean=float(np.abs(mean).max()),
            first=float(np.abs(audio[:5] - mean).max()),
            last=float(np.abs(audio[-4800:] - mean).max()),
            step=float(np.abs(np.diff(audio, axis=0)).max()),
            power=np.maximum.reduceat(whole, np.arange(0, SONG.frames, 480)),
        )
        end = start + len(audio)
        total[start:end] += 10.0 ** (rough["gain_db"] / 20.0) * placed(audio, rough["pan"])
    return files, total


def test_every_layer_is_there_from_where_the_truth_says(demo, heard):
    truth, files = truth_of(demo), heard[0]
    assert len(truth["tracks"]) >= 28
    delivered = {path.name for path in demo.tracks.iterdir()}
    assert delivered == {*files, truth["duplicate"][0]}
    for track in truth["tracks"]:
        found = files[track["file"]]
        assert (found.channels, found.rate_hz) == (track["channels"], track["rate_hz"])
        length_s = (truth["frames"] - track["start_frame"]) / truth["rate_hz"]
        assert found.frames == round(length_s * track["rate_hz"]), track["file"]
    assert {found.rate_hz for found in files.values()} == {44_100, 48_000}
    assert {found.subtype for found in files.values()} == {"PCM_16", "PCM_24", "FLOAT"}
    assert 75.0 <= truth["frames"] / truth["rate_hz"] <= 90.0
    assert soundfile.info(demo.rough).frames == truth["frames"]
    assert len(demo.references) == 2
    assert all(30.0 <= soundfile.info(path).duration <= 60.0 for path in demo.references)
    assert all(path.exists() for path in (demo.brief, demo.rough_settings, *demo.references))


def test_a_full_song_has_the_layers_that_make_it_dense(demo):
    roles = [track["role"] for track in truth_of(demo)["tracks"]]
    least = {"kick": 2, "snare": 2, "hats": 1, "toms": 2, "overheads": 1, "room": 1, "percussion": 2, "bass": 3}
    least |= {"pad": 2, "keys": 1, "effects": 2, "lead vocal": 1, "double": 1, "backing vocal": 4}
    assert {role: roles.count(role) for role in least if roles.count(role) < least[role]} == {}
    assert roles.count("electric guitar") + roles.count("synth") >= 5


def test_everything_says_that_it_is_invented(demo):
    assert "invented" in (demo.folder / "README.txt").read_text(encoding="utf-8")
    assert "invented" in demo.brief.read_text(encoding="utf-8").lower()
    assert truth_of(demo)["invented"] is True


def test_levels_are_those_of_raw_recordings(demo, heard):
    offset = {fault["file"] for fault in truth_of(demo)["faults"] if fault["reported_as"] == "dc_offset"}
    for track in truth_of(demo)["tracks"]:
        found = heard[0][track["file"]]
        peak_dbfs = db(found.peak)
        assert -12.1 <= peak_dbfs <= -3.0, track["file"]
        # What is brought to another rate peaks between the frames.
        assert abs(peak_dbfs - track["peak_dbfs"]) < (0.5 if track["rate_hz"] != RATE_HZ else 0.01) or (
            track["file"] in offset
        )
        assert (found.mean > 1e-3) == (track["file"] in offset), "mean of a channel"
        assert db(found.last) < -75.0 or track["file"] in offset, f"{track['file']} does not die away"
        # Nothing may begin in the middle of a wave.
        assert db(found.first) < -50.0 or track["start_frame"] or track["file"] in offset, track["file"]


def test_long_notes_start_and_end_without_a_click(heard):
    # A jump would give one-sample differences far above those of the highest partial that is there.
    for name, highest_hz in (("Bass SUB.wav", 160.0), ("Pad Warm.wav", 6500.0)):
        found = heard[0][name]
        assert found.step / found.peak < 2.0 * np.pi * highest_hz / RATE_HZ, name


def test_layers_sound_in_their_sections_and_nowhere_else(demo, heard):
    truth = truth_of(demo)
    for track in truth["tracks"]:
        power = heard[0][track["file"]].power
        # Microphones of the kit hear the other drums, the closer the louder.
        bleed_db = -18.0 if track["source"] == "drums" else -40.0
        for section in truth["sections"]:
            sounds = section["name"] in track["sections"]
            # Silence is looked for between the ring-out of the section before and the breath before the next.
            start_s, end_s = section["start_s"] + (0.0 if sounds else 3.0), section["end_s"] - (0.0 if sounds else 1.0)
            loudest = power[round(start_s * 100) : round(end_s * 100)].max() / power.max()
            found_db = 10.0 * np.log10(loudest + 1e-12)
            case = f"{track['file']} in {section['name']}: {found_db:.0f} dB"
            assert found_db > -32.0 if sounds else found_db < bleed_db, case


@pytest.mark.parametrize("role", ["bass", "electric guitar", "pad", "keys", "percussion"])
def test_entries_stand_on_bar_lines(demo, heard, role):
    truth = truth_of(demo)
    bar_s = 60.0 / truth["tempo_bpm"] * truth["beats_per_bar"]
    for track in truth["tracks"]:
        if track["role"] == role:
            level = np.sqrt(heard[0][track["file"]].power)
            first_s = np.flatnonzero(level > 0.02 * level.max())[0] / 100.0
            start_s = next(s["start_s"] for s in truth["sections"] if s["name"] == track["sections"][0])
            assert start_s % bar_s == pytest.approx(0.0, abs=1e-9)
            assert -0.01 <= first_s - start_s <= 0.09, track["file"]


def test_sound_takes_its_time_to_far_microphones(demo):
    # 343 m/s in air of 20 degrees Celsius (ISO 9613-1). The song begins with a stroke on the hats, alone.
    def arrival_s(name: str) -> float:
        start = np.abs(soundfile.read(demo.tracks / name, frames=4800, always_2d=True)[0][:, 0])
        return float(np.argmax(start > 0.1 * start.max())) / RATE_HZ

    hats = KIT["hats"].place
    close_m, over_m, room_m = (math.dist(hats, mic.place) for mic in (HATS, OVERHEADS[0], ROOM[0]))
    assert over_m > close_m + 0.5
    assert room_m > over_m + 2.0
    at_s = arrival_s("05 HiHat.wav")
    assert arrival_s("08 OH (stereo).wav") - at_s == pytest.approx((over_m - close_m) / 343.0, abs=0.0004)
    assert arrival_s("09 Room far.wav") - at_s == pytest.approx((room_m - close_m) / 343.0, abs=0.0006)


def test_the_snare_is_turned_over_from_below_and_heard_by_its_neighbours(demo):
    first, end = round(7.5 * RATE_HZ), round(15.0 * RATE_HZ)
    sos = signal.butter(4, [150.0, 1000.0], "bandpass", fs=RATE_HZ, output="sos")

    def part(name: str) -> np.ndarray:
        return signal.sosfilt(sos, read(demo.tracks / name)[first:end].mean(axis=1))

    top, snare = part("03 Sn Top.wav"), KIT["snare"].place
    for name, place, sign in (
        ("04 Sn Bot.wav", SNARE_BOTTOM.place, -1),
        ("08 OH (stereo).wav", OVERHEADS[0].place, 1),
        ("05 HiHat.wav", HATS.place, 1),
    ):
        other = part(name)
        r = np.array([top[:-300] @ other[lag : len(other) - 300 + lag] for lag in range(300)])
        best = int(np.argmax(np.abs(r)))
        assert r[best] * sign > 0.5 * np.sqrt((top @ top) * (other @ other)), name
        further_m = math.dist(place, snare) - math.dist(SNARE_TOP.place, snare)
        assert best == pytest.approx(further_m / 343.0 * RATE_HZ, abs=10), name


def test_files_are_wrong_where_it_is_meant(demo, heard):
    truth = truth_of(demo)
    kinds = {fault["reported_as"] for fault in truth["faults"]}
    assert kinds == {"starts_late", "dc_offset", "mono_as_stereo", "rate_differs", "exact_duplicate", "polarity"}
    late = next(track for track in truth["tracks"] if track["start_frame"])
    first_s = np.flatnonzero(heard[0][late["file"]].power)[0] / 100.0
    assert first_s == pytest.approx(late["start_frame"] / truth["rate_hz"], abs=0.03)
    assert [track["file"] for track in truth["tracks"] if track["polarity"] == "inverted"] == ["04 Sn Bot.wav"]
    copy, original = ((demo.tracks / name).read_bytes() for name in truth["duplicate"])
    assert copy == original
    # EBU Tech 3285: the time reference counts frames from midnight; this recording began at one o'clock.
    for track in truth["tracks"]:
        raw = (demo.tracks / track["file"]).read_bytes()[-610:]
        assert raw[:4] == b"bext"
        stamp = int.from_bytes(raw[8 + 338 : 8 + 346], "little") / track["rate_hz"]
        assert stamp == pytest.approx(3600.0 + track["start_frame"] / truth["rate_hz"], abs=1e-4)


def test_clashes_are_as_strong_as_the_truth_says(demo):
    truth = truth_of(demo)
    assert len(truth["clashes"]) >= 3
    assert any(LEAD_FILE in clash["masked"] for clash in truth["clashes"])
    faders = {track["file"]: track["gain_db"] for track in truth["rough"]["tracks"]}
    spans = {section["name"]: (section["start_s"], section["end_s"]) for section in truth["sections"]}

    def power(name: str, clash: dict) -> float:
        audio, total = read(demo.tracks / name), 0.0
        for section in clash["sections"]:
            start_s, end_s = spans[section]
            hz, density = signal.welch(
                audio[round(start_s * RATE_HZ) : round(end_s * RATE_HZ)], RATE_HZ, nperseg=32_768, axis=0
            )
            inside = (hz >= clash["low_hz"]) & (hz < clash["high_hz"])
            total += float(density[inside].sum()) * (end_s - start_s)
        return total * 10.0 ** (faders[name] / 10.0)

    for clash in truth["clashes"]:
        over_db = 10.0 * np.log10(power(clash["masker"], clash) / sum(power(name, clash) for name in clash["masked"]))
        assert over_db == pytest.approx(clash["over_db"], abs=0.5), clash["masker"]
        assert over_db > -3.0


def test_a_clash_raises_its_band_in_its_parts_alone():
    clash = CLASHES[0]
    layer = next(layer for layer in LAYERS if layer.file == clash.masker)
    plain, raised = (layer.make(SONG), made(layer, SONG, planted=True))
    for index, part in enumerate(SONG.parts):
        first, end = (round(at_s * RATE_HZ) for at_s in SONG.section_s(index))
        if not plain[first:end].any():
            continue
        hz, before = signal.welch(plain[first:end, 0], RATE_HZ, nperseg=8192)
        _, after = signal.welch(raised[first:end, 0], RATE_HZ, nperseg=8192)
        change = 10.0 * np.log10((after + 1e-30) / (before + 1e-30))
        change -= np.median(change[(hz > 700.0) & (hz < 1100.0)])
        at_centre = change[np.argmin(np.abs(hz - clash.hz))]
        assert at_centre == pytest.approx(clash.raised_db if part.name in clash.parts else 0.0, abs=1.0), part.name


def test_rough_mix_is_the_sum_that_its_settings_say(demo, heard):
    settings = json.loads(demo.rough_settings.read_text(encoding="utf-8"))
    assert settings["pan_law_db"] == 3.0
    # What is left is the dither of 16 and 24 bits, and what lies above 20 kHz in files of another rate.
    assert db(np.abs(heard[1] - read(demo.rough)).max()) < -70.0
    assert settings == truth_of(demo)["rough"]


def test_layers_do_not_depend_on_order(demo):
    for layer in (LAYERS[4], LAYERS[0], LAYERS[-1]):
        again = made(layer, SONG, planted=True)
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
