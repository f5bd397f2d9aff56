# SPDX-License-Identifier: Apache-2.0
"""The WAV writer: headers, dither, exact samples, the same bytes every time, whole or not there."""

from __future__ import annotations

import hashlib
import itertools
import struct
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from mixwright.errors import InternalError, OutputError
from mixwright.io.write import Quantiser, SampleFormat, wav_header, write_wav

FORMATS: tuple[SampleFormat, ...] = ("pcm16", "pcm24", "float32")
RANDOM = np.random.default_rng(7)


def chunks(head: bytes) -> dict[bytes, bytes]:
    found, at = {}, 12
    while at + 8 <= len(head):
        name, size = struct.unpack("<4sI", head[at : at + 8])
        found[name] = head[at + 8 : at + 8 + size]
        at += 8 + size + size % 2
    return found


def write(path: Path, audio: np.ndarray, sample_format: SampleFormat, seed: int = 0, rate_hz: int = 48000) -> str:
    written = write_wav(
        path,
        [audio],
        rate_hz=rate_hz,
        channels=audio.shape[1],
        frames=len(audio),
        sample_format=sample_format,
        seed=seed,
    )
    return written.sha256


@pytest.mark.parametrize("sample_format", FORMATS)
@pytest.mark.parametrize("channels", [1, 2, 3, 8])
@pytest.mark.parametrize("frames", [0, 1, 1001])
def test_soundfile_reads_back_what_was_written(
    tmp_path: Path, sample_format: SampleFormat, channels: int, frames: int
) -> None:
    audio = RANDOM.uniform(-1, 1, (frames, channels))
    path = tmp_path / "a.wav"
    digest = write(path, audio, sample_format, rate_hz=44100)
    assert digest == hashlib.sha256(path.read_bytes()).hexdigest()
    assert path.stat().st_size % 2 == 0
    assert struct.unpack("<I", path.read_bytes()[4:8])[0] == path.stat().st_size - 8
    back, rate_hz = soundfile.read(path, always_2d=True, dtype="float64")
    assert (back.shape, rate_hz) == ((frames, channels), 44100)
    if sample_format == "float32":
        np.testing.assert_array_equal(back, audio.astype(np.float32))
    elif frames:
        step = 2.0 ** -(15 if sample_format == "pcm16" else 23)
        assert np.max(np.abs(back - audio)) <= 1.5 * step


@pytest.mark.parametrize(("bits", "sample_format", "expected"), [(16, "pcm16", -96.33), (24, "pcm24", -144.49)])
def test_noise_of_dither_and_rounding(bits: int, sample_format: SampleFormat, expected: float) -> None:
    # Total error of triangular dither is LSB^2/4, whatever the signal (Lipshitz, Wannamaker, Vanderkooy 1992;
    # value from memory): -96.33 dBFS at 16 bit.
    frames = 200_000
    audio = 0.3 * np.sin(np.arange(frames) * 0.01)[:, None] + 0.1 * 2.0**-bits
    data = Quantiser(sample_format, 1).convert(audio)
    codes = np.zeros((frames, 4), np.uint8)
    codes[:, 4 - bits // 8 :] = np.frombuffer(data, np.uint8).reshape(frames, -1)
    error = codes.view("<i4").astype(np.float64) * 2.0**-31 - audio
    assert 10 * np.log10(np.mean(error**2)) == pytest.approx(expected, abs=0.05)
    assert abs(np.mean(error)) < 0.01 * 2.0 ** (1 - bits)  # rounding to the nearest has no offset
    silent = Quantiser(sample_format, 2).convert(np.zeros((frames, 1)))
    assert len(set(silent[i : i + bits // 8] for i in range(0, len(silent), bits // 8))) == 3  # noqa: C401


def test_dither_is_not_the_same_in_both_channels_and_follows_the_seed() -> None:
    silence = np.zeros((5000, 2))
    both = np.frombuffer(Quantiser("pcm16", 5).convert(silence), "<i2").reshape(-1, 2)
    assert abs(np.corrcoef(both.T)[0, 1]) < 0.05
    assert Quantiser("pcm16", 5).convert(silence) == both.tobytes()
    assert Quantiser("pcm16", 6).convert(silence) != both.tobytes()


@given(st.lists(st.integers(0, 400), max_size=8), st.sampled_from(FORMATS))
@settings(max_examples=40, deadline=None)
def test_bytes_do_not_depend_on_the_block_size(cuts: list[int], sample_format: SampleFormat) -> None:
    audio = np.random.default_rng(3).standard_normal((400, 2)) * 0.2
    edges = [0, *sorted(cuts), 400]
    quantiser = Quantiser(sample_format, 9)
    pieces = b"".join(quantiser.convert(audio[a:b]) for a, b in itertools.pairwise(edges))
    assert pieces == Quantiser(sample_format, 9).convert(audio)


def test_values_over_full_scale_are_clipped_and_counted(tmp_path: Path) -> None:
    audio = np.array([[1.5, -1.5], [0.5, -0.5], [1.0, -0.9]])
    written = write_wav(tmp_path / "a.wav", [audio], rate_hz=48000, channels=2, frames=3, sample_format="pcm16", seed=1)
    back = soundfile.read(tmp_path / "a.wav", dtype="int16")[0]
    assert written.clipped_samples in (2, 3)  # 1.0 is one code above the highest; dither decides
    assert (back[0, 0], back[0, 1], back[2, 0]) == (32767, -32768, 32767)


@pytest.mark.parametrize("sample_format", FORMATS)
@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_values_that_are_not_finite_are_refused(tmp_path: Path, sample_format: SampleFormat, value: float) -> None:
    audio = np.zeros((10, 2))
    audio[5, 1] = value
    with pytest.raises(OutputError, match="not a number"):
        write(tmp_path / "a.wav", audio, sample_format)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("frames", [9, 11])
def test_a_wrong_length_is_refused(tmp_path: Path, frames: int) -> None:
    with pytest.raises(InternalError):
        write_wav(
            tmp_path / "a.wav", [np.zeros((10, 2))], rate_hz=48000, channels=2, frames=frames, sample_format="pcm24"
        )
    assert list(tmp_path.iterdir()) == []


def test_plain_header_is_the_classic_44_bytes() -> None:
    head = wav_header(100, 2, 48000, "pcm24")
    assert len(head) == 44
    assert head[:4] + head[8:16] == b"RIFFWAVEfmt "
    assert struct.unpack("<HHIIHH", chunks(head)[b"fmt "]) == (1, 2, 48000, 288000, 6, 24)


def test_float_has_a_fact_chunk_and_many_channels_the_extensible_form() -> None:
    found = chunks(wav_header(100, 2, 96000, "float32"))
    assert struct.unpack("<HHIIHHH", found[b"fmt "]) == (3, 2, 96000, 768000, 8, 32, 0)
    assert found[b"fact"] == struct.pack("<I", 100)
    extensible = chunks(wav_header(100, 6, 48000, "pcm24"))[b"fmt "]
    assert struct.unpack("<H", extensible[:2]) == (0xFFFE,)
    # The sub-format of PCM, as its registered GUID 00000001-0000-0010-8000-00AA00389B71.
    assert extensible[24:].hex() == "0100000000001000800000aa00389b71"


@pytest.mark.parametrize("sample_format", ["pcm24", "float32"])
def test_rf64_takes_over_where_the_sizes_no_longer_fit(sample_format: SampleFormat) -> None:
    # EBU Tech 3306: sizes of 0xFFFFFFFF, `ds64` first, with the 64-bit sizes and the number of frames.
    frame_bytes = 6 if sample_format == "pcm24" else 8
    last_plain = next(
        n for n in range(2**32 // frame_bytes, 0, -1) if wav_header(n, 2, 48000, sample_format)[:4] == b"RIFF"
    )
    plain = wav_header(last_plain, 2, 48000, sample_format)
    assert 2**32 - 100 < struct.unpack("<I", plain[4:8])[0] == len(plain) - 8 + last_plain * frame_bytes
    frames = last_plain + 1
    head = wav_header(frames, 2, 48000, sample_format)
    assert (head[:4], head[4:8], head[8:16]) == (b"RF64", b"\xff" * 4, b"WAVEds64")
    riff, data, samples, table = struct.unpack("<QQQI", chunks(head)[b"ds64"])
    assert (data, samples, table) == (frames * frame_bytes, frames, 0)
    assert riff == len(head) - 8 + data
    assert head[-8:] == b"data" + b"\xff" * 4


def test_rf64_is_read_back_by_soundfile(tmp_path: Path) -> None:
    # A sparse file: only the header and the last frame take room on the disk.
    frames, path = 2**32 // 6 + 10, tmp_path / "long.wav"
    head = wav_header(frames, 2, 48000, "pcm24")
    with path.open("wb") as file:
        file.write(head)
        file.seek(len(head) + (frames - 1) * 6)
        file.write(bytes([0, 0, 64, 0, 0, 192]))
    with soundfile.SoundFile(path) as sound:
        assert (sound.format, sound.frames) == ("RF64", frames)
        sound.seek(frames - 1)
        np.testing.assert_array_equal(sound.read(1), [[0.5, -0.5]])


def test_an_error_leaves_the_old_file(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(b"old")

    def failing() -> Iterator[np.ndarray]:
        yield np.zeros((10, 2))
        raise RuntimeError("in the middle")

    with pytest.raises(RuntimeError):
        write_wav(path, failing(), rate_hz=48000, channels=2, frames=20, sample_format="pcm24")
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.wav"]


KILLED = """
import os, signal, sys
from pathlib import Path
import numpy as np
from mixwright.io.write import write_wav
def blocks():
    yield np.zeros((100000, 2))
    os.kill(os.getpid(), signal.SIGKILL)
write_wav(Path(sys.argv[1]), blocks(), rate_hz=48000, channels=2, frames=200000, sample_format="pcm24")
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
def test_a_kill_leaves_no_file_and_the_next_run_cleans_up(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    assert subprocess.run([sys.executable, "-c", KILLED, str(path)], check=False).returncode == -9
    assert not path.exists()
    assert len(list(tmp_path.iterdir())) == 1
    write(path, np.zeros((10, 2)), "pcm24")
    assert [p.name for p in tmp_path.iterdir()] == ["a.wav"]


FULL = """
import resource, signal, sys
from pathlib import Path
import numpy as np
from mixwright.errors import OutputError
from mixwright.io.write import write_wav
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
try:
    write_wav(Path(sys.argv[1]), [np.zeros((9999, 2))], rate_hz=48000, channels=2, frames=9999, sample_format="pcm24")
except OutputError as error:
    print(error)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on the size of files")
def test_a_file_that_cannot_grow_leaves_nothing(tmp_path: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-c", FULL, str(tmp_path / "a.wav")], capture_output=True, text=True, check=True
    )
    assert "cannot be written" in run.stdout
    assert list(tmp_path.iterdir()) == []
