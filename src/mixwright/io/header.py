# SPDX-License-Identifier: Apache-2.0
"""What an audio file is, told by its first bytes, and how much audio its header promises.

Decoders cut a promise that the file does not keep without a word; here the chunks are walked with 64-bit
arithmetic, a bounded number of steps and no memory taken by declared size. The decoding child imports this module:
it needs the standard library alone.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import IO

_MAX_CHUNKS = 1000
_W64_RIFF = b"riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\x00\x00"
_UNKNOWN = 0xFFFFFFFF


@dataclass(frozen=True)
class Header:
    """What the header says: container, promised frames (None when it does not say), audio bytes it denies."""

    container: str
    frames: int | None = None
    audio_bytes_left: int = 0


@dataclass(frozen=True)
class _Chunk:
    name: bytes
    start: int
    size: int


def read_header(file: IO[bytes]) -> Header | None:
    """Return what a file says of itself; None when it is no audio that is known here."""
    end = file.seek(0, 2)
    start = _after_tags(file, end)
    head = _at(file, start, 40)
    if head[:4] in (b"RIFF", b"RIFX", b"RF64") and head[8:12] == b"WAVE":
        return _riff(file, start, end, head[:4])
    if head[:16] == _W64_RIFF:
        return _w64(file, start, end)
    if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
        return _aiff(file, start, end, head[8:12].decode("ascii"))
    if head[:4] == b"caff":
        return _caf(file, start, end)
    if head[:4] == b"fLaC":
        return Header("FLAC")
    if head[:4] == b"OggS":
        return Header("OGG")
    if _is_mpeg_frame(head):
        return Header("MP3")
    return None


def _at(file: IO[bytes], position: int, size: int) -> bytes:
    file.seek(position)
    return file.read(size)


def _after_tags(file: IO[bytes], end: int) -> int:
    """Skip ID3v2 tags in front: ten bytes and a length of four times seven bits (ID3v2.4.0, section 3.1)."""
    position = 0
    for _ in range(_MAX_CHUNKS):
        head = _at(file, position, 10)
        if len(head) < 10 or head[:3] != b"ID3" or any(byte > 127 for byte in head[6:]):
            break
        size = head[6] << 21 | head[7] << 14 | head[8] << 7 | head[9]
        position += 10 + size + (10 if head[5] & 0x10 else 0)
        if position >= end:
            break
    return position


def _is_mpeg_frame(head: bytes) -> bool:
    """Tell whether a frame header of MPEG audio stands here (ISO/IEC 11172-3, 2.4.2.3): no reserved value."""
    if len(head) < 4 or head[0] != 0xFF or head[1] & 0xE0 != 0xE0:
        return False
    version, layer = head[1] >> 3 & 3, head[1] >> 1 & 3
    bitrate, rate = head[2] >> 4, head[2] >> 2 & 3
    return version != 1 and layer != 0 and bitrate not in (0, 15) and rate != 3


def _chunks(file: IO[bytes], position: int, end: int, order: str) -> Iterator[_Chunk]:
    for _ in range(_MAX_CHUNKS):
        head = _at(file, position, 8)
        if len(head) < 8:
            return
        name, size = struct.unpack(f"{order}4sI", head)
        yield _Chunk(name, position + 8, size)
        position += 8 + size + size % 2
        if position >= end:
            return


def _riff(file: IO[bytes], start: int, end: int, kind: bytes) -> Header:
    order = ">" if kind == b"RIFX" else "<"
    header = Header("RF64" if kind == b"RF64" else "WAV")
    frame_bytes = 0
    long_size: int | None = None
    for chunk in _chunks(file, start + 12, end, order):
        body = _at(file, chunk.start, 40)
        if chunk.name == b"ds64" and len(body) >= 16:
            long_size = struct.unpack("<Q", body[8:16])[0]
        elif chunk.name == b"fmt " and len(body) >= 16:
            frame_bytes = _frame_bytes(body, order)
        elif chunk.name == b"data":
            size: int | None = chunk.size
            if size == _UNKNOWN:
                size = long_size if kind == b"RF64" else None
            if size == 0 and not _looks_like_chunk(file, chunk.start, end, order):
                return replace(header, frames=0, audio_bytes_left=end - chunk.start)
            if size is not None and frame_bytes:
                return replace(header, frames=size // frame_bytes)
            return header
    return header


def _frame_bytes(body: bytes, order: str) -> int:
    """Return the bytes of one frame of uncompressed samples; 0 when compressed."""
    tag, channels, _, _, _, bits = struct.unpack(f"{order}HHIIHH", body[:16])
    if tag == 0xFFFE and len(body) >= 26:
        tag = struct.unpack(f"{order}H", body[24:26])[0]
    return channels * ((bits + 7) // 8) if tag in (1, 3, 6, 7) else 0


def _looks_like_chunk(file: IO[bytes], position: int, end: int, order: str) -> bool:
    """Tell whether a chunk, or the end, follows."""
    head = _at(file, position, 8)
    if len(head) < 8:
        return True
    name, size = struct.unpack(f"{order}4sI", head)
    return all(32 <= byte < 127 for byte in name) and position + 8 + size <= end


def _w64(file: IO[bytes], start: int, end: int) -> Header:
    """Walk 128-bit names and 64-bit sizes that count themselves, on multiples of 8 bytes."""
    position = start + 40
    frame_bytes = 0
    for _ in range(_MAX_CHUNKS):
        head = _at(file, position, 24)
        if len(head) < 24:
            break
        size = struct.unpack("<Q", head[16:])[0]
        if head[:4] == b"fmt ":
            body = _at(file, position + 24, 40)
            frame_bytes = _frame_bytes(body, "<") if len(body) >= 16 else 0
        elif head[:4] == b"data":
            return Header("W64", (size - 24) // frame_bytes if frame_bytes and size >= 24 else None)
        position += max(24, size + 7 & ~7)
        if position >= end:
            break
    return Header("W64")


def _aiff(file: IO[bytes], start: int, end: int, kind: str) -> Header:
    for chunk in _chunks(file, start + 12, end, ">"):
        if chunk.name == b"COMM":
            body = _at(file, chunk.start, 8)
            return Header(kind, struct.unpack(">I", body[2:6])[0] if len(body) == 8 else None)
    return Header(kind)


def _caf(file: IO[bytes], start: int, end: int) -> Header:
    position = start + 8
    packet_bytes, packet_frames = 0, 0
    for _ in range(_MAX_CHUNKS):
        head = _at(file, position, 12)
        if len(head) < 12:
            break
        name, size = struct.unpack(">4sq", head)
        if name == b"desc":
            body = _at(file, position + 12, 32)
            if len(body) == 32:
                packet_bytes, packet_frames = struct.unpack(">II", body[16:24])
        elif name == b"data":
            known = size >= 4 and packet_bytes and packet_frames
            return Header("CAF", (size - 4) // packet_bytes * packet_frames if known else None)
        if size < 0:
            break
        position += 12 + size
        if position >= end:
            break
    return Header("CAF")
