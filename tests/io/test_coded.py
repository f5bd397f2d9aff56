# SPDX-License-Identifier: Apache-2.0
"""FLAC, MP3, Opus and AAC: what libsndfile and FFmpeg read back is what was written, whole or not there."""

from __future__ import annotations

import errno
from pathlib import Path

import numpy as np
import pytest
import soundfile

from mixwright.errors import NoDecoderError, OutputError, SettingError
from mixwright.io.coded import CODINGS, check_codec, coded_blocks, coded_rate_hz, write_coded
from mixwright.io.tags import read_tags
from mixwright.io.write import write_wav
from mixwright.jobs.paced_file import PacedFile
from mixwright.model.tags import Tags


def has_av() -> bool:
    try:
        check_codec("aac")
    except NoDecoderError:
        return False
    return True


AAC = pytest.param("aac", marks=pytest.mark.skipif(not has_av(), reason="PyAV is not installed"))
TAGS = Tags(title="Made up", print="Preview", kind="preview", comment="preview, not the mix")


def low_noise(rate_hz: int, seconds: float = 1.0, peak: float = 0.5) -> np.ndarray:
    """Return stereo noise below 4 kHz, which every codec keeps."""
    frames = round(rate_hz * seconds)
    spectrum = np.fft.rfft(np.random.default_rng(5).standard_normal((frames, 2)), axis=0)
    spectrum[round(4000 * seconds) :] = 0.0
    audio = np.fft.irfft(spectrum, frames, axis=0)
    return peak * audio / np.abs(audio).max()


@pytest.mark.parametrize("rate_hz", [44100, 48000])
@pytest.mark.parametrize("codec", ["flac", "mp3", "opus", AAC])
def test_what_is_decoded_lies_where_it_was_and_sounds_as_it_did(tmp_path, codec, rate_hz):
    rate_hz = coded_rate_hz(codec, rate_hz)
    audio = low_noise(rate_hz)
    path = tmp_path / f"a{CODINGS[codec].ending}"
    written = write_coded(path, [audio], codec, rate_hz=rate_hz, tags=TAGS)
    again = write_coded(path, np.array_split(audio, 7), codec, rate_hz=rate_hz, tags=TAGS)
    assert written == again
    assert written.frames == len(audio)
    found = np.concatenate(list(coded_blocks(path)))
    assert len(found) == len(audio)
    error_db = 10 * np.log10(np.mean((found - audio) ** 2) / np.mean(audio**2))
    # A frame late would be -3 dB, and more. Codecs: common practice, no source.
    assert error_db < {"flac": -110, "mp3": -30, "opus": -18, "aac": -15}[codec]
    if codec != "aac":
        assert read_tags(path) == TAGS


def test_flac_holds_the_samples_of_a_wav_of_the_same_seed(tmp_path):
    audio = low_noise(48000, 0.2)
    for sample_format, kind in (("pcm24", "int32"), ("pcm16", "int16")):
        write_coded(tmp_path / "a.flac", [audio], "flac", rate_hz=48000, sample_format=sample_format, seed=9)
        write_wav(
            tmp_path / "a.wav",
            [audio],
            rate_hz=48000,
            channels=2,
            frames=len(audio),
            sample_format=sample_format,
            seed=9,
        )
        flac, wav = (soundfile.read(tmp_path / name, dtype=kind)[0] for name in ("a.flac", "a.wav"))
        assert np.array_equal(flac, wav)
        assert soundfile.info(tmp_path / "a.flac").subtype == sample_format.upper().replace("PCM", "PCM_")


@pytest.mark.parametrize(("codec", "low", "high"), [("mp3", 300, 340), ("opus", 150, 260)])
def test_rates_of_lossy_files(tmp_path, codec, low, high):
    path = tmp_path / f"a{CODINGS[codec].ending}"
    write_coded(path, [low_noise(48000, 2.0)], codec, rate_hz=48000)
    assert low < path.stat().st_size * 8e-3 / 2.0 < high


def test_decoded_peaks_above_full_scale_are_not_cut(tmp_path):
    noise = np.random.default_rng(1).standard_normal((48000, 2))
    write_coded(tmp_path / "a.mp3", [np.clip(noise, -0.99, 0.99)], "mp3", rate_hz=48000)
    assert max(np.abs(block).max() for block in coded_blocks(tmp_path / "a.mp3")) > 1.1


def test_rates_that_a_codec_does_not_take():
    assert [coded_rate_hz("mp3", rate) for rate in (44100, 88200, 96000, 37000, 176400)] == [
        44100,
        44100,
        48000,
        44100,
        44100,
    ]
    assert [coded_rate_hz("opus", rate) for rate in (8000, 44100, 192000)] == [48000] * 3
    assert coded_rate_hz("flac", 96000) == 96000


def test_what_cannot_be_written_is_refused(tmp_path):
    path = tmp_path / "a.mp3"
    with pytest.raises(SettingError, match="mp3 at 96000 Hz"):
        write_coded(path, [low_noise(48000, 0.1)], "mp3", rate_hz=96000)
    with pytest.raises(OutputError, match="not a number"):
        write_coded(path, [np.full((100, 2), np.nan)], "mp3", rate_hz=48000)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("codec", ["flac", "mp3", "opus", AAC])
def test_a_full_disk_is_told_and_leaves_the_file_that_was(tmp_path, codec, monkeypatch):
    path = tmp_path / f"a{CODINGS[codec].ending}"
    path.write_bytes(b"before")

    def full(self, data):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(PacedFile, "write", full)
    with pytest.raises(OutputError, match="the disk is full"):
        write_coded(path, [low_noise(48000)], codec, rate_hz=48000)
    assert path.read_bytes() == b"before"
    assert len(list(tmp_path.iterdir())) == 1


def test_what_the_library_did_not_take_is_an_error_of_ours(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """soundfile asserts that all frames were written: a disk that is full for a moment makes that untrue."""

    def short(*_: object) -> None:
        raise AssertionError

    monkeypatch.setattr(soundfile.SoundFile, "write", short)
    with pytest.raises(OutputError, match="cannot be encoded"):
        write_coded(tmp_path / "a.mp3", [np.zeros((100, 2))], "mp3", rate_hz=44100)
    assert not list(tmp_path.iterdir())
