# SPDX-License-Identifier: Apache-2.0
"""Pages of Ogg, and the comments of an Opus or Vorbis file in them.

Sources: RFC 3533 (pages, check sum), RFC 7845 (Opus: a packet of identity and one of comments, each on pages of its
own), Ogg Vorbis I specification, section 4.2. What is read comes from a file: it is bounded.
"""

from __future__ import annotations

import itertools
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import IO

from mixwright.io.vorbis_comments import MOST_BYTES, CommentError

_HEAD = struct.Struct("<4sBBqIIIB")
_CONTINUED, _FIRST = 1, 2
_MOST_SEGMENTS = 255
#: Of comments; those of some writers are short.
_MOST_PAGES = 10_000
#: Of a page on which no packet ends.
_NO_POSITION = -1
_OPUS, _OPUS_TAGS = b"OpusHead", b"OpusTags"
_VORBIS, _VORBIS_TAGS = b"\x01vorbis", b"\x03vorbis"
#: Every byte with its bits turned round.
_TURNED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))


@dataclass(frozen=True)
class Page:
    """One page: `kind` are its flags, `position` counts frames to its end, `sizes` are those of its segments."""

    kind: int
    position: int
    serial: int
    number: int
    sizes: bytes
    body: bytes

    def packed(self) -> bytes:
        """Return the page with its check sum."""
        head = _HEAD.pack(b"OggS", 0, self.kind, self.position, self.serial, self.number, 0, len(self.sizes))
        page = head + self.sizes + self.body
        return page[:22] + struct.pack("<I", check_sum(page)) + page[26:]


def check_sum(page: bytes) -> int:
    """Return the CRC of a page whose own field is zero: polynomial 0x04C11DB7, from zero, highest bit first.

    zlib knows the same with the bits of every byte, and of the result, in reverse, and begun and ended by inversion.
    """
    turned = zlib.crc32(page.translate(_TURNED), 0xFFFFFFFF) ^ 0xFFFFFFFF
    return int.from_bytes(struct.pack("<I", turned).translate(_TURNED), "big")


def pages(file: IO[bytes]) -> Iterator[Page]:
    """Yield the pages from where the file stands.

    Raises
    ------
    CommentError
        where something else than a whole page follows
    """
    while head := file.read(_HEAD.size):
        if len(head) < _HEAD.size or head[:5] != b"OggS\0":
            raise CommentError("something else than a page follows")
        _, _, kind, position, serial, number, _, segments = _HEAD.unpack(head)
        sizes = file.read(segments)
        body = file.read(sum(sizes))
        if len(sizes) < segments or len(body) < sum(sizes):
            raise CommentError("its last page is cut")
        yield Page(kind, position, serial, number, sizes, body)


def comment_packet(file: IO[bytes]) -> tuple[Page, bytes, bool]:
    """Return the first page, the packet of comments, and whether its last page ends with it.

    Raises
    ------
    CommentError
        when it is not one stream of Opus or Vorbis, or its comments are longer than ``MOST_BYTES``
    """
    found = pages(file)
    first = next(found, None)
    if first is None or not first.kind & _FIRST or not first.body.startswith((_OPUS, _VORBIS)):
        raise CommentError("it holds neither Opus nor Vorbis")
    packet = bytearray()
    for page in itertools.islice(found, _MOST_PAGES):
        if page.serial != first.serial:
            raise CommentError("it holds more than one stream")
        ending = next((i for i, size in enumerate(page.sizes) if size < _MOST_SEGMENTS), None)
        if ending is not None:
            packet += page.body[: sum(page.sizes[: ending + 1])]
            return first, bytes(packet), ending == len(page.sizes) - 1
        packet += page.body
        if len(packet) > MOST_BYTES:
            raise CommentError("its comments are too long")
    raise CommentError("it has no comments")


def comments_of(packet: bytes) -> bytes:
    """Return the comments of a packet without what frames them; empty where it is none."""
    for mark in (_OPUS_TAGS, _VORBIS_TAGS):
        if packet.startswith(mark):
            return packet[len(mark) :]
    return b""


def rate_of(first: Page) -> int:
    """Return the rate at which a file counts, in Hz: 48000 for Opus, whatever it was made from (RFC 7845)."""
    if first.body.startswith(_OPUS):
        return 48000
    return int(struct.unpack_from("<I", first.body, 12)[0]) if len(first.body) >= 16 else 0


def with_opus_comments(file: IO[bytes], comments: bytes, serial: int) -> Iterator[bytes]:
    """Yield an Opus file with other comments, page by page; the audio stays, pages get new numbers and check sums.

    Parameters
    ----------
    file : binary file
        At its start.
    comments : bytes
        As of :func:`mixwright.io.vorbis_comments.comment_block`.
    serial : int
        Number of the stream, 32 bits: encoders draw it by lot, and the same song shall give the same bytes.

    Raises
    ------
    CommentError
        when it is not one whole stream of Opus
    """
    first, _, apart = comment_packet(file)
    if not first.body.startswith(_OPUS) or not apart:
        raise CommentError("it is no Opus file, or one whose audio begins on the page of its comments")
    yield replace(first, serial=serial, number=0).packed()
    number = 1
    for page in _paged(_OPUS_TAGS + comments, serial):
        yield replace(page, number=number).packed()
        number += 1
    for page in pages(file):
        if page.serial != first.serial:
            raise CommentError("it holds more than one stream")
        yield replace(page, serial=serial, number=number).packed()
        number += 1


def _paged(packet: bytes, serial: int) -> Iterator[Page]:
    """Lay a packet of a header on pages of its own: its end is at position 0."""
    sizes = bytes([_MOST_SEGMENTS] * (len(packet) // _MOST_SEGMENTS) + [len(packet) % _MOST_SEGMENTS])
    for at in range(0, len(sizes), _MOST_SEGMENTS):
        part = sizes[at : at + _MOST_SEGMENTS]
        start = at * _MOST_SEGMENTS
        last = at + _MOST_SEGMENTS >= len(sizes)
        body = packet[start : start + sum(part)]
        yield Page(_CONTINUED if at else 0, 0 if last else _NO_POSITION, serial, 0, part, body)
