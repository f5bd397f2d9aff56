# SPDX-License-Identifier: Apache-2.0
"""What is said of files that are not as they should be."""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from malformed import FRAMES, UNKNOWN, Ugly, chunk, ds64, fmt, long_riff, noise, riff, ugly_files
from mixwright.errors import InputError
from mixwright.io.chunks import MAX_CHUNKS, read_chunks
from mixwright.io.decode import Decoder
from mixwright.io.view import sound_wave

UGLY = ugly_files()


@pytest.fixture(scope="module")
def decoder() -> Iterator[Decoder]:
    with Decoder() as opened:
        yield opened


@pytest.mark.parametrize("name", UGLY)
def test_every_kind_of_damage(tmp_path: Path, decoder: Decoder, name: str) -> None:
    ugly: Ugly = UGLY[name]
    path, into = tmp_path / "a.wav", tmp_path / "a.npy"
    path.write_bytes(ugly.content)
    if ugly.frames is None:
        with pytest.raises(InputError) as told:
            decoder.decode(path, into)
        assert ugly.says in str(told.value)
        assert "\n" not in str(told.value)
        return
    info = decoder.decode(path, into)
    assert (info.frames, info.header_frames) == (ugly.frames, ugly.header_frames)
    assert bool(info.disagreements) == ("header_differs" in ugly.faults and ugly.header_frames is None)
    said = "; ".join(info.disagreements)
    assert ugly.says in said or ugly.header_frames is not None or not info.frames or not ugly.is_used
    assert np.load(into).shape == (ugly.frames, info.channels)
    again = decoder.probe(path)
    assert (again.frames, again.disagreements) == (info.frames, info.disagreements)


def test_bw64_holds_what_wav_holds(tmp_path: Path, decoder: Decoder) -> None:
    data = noise(5, 2 * FRAMES)
    (tmp_path / "a").write_bytes(riff(fmt(2), chunk(b"data", data)))
    (tmp_path / "b").write_bytes(long_riff(b"BW64", ds64(len(data)), fmt(2), chunk(b"data", data, UNKNOWN)))
    plain = decoder.decode(tmp_path / "a", tmp_path / "a.npy")
    named = decoder.decode(tmp_path / "b", tmp_path / "b.npy")
    assert (named.container, named.channels, named.frames) == ("BW64", 2, plain.frames)
    np.testing.assert_array_equal(np.load(tmp_path / "a.npy"), np.load(tmp_path / "b.npy"))


def test_a_view_reads_anywhere(tmp_path: Path) -> None:
    data = noise(6)
    (tmp_path / "b").write_bytes(long_riff(b"BW64", ds64(len(data)), fmt(), chunk(b"data", data, UNKNOWN)))
    with (tmp_path / "b").open("rb") as file:
        chunks = read_chunks(file)
        assert chunks is not None
        view = io.BufferedReader(sound_wave(file, chunks).detach(), 16)
        whole = view.read()
        assert whole == long_riff(b"RF64", chunk(b"ds64", whole[20:48]), fmt(), chunk(b"data", data, UNKNOWN))
        for position, size in ((0, 3), (70, 40), (len(whole) - 5, 100), (len(whole) + 9, 10)):
            view.seek(position)
            assert view.read(size) == whole[position : position + size]
        assert view.seek(-2, 2) == len(whole) - 2


def test_the_time_stamp_is_found(tmp_path: Path, decoder: Decoder) -> None:
    bext = bytearray(602)
    bext[338:346] = struct.pack("<II", 5, 1)  # low and high half, EBU Tech 3285 version 2, Table 1
    (tmp_path / "a").write_bytes(riff(chunk(b"bext", bytes(bext)), fmt(), chunk(b"data", noise(7))))
    assert decoder.probe(tmp_path / "a").time_stamp_frames == 2**32 + 5
    (tmp_path / "a").write_bytes(riff(fmt(), chunk(b"data", noise(7))))
    assert decoder.probe(tmp_path / "a").time_stamp_frames is None


def sparse(path: Path, head: bytes, length: int) -> Path:
    """Write a head and nothing after it, so that the disk holds next to nothing."""
    with path.open("wb") as file:
        file.write(head)
        file.truncate(length)
    return path


LONG = 2**32 // 6 + 10  # frames of stereo, 24 bits: past 4 GiB


def w64_chunk(name: bytes, size: int) -> bytes:
    return name + bytes.fromhex("f3acd3118cd100c04f8edb8a") + struct.pack("<Q", size)


LAYOUT_24 = fmt(2, bits=24)
W64_START = b"riff" + bytes.fromhex("2e91cf11a5d628db04c10000")
HEADS = {
    "BW64": long_riff(b"BW64", ds64(6 * LONG), LAYOUT_24, chunk(b"data", b"", UNKNOWN)),
    "RF64": long_riff(b"RF64", ds64(6 * LONG), LAYOUT_24, chunk(b"data", b"", UNKNOWN)),
    "W64": W64_START
    + struct.pack("<Q", 104 + 6 * LONG)
    + w64_chunk(b"wave", 0)[:16]
    + w64_chunk(b"fmt ", 40)
    + LAYOUT_24[8:]
    + w64_chunk(b"data", 24 + 6 * LONG),
}


@pytest.mark.parametrize("container", HEADS)
def test_past_4_gib(tmp_path: Path, decoder: Decoder, container: str) -> None:
    head = HEADS[container]
    info = decoder.probe(sparse(tmp_path / "whole", head, len(head) + 6 * LONG))
    assert (info.container, info.frames, info.header_frames, info.disagreements) == (container, LONG, None, ())
    info = decoder.probe(sparse(tmp_path / "cut", head, len(head) + 2**32))
    assert (info.frames, info.header_frames) == (2**32 // 6, LONG)


def test_w64_that_does_not_say_how_long_it_is(tmp_path: Path, decoder: Decoder) -> None:
    head = HEADS["W64"][:-8] + struct.pack("<Q", 24)
    info = decoder.probe(sparse(tmp_path / "a", head, len(head) + 600))
    assert (info.container, info.frames, info.header_frames) == ("W64", 100, None)
    assert "how much audio" in info.disagreements[0]


def test_bytes_of_frames_past_32_bits(tmp_path: Path, decoder: Decoder) -> None:
    # 3 GB of 8 channels: more than a signed 32-bit number of bytes, within the sizes of plain WAV.
    frames = 3 * 10**9 // 16
    head = riff(fmt(8), chunk(b"data", b"", 16 * frames), size=36 + 16 * frames)
    info = decoder.probe(sparse(tmp_path / "wide", head, len(head) + 16 * frames))
    assert (info.channels, info.frames, info.header_frames, info.disagreements) == (8, frames, None, ())


def test_chunks_after_more_than_4_gib_are_found(tmp_path: Path) -> None:
    head = HEADS["BW64"]
    path = sparse(tmp_path / "a", head, len(head) + 6 * LONG)
    with path.open("ab") as file:
        file.write(chunk(b"axml", b"<a/>"))
    with path.open("rb") as file:
        chunks = read_chunks(file)
    assert chunks is not None
    assert [one.name for one in chunks.chunks] == [b"ds64", b"fmt ", b"data", b"axml"]
    assert chunks.chunks[-1].start == len(head) + 6 * LONG + 8
    assert not any(one.cut for one in chunks.chunks)


def test_the_list_is_bounded(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(riff(chunk(b"junk", b"") * (MAX_CHUNKS + 1)))
    with (tmp_path / "a").open("rb") as file:
        chunks = read_chunks(file)
    assert chunks is not None
    assert len(chunks.chunks) == MAX_CHUNKS
    assert chunks.unlisted
