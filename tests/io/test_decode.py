# SPDX-License-Identifier: Apache-2.0
"""Decoding in a child process: every format, hostile names and bytes, limits."""

from __future__ import annotations

import contextlib
import os
import struct
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from mixwright.errors import FileFormatError, InputError, LimitError, OutputError
from mixwright.io.decode import Decoder
from mixwright.io.write import wav_header

RATE_HZ = 44100
posix = pytest.mark.skipif(os.name != "posix", reason="POSIX signals")


@pytest.fixture(scope="module")
def decoder() -> Iterator[Decoder]:
    with Decoder() as opened:
        yield opened


@pytest.fixture(scope="module")
def audio() -> np.ndarray:
    t = np.arange(70_001) / RATE_HZ  # longer than one block, odd
    return np.stack([0.5 * np.sin(2 * np.pi * 440 * t), 0.25 * np.sin(2 * np.pi * 997 * t)], axis=1)


def wav(path: Path, frames: int = 1000, channels: int = 2, rate_hz: int = RATE_HZ, body: bytes | None = None) -> Path:
    data = os.urandom(frames * channels * 2) if body is None else body
    path.write_bytes(wav_header(frames, channels, rate_hz, "pcm16") + data)
    return path


LOSSLESS = [
    ("WAV", "PCM_U8", "WAV", "pcm8", 8, 2**-7),
    ("WAV", "PCM_16", "WAV", "pcm16", 16, 2**-15),
    ("WAV", "PCM_24", "WAV", "pcm24", 24, 2**-23),
    ("WAV", "PCM_32", "WAV", "pcm32", 32, 2**-24),
    ("WAV", "FLOAT", "WAV", "float32", None, 2**-24),
    ("WAV", "DOUBLE", "WAV", "float64", None, 2**-24),
    ("WAVEX", "PCM_24", "WAV", "pcm24", 24, 2**-23),
    ("RF64", "PCM_24", "RF64", "pcm24", 24, 2**-23),
    ("W64", "PCM_24", "W64", "pcm24", 24, 2**-23),
    ("AIFF", "PCM_24", "AIFF", "pcm24", 24, 2**-23),
    ("AIFF", "FLOAT", "AIFC", "float32", None, 2**-24),
    ("CAF", "PCM_24", "CAF", "pcm24", 24, 2**-23),
    ("CAF", "FLOAT", "CAF", "float32", None, 2**-24),
    ("FLAC", "PCM_24", "FLAC", "pcm24", 24, 2**-23),
    ("FLAC", "PCM_16", "FLAC", "pcm16", 16, 2**-15),
]


@pytest.mark.parametrize(("form", "subtype", "container", "encoding", "bits", "step"), LOSSLESS)
def test_lossless_formats(
    tmp_path: Path,
    decoder: Decoder,
    audio: np.ndarray,
    form: str,
    subtype: str,
    container: str,
    encoding: str,
    bits: int | None,
    step: float,
) -> None:
    path, into = tmp_path / "file with the wrong ending.raw", tmp_path / "into.npy"
    with path.open("wb") as file:
        soundfile.write(file, audio, RATE_HZ, format=form, subtype=subtype)
    info = decoder.decode(path, into)
    assert (info.container, info.encoding, info.bits) == (container, encoding, bits)
    assert (info.sample_rate_hz, info.channels, info.frames) == (RATE_HZ, 2, len(audio))
    assert info.header_frames is None
    assert decoder.probe(path) == info
    decoded = np.load(into)
    assert decoded.dtype == np.float32
    np.testing.assert_allclose(decoded, audio, atol=step, rtol=2**-23)


@pytest.mark.parametrize(
    ("form", "subtype", "rate_hz", "encoding"),
    [
        ("MP3", "MPEG_LAYER_III", 44100, "mpeg layer 3"),
        ("OGG", "VORBIS", 44100, "vorbis"),
        ("OGG", "OPUS", 48000, "opus"),
    ],
)
def test_lossy_formats(
    tmp_path: Path, decoder: Decoder, audio: np.ndarray, form: str, subtype: str, rate_hz: int, encoding: str
) -> None:
    path, into = tmp_path / "file", tmp_path / "into.npy"
    with soundfile.SoundFile(path, "w", rate_hz, 2, subtype, format=form) as sound:
        for start in range(0, len(audio), 4096):
            sound.write(audio[start : start + 4096])
    info = decoder.decode(path, into)
    assert (info.container, info.encoding, info.bits) == (form, encoding, None)
    assert (info.sample_rate_hz, info.frames) == (rate_hz, len(audio))
    decoded = np.load(into)
    expected = soundfile.read(path, dtype="float32")[0]
    np.testing.assert_array_equal(decoded, expected)
    middle = slice(5000, -5000)
    assert np.corrcoef(decoded[middle, 0], audio[middle, 0])[0, 1] > 0.999  # aligned: no delay left


@pytest.mark.parametrize(
    ("form", "subtype", "endian", "encoding", "step"),
    [
        ("WAV", "PCM_24", "BIG", "pcm24", 2**-23),
        ("AIFF", "PCM_16", "LITTLE", "pcm16", 2**-15),
        ("CAF", "PCM_24", "LITTLE", "pcm24", 2**-23),
        ("WAV", "ULAW", "FILE", "mu-law", 2**-5),
    ],
)
def test_the_other_byte_order_and_companded_samples(
    tmp_path: Path,
    decoder: Decoder,
    audio: np.ndarray,
    form: str,
    subtype: str,
    endian: str,
    encoding: str,
    step: float,
) -> None:
    soundfile.write(tmp_path / "a", audio, RATE_HZ, format=form, subtype=subtype, endian=endian)
    info = decoder.decode(tmp_path / "a", tmp_path / "a.npy")
    assert (info.encoding, info.frames, info.header_frames) == (encoding, len(audio), None)
    np.testing.assert_allclose(np.load(tmp_path / "a.npy"), audio, atol=step)


def test_more_than_4_gib_is_read_with_64_bit_sizes(tmp_path: Path, decoder: Decoder) -> None:
    frames = 2**32 // 6 + 10  # sparse: takes no room on the disk
    with (tmp_path / "long.wav").open("wb") as file:
        head = wav_header(frames, 2, 48000, "pcm24")
        file.write(head)
        file.truncate(len(head) + 6 * frames)
    info = decoder.probe(tmp_path / "long.wav")
    assert (info.container, info.frames, info.header_frames) == ("RF64", frames, None)


def test_values_over_full_scale_and_not_finite_are_kept(tmp_path: Path, decoder: Decoder) -> None:
    audio = np.array([[2.5], [np.nan], [np.inf], [-np.inf], [1e-42]], np.float32)
    soundfile.write(tmp_path / "a.wav", audio, RATE_HZ, subtype="FLOAT")
    decoder.decode(tmp_path / "a.wav", tmp_path / "a.npy")
    np.testing.assert_array_equal(np.load(tmp_path / "a.npy"), [*audio[:4], [0.0]])  # the last is slow, and not heard


NAMES = ["-rf.wav", "--help", "new\nline\r.wav", "tab\t \x1b[31m.wav", "quote'\"$(id).wav", "caf\u00e9 \u202e.wav", " "]


@pytest.mark.parametrize("name", NAMES)
def test_hostile_names(tmp_path: Path, decoder: Decoder, name: str) -> None:
    assert decoder.decode(wav(tmp_path / name), tmp_path / "a.npy").frames == 1000
    (tmp_path / name).write_bytes(b"nothing of the kind")
    with pytest.raises(FileFormatError) as caught:
        decoder.probe(tmp_path / name)
    assert str(caught.value).isprintable()


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="names are Unicode there")
def test_name_that_is_no_text(tmp_path: Path, decoder: Decoder) -> None:
    assert decoder.probe(wav(tmp_path / os.fsdecode(b"take \xff\xfe.wav"))).frames == 1000


def test_relative_names(tmp_path: Path, decoder: Decoder, monkeypatch: pytest.MonkeyPatch) -> None:
    wav(tmp_path / "-")
    monkeypatch.chdir(tmp_path)
    assert decoder.decode(Path("-"), Path("a.npy")).frames == 1000


TEXTS = [
    (b"", "is empty"),
    (b"RIFF", "no audio"),
    (b"  <!DOCTYPE html><html>", "web page"),
    (b"PK\x03\x04" + bytes(100), "archive"),
    (b"\0\0\0\x20ftypM4A " + bytes(100), "M4A|no audio track"),
    (b"BW64" + bytes(100), "no audio"),
    (b"BW64\xff\xff\xff\xffWAVE" + bytes(100), "no chunk of audio"),
    (b"plain words, many of them", "no audio"),
    (b"RIFF\x24\0\0\0WAVEfmt ", "cannot be decoded"),
]


@pytest.mark.parametrize(("content", "message"), TEXTS)
def test_what_is_no_audio_says_so(tmp_path: Path, decoder: Decoder, content: bytes, message: str) -> None:
    (tmp_path / "a.wav").write_bytes(content)
    with pytest.raises(FileFormatError, match=message) as caught:
        decoder.decode(tmp_path / "a.wav", tmp_path / "a.npy")
    assert caught.value.where.endswith("a.wav")
    assert "\n" not in str(caught.value)


def test_missing_files_and_folders(tmp_path: Path, decoder: Decoder) -> None:
    with pytest.raises(InputError, match=r"(?i)no such file"):
        decoder.probe(tmp_path / "missing.wav")
    with pytest.raises(InputError, match="not a file"):
        decoder.probe(tmp_path)


def test_no_place_to_decode_to_is_no_fault_of_the_file(tmp_path: Path, decoder: Decoder) -> None:
    with pytest.raises(OutputError) as told:
        decoder.decode(wav(tmp_path / "a.wav"), tmp_path / "missing" / "a.npy")
    assert told.value.where == str(tmp_path / "missing")
    (tmp_path / "folder").mkdir()
    with pytest.raises(OutputError):
        decoder.decode(wav(tmp_path / "a.wav"), tmp_path / "folder")


@posix
def test_a_pipe_does_not_block(tmp_path: Path, decoder: Decoder) -> None:
    os.mkfifo(tmp_path / "pipe.wav")
    with pytest.raises(InputError, match="not a file"):
        decoder.probe(tmp_path / "pipe.wav")


@pytest.mark.parametrize(("channels", "rate_hz"), [(65, 48000), (2, 7999), (2, 384001)])
def test_limits(tmp_path: Path, decoder: Decoder, channels: int, rate_hz: int) -> None:
    with pytest.raises(LimitError):
        decoder.probe(wav(tmp_path / "a.wav", channels=channels, rate_hz=rate_hz))
    assert decoder.probe(wav(tmp_path / "b.wav", channels=64, rate_hz=384000)).channels == 64


def test_longer_than_a_day(tmp_path: Path, decoder: Decoder) -> None:
    frames = 24 * 3600 * 8000 + 8000
    with (tmp_path / "a.wav").open("wb") as file:
        file.write(wav_header(frames, 1, 8000, "pcm16"))
        file.truncate(44 + 2 * frames)
    with pytest.raises(LimitError, match="24 hours"):
        decoder.decode(tmp_path / "a.wav", tmp_path / "a.npy")


def cut(path: Path, by: int) -> None:
    path.write_bytes(path.read_bytes()[:-by])


@pytest.mark.parametrize("form", ["WAV", "RF64", "W64", "AIFF", "CAF"])
def test_a_file_that_was_cut_says_what_was_promised(tmp_path: Path, decoder: Decoder, form: str) -> None:
    path = tmp_path / "a"
    soundfile.write(path, np.zeros((1000, 2)), RATE_HZ, format=form, subtype="PCM_16")
    cut(path, 400)
    info = decoder.decode(path, tmp_path / "a.npy")
    assert info.header_frames == 1000
    assert 898 <= info.frames <= 900  # libsndfile takes two frames off a CAF file that was cut
    assert np.load(tmp_path / "a.npy").shape == (info.frames, 2)


def test_flac_that_was_cut(tmp_path: Path, decoder: Decoder) -> None:
    path = tmp_path / "a.flac"
    soundfile.write(path, np.random.default_rng(0).uniform(-1, 1, (150000, 1)), RATE_HZ, subtype="PCM_16")
    cut(path, 30000)
    info = decoder.decode(path, tmp_path / "a.npy")
    assert info.header_frames == 150000
    assert info.frames in range(65536, 150000)


def test_header_without_length_is_read_to_the_end(tmp_path: Path, decoder: Decoder) -> None:
    path = wav(tmp_path / "a.wav")
    data = bytearray(path.read_bytes())
    data[4:8] = data[40:44] = b"\xff" * 4
    path.write_bytes(data)
    info = decoder.decode(path, tmp_path / "a.npy")
    assert (info.frames, info.header_frames) == (1000, None)
    whole = np.load(tmp_path / "a.npy")
    data[40:44] = bytes(4)  # a recorder that was switched off before it wrote the length
    path.write_bytes(data)
    info = decoder.decode(path, tmp_path / "a.npy")
    assert (info.frames, info.header_frames) == (1000, None)
    assert any("how much audio" in said for said in info.disagreements)
    np.testing.assert_array_equal(np.load(tmp_path / "a.npy"), whole)


def test_empty_audio_is_no_error(tmp_path: Path, decoder: Decoder) -> None:
    assert decoder.decode(wav(tmp_path / "a.wav", frames=0), tmp_path / "a.npy").frames == 0
    assert np.load(tmp_path / "a.npy").shape == (0, 2)


def test_tags_in_front_are_skipped(tmp_path: Path, decoder: Decoder) -> None:
    path = wav(tmp_path / "a.wav")
    path.write_bytes(b"ID3\x04\0\0\0\0\x01\0" + bytes(128) + path.read_bytes())
    assert decoder.probe(path).container == "WAV"


CHECK_FILES = 150


@given(st.data())
@settings(max_examples=CHECK_FILES, deadline=None, suppress_health_check=list(HealthCheck))
def test_any_bytes_are_audio_or_an_input_error(
    tmp_path_factory: pytest.TempPathFactory, decoder: Decoder, data: st.DataObject
) -> None:
    starts = [b"", b"RIFF\xff\xff\xff\xffWAVE", b"FORM\0\0\xff\xffAIFF", b"caff\0\x01\0\0", b"fLaC", b"OggS"]
    starts += [b"RF64\xff\xff\xff\xffWAVEds64", b"ID3\x04\0\0", b"\xff\xfb\x90", wav_header(50, 2, 48000, "pcm24")]
    content = bytearray(data.draw(st.sampled_from(starts)) + data.draw(st.binary(max_size=300)))
    for at in data.draw(st.lists(st.integers(0, max(0, len(content) - 1)), max_size=4)):
        if content:
            content[at] = data.draw(st.integers(0, 255))
    folder = tmp_path_factory.getbasetemp()
    (folder / "fuzz").write_bytes(content)
    with contextlib.suppress(InputError):
        info = decoder.decode(folder / "fuzz", folder / "fuzz.npy")
        assert np.load(folder / "fuzz.npy").shape == (info.frames, info.channels)


def test_walk_over_damaged_chunks_ends(tmp_path: Path, decoder: Decoder) -> None:
    # Unknown chunks of no size, a thousand and more, and one that claims to be longer than the file.
    head = b"RIFF\0\0\0\0WAVE"
    for body in (b"junk\0\0\0\0" * 2000, b"junk\xf0\xff\xff\xff", b"LIST" + struct.pack("<I", 2**31 - 1)):
        (tmp_path / "a.wav").write_bytes(head + body)
        with pytest.raises(InputError):
            decoder.probe(tmp_path / "a.wav")
