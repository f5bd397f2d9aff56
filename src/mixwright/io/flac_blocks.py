# SPDX-License-Identifier: Apache-2.0
"""The metadata blocks of a FLAC file (RFC 9639, section 8). What is read comes from a file: it is bounded."""

from __future__ import annotations

from typing import IO

from mixwright.io.chunks import read_at
from mixwright.io.vorbis_comments import CommentError

_STREAM_INFO, _COMMENTS = 0, 4
_STREAM_INFO_BYTES = 34
_LAST = 0x80
_MOST_BLOCKS = 1000
#: A block counts its bytes with 24 bits.
MOST_BLOCK_BYTES = (1 << 24) - 1


class FlacBlocks:
    """Where the blocks of a file lie.

    Attributes
    ----------
    blocks : list of (kind, start of the body, bytes of it)
        In their order; STREAMINFO is the first.
    audio_start : int
        Where frames begin.
    rate_hz, frames : int
        From STREAMINFO; 0 frames: not told.

    Raises
    ------
    CommentError
        when something else stands there
    """

    def __init__(self, file: IO[bytes], start: int) -> None:
        end = file.seek(0, 2)
        if read_at(file, start, 4) != b"fLaC":
            raise CommentError("it is no FLAC file")
        self._file = file
        self.blocks: list[tuple[int, int, int]] = []
        position, last = start + 4, False
        while not last:
            head = read_at(file, position, 4)
            size = int.from_bytes(head[1:])
            if len(head) < 4 or position + 4 + size > end or len(self.blocks) == _MOST_BLOCKS:
                raise CommentError("its metadata is cut")
            self.blocks.append((head[0] & ~_LAST, position + 4, size))
            last = bool(head[0] & _LAST)
            position += 4 + size
        self.audio_start = position
        info = self.body(0) if self.blocks[0][0] == _STREAM_INFO else b""
        if len(info) != _STREAM_INFO_BYTES:
            raise CommentError("it does not begin with STREAMINFO")
        packed = int.from_bytes(info[10:18])
        self.rate_hz, self.frames = packed >> 44, packed & (1 << 36) - 1

    def body(self, number: int) -> bytes:
        """Return what a block holds."""
        _, start, size = self.blocks[number]
        return read_at(self._file, start, size)

    def comments(self) -> bytes:
        """Return the block of comments; empty where there is none."""
        return next((self.body(i) for i, block in enumerate(self.blocks) if block[0] == _COMMENTS), b"")

    def with_comments(self, comments: bytes) -> bytes:
        """Return all that stands before the audio, with other comments behind STREAMINFO and all other blocks kept.

        Raises
        ------
        CommentError
            when the comments are longer than a block
        """
        if len(comments) > MOST_BLOCK_BYTES:
            raise CommentError("a block cannot hold so many tags")
        kept = [(kind, self.body(i)) for i, (kind, _, _) in enumerate(self.blocks) if kind != _COMMENTS]
        laid = [kept[0], (_COMMENTS, comments), *kept[1:]]
        parts = [b"fLaC"]
        for i, (kind, body) in enumerate(laid):
            last = _LAST if i == len(laid) - 1 else 0
            parts.append(bytes([kind | last]) + len(body).to_bytes(3) + body)
        return b"".join(parts)
