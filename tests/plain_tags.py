# SPDX-License-Identifier: Apache-2.0
"""Plain parsers of tags, written from the published layouts alone: nothing of the project is used here."""

from __future__ import annotations

import struct


def riff_chunks(content: bytes) -> list[tuple[bytes, bytes]]:
    """Names and bodies of the chunks of a RIFF or RF64 file; the last may be cut."""
    found, at = [], 12
    while at + 8 <= len(content):
        name, size = struct.unpack_from("<4sI", content, at)
        found.append((name, content[at + 8 : at + 8 + size]))
        at += 8 + size + size % 2
    return found


def list_entries(body: bytes) -> dict[bytes, list[bytes]]:
    """Entries of a LIST body behind its kind."""
    found: dict[bytes, list[bytes]] = {}
    at = 4
    while at < len(body):
        name, size = struct.unpack_from("<4sI", body, at)
        found.setdefault(name, []).append(body[at + 8 : at + 8 + size])
        at += 8 + size + size % 2
    return found


def cue_points(body: bytes) -> list[tuple[int, int, bytes, int]]:
    """Number, position, chunk and sample offset of each cue point (RIFF 1991)."""
    count = struct.unpack_from("<I", body)[0]
    assert len(body) == 4 + 24 * count
    points = [struct.unpack_from("<II4sIII", body, 4 + 24 * i) for i in range(count)]
    return [(number, position, chunk, offset) for number, position, chunk, _, _, offset in points]


def id3_frames(content: bytes) -> list[tuple[str, bytes]]:
    """Frames of an ID3v2.4 tag in front (id3.org, 2.4.0 structure, sections 3 and 4)."""
    mark, version, revision, flags = struct.unpack_from(">3sBBB", content)
    assert (mark, version, revision, flags) == (b"ID3", 4, 0, 0)
    assert all(byte < 128 for byte in content[6:10])
    size = sum(byte << 7 * (3 - i) for i, byte in enumerate(content[6:10]))
    return _id3_frames(content[10 : 10 + size])


def _id3_frames(body: bytes) -> list[tuple[str, bytes]]:
    found, at = [], 0
    while at < len(body) and body[at]:
        name, flags = body[at : at + 4].decode("ascii"), body[at + 8 : at + 10]
        assert flags == b"\0\0"
        size = sum(byte << 7 * (3 - i) for i, byte in enumerate(body[at + 4 : at + 8]))
        found.append((name, body[at + 10 : at + 10 + size]))
        at += 10 + size
    assert not body[at:].strip(b"\0")  # padding (section 3.3)
    return found


def id3_texts(frames: list[tuple[str, bytes]], name: str) -> list[str]:
    """Texts of the only frame of a name; UTF-8, between zeros."""
    (body,) = [body for one, body in frames if one == name]
    assert body[0] == 3
    return body[1:].decode("utf-8").split("\0")


def id3_chapters(frames: list[tuple[str, bytes]]) -> list[tuple[str, int, int]]:
    """Name, start and end in milliseconds (ID3v2 Chapter Frame Addendum 1.0)."""
    found = []
    for body in (body for name, body in frames if name == "CHAP"):
        start, end, _, _ = struct.unpack_from(">4I", body, body.index(b"\0") + 1)
        inner = _id3_frames(body[body.index(b"\0") + 17 :])
        found.append((id3_texts(inner, "TIT2")[0], start, end))
    return found


def vorbis_comments(block: bytes) -> tuple[bytes, list[str]]:
    """Vendor and comments (Vorbis I specification, section 5.2.1)."""
    (size,) = struct.unpack_from("<I", block)
    vendor, at = block[4 : 4 + size], 4 + size
    (count,) = struct.unpack_from("<I", block, at)
    at += 4
    found = []
    for _ in range(count):
        (size,) = struct.unpack_from("<I", block, at)
        found.append(block[at + 4 : at + 4 + size].decode("utf-8"))
        at += 4 + size
    return vendor, found


def flac_blocks(content: bytes) -> tuple[list[tuple[int, bytes]], bytes]:
    """Metadata blocks as kind and body, and all behind them (RFC 9639, section 8)."""
    assert content[:4] == b"fLaC"
    found, at, last = [], 4, False
    while not last:
        last = content[at] >= 128
        size = int.from_bytes(content[at + 1 : at + 4])
        found.append((content[at] & 127, content[at + 4 : at + 4 + size]))
        at += 4 + size
    return found, content[at:]


def ogg_crc(page: bytes) -> int:
    """CRC of a page, bit by bit (RFC 3533, section 6: 0x04c11db7, initial value and final exclusive-or 0)."""
    value = 0
    for byte in page:
        value ^= byte << 24
        for _ in range(8):
            value = (value << 1 ^ (0x04C11DB7 if value & 1 << 31 else 0)) & 0xFFFFFFFF
    return value


def ogg_pages(content: bytes, *, check_sums: int = 10**9) -> list[tuple[int, int, int, int, list[bytes]]]:
    """Flags, position, serial, number and pieces of packets of each page; the sums of the first ones are checked."""
    found, at = [], 0
    while at < len(content):
        mark, version, flags, position, serial, number, crc, segments = struct.unpack_from("<4sBBqIIIB", content, at)
        assert (mark, version) == (b"OggS", 0)
        sizes = content[at + 27 : at + 27 + segments]
        end = at + 27 + segments + sum(sizes)
        if len(found) < check_sums:
            assert ogg_crc(content[at : at + 22] + bytes(4) + content[at + 26 : end]) == crc
        pieces, start, length = [], at + 27 + segments, 0
        for size in sizes:
            length += size
            if size < 255:
                pieces.append(content[start : start + length])
                start, length = start + length, 0
        if length:
            pieces.append(content[start : start + length])
        found.append((flags, position, serial, number, pieces))
        at = end
    return found
