# SPDX-License-Identifier: Apache-2.0
"""A song folder opened and mixed: files, levels, names, and what missing or changed files get."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import sys

import msgspec
import numpy as np
import pytest
import soundfile

from mixwright.app.mix import mix
from mixwright.app.session import open_song
from mixwright.app.space import Making
from mixwright.errors import InputError, OutputError, SettingError, StateError
from mixwright.io.kept import read_kept
from mixwright.io.song_file import create_song, edit_song, load_song, undo
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.filters import Pass
from mixwright.model.lane import Breakpoint, Lane
from mixwright.model.results import MixResult
from mixwright.model.song import Move, Song, Track, changed
from mixwright.model.strip import Limiter, Master, Strip
from mixwright.version import __version__

RATE_HZ = 48000
FRAMES = 24000


@pytest.fixture
def folder(tmp_path):
    """A song of two invented tracks, of which one is at another rate, with an accepted move."""
    received = tmp_path / "received"
    received.mkdir()
    noise = np.random.default_rng(4)
    soundfile.write(received / "low.wav", noise.uniform(-0.3, 0.3, (FRAMES, 1)), RATE_HZ, "FLOAT")
    soundfile.write(received / "wide.flac", noise.uniform(-0.3, 0.3, (FRAMES // 2, 2)), RATE_HZ // 2, "PCM_16")
    tracks = tuple(
        Track(
            id=name.split(".")[0],
            name=name,
            file=f"../received/{name}",
            sha256=hashlib.sha256((received / name).read_bytes()).hexdigest(),
            strip=strip,
        )
        for name, strip in (("low.wav", Strip(high_pass=Pass(hz=40))), ("wide.flac", Strip()))
    )
    move = Move(id="level-low-1", kind="level", target="low", settings={"gain_db": -6.0}, state="accepted")
    song = tmp_path / "song"
    create_song(song, Song(title="Two/layers: a \x1b test", rate_hz=RATE_HZ, tracks=tracks, moves=(move,)))
    return song


def test_a_mix_is_written_measured_and_kept(folder):
    result = mix(folder)
    assert result.file == "mixes/TwoLayersATest_Mix01_48k24.wav"
    audio, rate_hz = soundfile.read(folder / result.file)
    assert (rate_hz, len(audio), result.frames) == (RATE_HZ, FRAMES, FRAMES)
    assert soundfile.info(folder / result.file).subtype == "PCM_24"
    with open_song(folder, Making()) as session:
        rendered = session.rendered()
    assert np.abs(audio - rendered).max() < 1.6 * 2.0**-23  # rounding and dither
    assert result.sha256 == hashlib.sha256((folder / result.file).read_bytes()).hexdigest()
    assert result.levels.sample_peak_dbfs == pytest.approx(20 * np.log10(np.abs(rendered).max()), abs=1e-4)
    assert result.moves == ("level-low-1",)
    assert result.notes == ()
    assert read_kept(folder, "mix", MixResult) == result
    assert result.engine == __version__
    with pytest.raises(StateError, match="nothing to undo"):
        undo(folder)


def test_the_next_mix_gets_the_next_number_and_the_same_bytes(folder):
    first, second = mix(folder), mix(folder)
    assert second.file == "mixes/TwoLayersATest_Mix02_48k24.wav"
    assert first.sha256 == second.sha256


def test_mixes_made_at_once_get_numbers_of_their_own(folder):
    code = "import sys, pathlib, mixwright; print(mixwright.mix(pathlib.Path(sys.argv[1])).file)"
    command = [sys.executable, "-c", code, str(folder)]
    runs = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(3)]
    told = sorted(run.communicate()[0].strip() for run in runs)
    assert told == [f"mixes/TwoLayersATest_Mix0{number}_48k24.wav" for number in (1, 2, 3)]
    assert sorted(path.name for path in (folder / "mixes").iterdir()) == [name.removeprefix("mixes/") for name in told]
    assert len({hashlib.sha256((folder / name).read_bytes()).hexdigest() for name in told}) == 1


def test_numbers_count_mixes_of_every_format(folder):
    (folder / "mixes").mkdir()
    (folder / "mixes" / "Old_Mix07_44k16.wav").write_bytes(b"")
    assert mix(folder, sample_format="float32").file == "mixes/TwoLayersATest_Mix08_48k32f.wav"


def test_a_number_that_no_mix_of_ours_has_is_not_counted_on_from(folder):
    (folder / "mixes").mkdir()
    for digits in (20, 50):
        (folder / "mixes" / f"X_Mix{'9' * digits}_48k24.wav").write_bytes(b"")
    assert [mix(folder).file for _ in range(2)] == [f"mixes/TwoLayersATest_Mix0{n}_48k24.wav" for n in (1, 2)]


def test_the_same_bytes_without_a_cache(folder):
    first = mix(folder)
    shutil.rmtree(folder / "cache")
    assert mix(folder).sha256 == first.sha256


def test_a_mix_above_full_scale_goes_out_as_float(folder):
    edit_song(folder, "louder", lambda song: changed(song, master=Master(fader_db=20.0)))
    result = mix(folder)
    assert result.sample_format == "float32"
    assert result.file.endswith("_48k32f.wav")
    assert "written as 32-bit float" in result.notes[0]
    assert np.abs(soundfile.read(folder / result.file)[0]).max() > 1.0


def test_a_file_of_ones_own_choice(folder, tmp_path):
    out = tmp_path / "here" / "print.wav"
    assert mix(folder, out=out, sample_format="float32").sample_format == "float32"
    assert soundfile.info(out).subtype == "FLOAT"
    before = out.read_bytes()
    with pytest.raises(OutputError, match=r"print\.wav: the file exists already; choose another name"):
        mix(folder, out=out)
    received = tmp_path / "received" / "low.wav"
    with pytest.raises(OutputError, match="exists already"):
        mix(folder, out=received)
    assert out.read_bytes() == before
    with pytest.raises(SettingError, match=r"a mix is written as \.wav"):
        mix(folder, out=tmp_path / "print.mp3")
    (tmp_path / "link.wav").symlink_to(tmp_path / "nowhere.wav")
    with pytest.raises(OutputError, match="exists already"):
        mix(folder, out=tmp_path / "link.wav")


def test_a_folder_that_cannot_be_made_is_told_before_rendering(folder, tmp_path):
    (tmp_path / "notes.txt").write_text("in the way")
    seen = []
    for place in (tmp_path / "notes.txt", tmp_path / "notes.txt" / "mixes"):
        with pytest.raises(OutputError, match="a file is in the way; choose another place"):
            mix(folder, out=place / "x.wav", report=seen.append)
    assert {event.job for event in seen} == {"reading tracks"}


def test_parts_of_the_mix(folder):
    with open_song(folder, Making()) as session:
        parts = [session.rendered([name]) for name in ("low", "wide")]
        assert np.abs(parts[0] + parts[1] - session.rendered()).max() < 1e-6
        assert session.levels(["low"]).integrated_lufs < session.levels().integrated_lufs
        assert session.stems["wide"].rate_hz == RATE_HZ


def test_a_missing_file(folder, tmp_path):
    (tmp_path / "received" / "low.wav").unlink()
    with pytest.raises(InputError) as caught:
        mix(folder)
    assert str(caught.value) == (
        "../received/low.wav: the file of track low is missing; "
        "find it with `mixwright relink SONG FOLDER`, or set use = false in song.toml"
    )
    assert not (folder / "mixes").exists()


def test_a_name_that_is_too_long(folder):
    first, *others = load_song(folder).tracks
    edit_song(folder, "name", lambda song: changed(song, tracks=(changed(first, file="a" * 5000), *others)))
    with pytest.raises(InputError, match="the file of track low is missing"):
        mix(folder)


def test_a_changed_file(folder, tmp_path):
    soundfile.write(tmp_path / "received" / "low.wav", np.zeros((FRAMES, 1)), RATE_HZ, "FLOAT")
    with pytest.raises(InputError, match=r"low\.wav: the file of track low is not the one that was received; put the"):
        mix(folder)


def test_a_file_of_three_channels(folder, tmp_path):
    soundfile.write(tmp_path / "received" / "low.wav", np.zeros((FRAMES, 3)), RATE_HZ, "FLOAT")
    tracks = load_song(folder).tracks
    edit_song(folder, "any", lambda song: changed(song, tracks=(changed(tracks[0], sha256=""), tracks[1])))
    with pytest.raises(InputError, match=r"low\.wav: track low has 3 channels; a track has 1 or 2"):
        mix(folder)


def test_a_start_that_cannot_be_meant(folder):
    first, *others = load_song(folder).tracks
    late = (changed(first, start_frame=9_000_000_000_000), *others)
    edit_song(folder, "late", lambda song: changed(song, tracks=late))
    with pytest.raises(InputError, match="track low would end 52,083 hours into the song; correct its start_frame"):
        mix(folder)


def test_automation_of_nothing_is_told(folder):
    point = Breakpoint(at_s=0.0, value=-3.0)
    lanes = [Lane(target=target, parameter="level", points=(point,)) for target in ("low", "gone")]
    lanes.append(Lane(target="empty", parameter="pan", points=()))
    (folder / "kept" / "lanes.json").write_bytes(msgspec.json.encode(lanes))
    (note,) = mix(folder).notes
    assert note.startswith(
        "Kept automation is for 1 name that no track, source, group or send has: gone. It moves nothing;"
    )


def test_a_damaged_file(folder, tmp_path):
    (tmp_path / "received" / "low.wav").write_bytes(b"RIFF nothing of use")
    with pytest.raises(InputError, match=r"low\.wav: "):
        mix(folder)


def test_no_track_in_use(folder):
    edit_song(folder, "none", lambda song: changed(song, tracks=tuple(changed(t, use=False) for t in song.tracks)))
    with pytest.raises(StateError, match="the song has no track in use"):
        mix(folder)


def test_a_layer_alone_and_the_mix_without_it_are_the_mix(folder):
    """A compressor and a limiter on the master have the gains of the whole in all three; the parts are not the mix."""
    glue = Compressor(threshold_db=-40.0, ratio=4.0)
    master = Master(fader_db=24.0, inserts=(glue,), limiter=Limiter())
    edit_song(folder, "loud", lambda song: changed(song, master=master))
    whole, only, rest = (
        mix(folder, sample_format="float32", **how) for how in ({}, {"solo": ["low"]}, {"mute": ["low"]})
    )
    audio, one, other = (soundfile.read(folder / result.file)[0] for result in (whole, only, rest))
    assert np.abs(one + other - audio).max() < 10 ** (-120 / 20)
    assert np.abs(audio).max() < 1.0
    assert min(np.abs(one).max(), np.abs(other).max()) > 0.1
    assert (only.file, only.solo) == ("mixes/TwoLayersATest_SoloLow01_48k32f.wav", ("low",))
    assert (rest.file, rest.mute) == ("mixes/TwoLayersATest_WithoutLow01_48k32f.wav", ("low",))
    assert mix(folder, solo=["low"]).file == "mixes/TwoLayersATest_SoloLow02_48k24.wav"
    assert read_kept(folder, "mix", MixResult) == whole


def test_a_layer_that_is_not_there_or_muted_cannot_sound_alone(folder):
    with pytest.raises(SettingError, match=r"--solo.*no track, source or group is called 'lo'"):
        mix(folder, solo=["lo"])
    with pytest.raises(SettingError, match="nothing would sound"):
        mix(folder, solo=["low"], mute=["low"])
