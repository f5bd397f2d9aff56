# SPDX-License-Identifier: Apache-2.0
"""What is read of sound files of rarer kinds is their audio, whole; layouts as in tests/malformed.py.

Kinds of AIFC: the AIFC specification (1991) and the names that later writers added (from memory).
"""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from malformed import FRAMES, TAG, UNKNOWN, aiff, chunk, ds64, fmt, long_riff, noise, riff
from mixwright.io.decode import Decoder
from mixwright.model.audio import AudioInfo

DATA = noise(1)
WANTED = np.frombuffer(DATA, "<i2") / 32768.0
SWAPPED = np.frombuffer(DATA, "<i2").astype(">i2").tobytes()


@pytest.fixture(scope="module")
def decoder() -> Iterator[Decoder]:
    with Decoder(1) as opened:
        yield opened


def decoded(decoder: Decoder, folder: Path, content: bytes) -> tuple[AudioInfo, np.ndarray]:
    (folder / "a").write_bytes(content)
    info = decoder.decode(folder / "a", folder / "a.npy")
    return info, np.load(folder / "a.npy")


def rifx(*chunks: bytes) -> bytes:
    body = b"WAVE" + b"".join(chunks)
    return b"RIFX" + struct.pack(">I", len(body)) + body


def big(name: bytes, body: bytes, size: int | None = None) -> bytes:
    return chunk(name, body, size, ">")


BIG_FORMAT = big(b"fmt ", struct.pack(">HHIIHH", 1, 1, 48000, 96000, 2, 16))


def aifc(kind: bytes, data: bytes, bits: int, frames: int = FRAMES) -> bytes:
    rate = struct.pack(">HQ", 16383 + 15, 48000 << 48)  # 80-bit extended
    common = big(b"COMM", struct.pack(">hIh", 1, frames, bits) + rate + kind + b"\x03odd\0")
    body = b"AIFC" + big(b"FVER", struct.pack(">I", 0xA2805140)) + common + big(b"SSND", bytes(8) + data)
    return b"FORM" + struct.pack(">I", len(body)) + body


def w64_chunk(name: bytes, body: bytes) -> bytes:
    """A chunk whose size counts its head, filled up to 8 bytes (layout of W64 from memory)."""
    return (
        name
        + bytes.fromhex("f3acd3118cd100c04f8edb8a")
        + struct.pack("<Q", 24 + len(body))
        + body
        + bytes(-len(body) % 8)
    )


def w64(*chunks: bytes) -> bytes:
    rest = b"wave" + bytes.fromhex("f3acd3118cd100c04f8edb8a") + b"".join(chunks)
    return b"riff" + bytes.fromhex("2e91cf11a5d628db04c10000") + struct.pack("<Q", 24 + len(rest)) + rest


def written(container: str, subtype: str) -> bytes:
    into = io.BytesIO()
    soundfile.write(into, WANTED, 48000, format=container, subtype=subtype)
    return into.getvalue()


WHOLE = {
    "rifx": rifx(BIG_FORMAT, big(b"data", SWAPPED)),
    "rf64 of long chunks": long_riff(
        b"RF64",
        ds64(len(DATA), struct.pack("<4sQ4sQ4sQ", b"junk", 8, b"more", 3, b"junk", 5)),
        chunk(b"junk", bytes(8), UNKNOWN),
        chunk(b"more", bytes(3), UNKNOWN),
        fmt(),
        chunk(b"junk", bytes(5), UNKNOWN),
        chunk(b"data", DATA, UNKNOWN),
    ),
    "aiff behind a tag": TAG + aiff(FRAMES, SWAPPED),
    "rifx behind a tag": TAG + rifx(BIG_FORMAT, big(b"data", SWAPPED)),
    "flac behind a tag": TAG + written("FLAC", "PCM_16"),
    "caf behind a tag": TAG + written("CAF", "PCM_16"),
    "chunks of w64 behind its audio": w64(
        w64_chunk(b"fmt ", fmt()[8:]), w64_chunk(b"data", DATA), w64_chunk(b"junk", b"abc")
    ),
    "w64 with an odd chunk": w64(w64_chunk(b"junk", b"abc"), w64_chunk(b"fmt ", fmt()[8:]), w64_chunk(b"data", DATA)),
    "two tags": TAG + TAG + riff(fmt(), chunk(b"data", DATA)),
    "NONE": aifc(b"NONE", SWAPPED, 16),
    "sowt": aifc(b"sowt", DATA, 16),
    "twos": aifc(b"twos", SWAPPED, 16),
    "in24": aifc(b"in24", (WANTED * 2**23).astype(">i4").view("u1").reshape(-1, 4)[:, 1:].tobytes(), 24),
    "in32": aifc(b"in32", (WANTED * 2**31).astype(">i4").tobytes(), 32),
    "fl32": aifc(b"fl32", WANTED.astype(">f4").tobytes(), 32),
    "FL64": aifc(b"FL64", WANTED.astype(">f8").tobytes(), 64),
}  # fmt: skip


@pytest.mark.parametrize("name", WHOLE)
def test_every_sample_is_read(tmp_path: Path, decoder: Decoder, name: str) -> None:
    info, audio = decoded(decoder, tmp_path, WHOLE[name])
    assert (info.frames, info.header_frames, info.disagreements) == (FRAMES, None, ())
    np.testing.assert_array_equal(audio[:, 0], WANTED.astype(np.float32))


@pytest.mark.parametrize("container", ["ULAW", "ALAW"])
def test_coded_samples_of_aifc_count(tmp_path: Path, decoder: Decoder, container: str) -> None:
    kind = container.encode()
    info, audio = decoded(decoder, tmp_path, aifc(kind, bytes(FRAMES), 8))
    assert (info.frames, info.header_frames, info.disagreements) == (FRAMES, None, ())
    assert len(np.unique(audio)) == 1


def test_packets_of_aifc_are_not_told_as_frames(tmp_path: Path, decoder: Decoder) -> None:
    info, _ = decoded(decoder, tmp_path, aifc(b"ima4", bytes(34 * 100), 16, frames=100))
    assert (info.frames, info.header_frames) == (6400, None)  # 64 frames a packet


def test_ogg_behind_a_tag(tmp_path: Path, decoder: Decoder) -> None:
    plain = decoded(decoder, tmp_path, written("OGG", "VORBIS"))[1]
    np.testing.assert_array_equal(decoded(decoder, tmp_path, TAG + written("OGG", "VORBIS"))[1], plain)


@pytest.mark.parametrize("size", [0, UNKNOWN, 10**9])
def test_big_endian_audio_of_no_sound_length(tmp_path: Path, decoder: Decoder, size: int) -> None:
    info, audio = decoded(decoder, tmp_path, rifx(BIG_FORMAT, big(b"data", SWAPPED, size)))
    assert info.frames == FRAMES
    np.testing.assert_array_equal(audio[:, 0], WANTED.astype(np.float32))
    assert bool(info.disagreements) == (size != 10**9)


def test_audio_that_is_cut_is_found_behind_a_chunk_without_padding(tmp_path: Path, decoder: Decoder) -> None:
    content = riff(fmt(), chunk(b"bext", bytes(602) + b"A=PCM")[:-1], chunk(b"data", DATA, 4 * FRAMES))
    info, audio = decoded(decoder, tmp_path, content)
    assert (info.frames, info.header_frames) == (FRAMES, 2 * FRAMES)
    np.testing.assert_array_equal(audio[:, 0], WANTED.astype(np.float32))


def test_what_lies_behind_the_end_of_w64_is_no_chunk(tmp_path: Path, decoder: Decoder) -> None:
    content = written("W64", "PCM_16")
    info, _ = decoded(decoder, tmp_path, content + b"more of something else, for a hundred bytes" * 3)
    assert (info.frames, info.header_frames, info.disagreements) == (FRAMES, None, ())
