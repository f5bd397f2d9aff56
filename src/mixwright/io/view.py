# SPDX-License-Identifier: Apache-2.0
"""A file seen as a sound one: for containers that the decoder does not know, or would read wrong.

The decoding child imports this module: it needs the standard library alone.
"""

from __future__ import annotations

import io
import os
import struct
from typing import IO, TYPE_CHECKING

from mixwright.io.chunks import NOT_HERE, ChunkList, read_body

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer

_MOST_FORMAT_BYTES = 4096
_BUFFER_BYTES = 1 << 18


class View(io.RawIOBase):
    """Reads as a head that is given, and after it a stretch of another file, where it lies; nothing is copied.

    Parameters
    ----------
    file : binary file
        Stays open when the view is closed.
    start, size : int
        The stretch, in bytes.
    head : bytes
        What stands before it.
    """

    def __init__(self, file: IO[bytes], start: int, size: int, head: bytes = b"") -> None:
        self._file = file
        self._head = head
        self._start = start
        self._length = len(head) + size
        self._position = 0

    def readable(self) -> bool:
        """Say yes."""
        return True

    def seekable(self) -> bool:
        """Say yes."""
        return True

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        """Go to a place; never before the start."""
        base = {os.SEEK_SET: 0, os.SEEK_CUR: self._position, os.SEEK_END: self._length}[whence]
        self._position = max(0, base + offset)
        return self._position

    def readinto(self, buffer: WriteableBuffer) -> int:
        """Read from the head or from the file, whichever stands here."""
        view = memoryview(buffer).cast("B")
        if self._position < len(self._head):
            part = self._head[self._position : self._position + len(view)]
        else:
            wanted = max(0, min(len(view), self._length - self._position))
            self._file.seek(self._start + self._position - len(self._head))
            part = self._file.read(wanted)
        view[: len(part)] = part
        self._position += len(part)
        return len(part)


def from_byte(file: IO[bytes], start: int) -> io.BufferedReader:
    """Return a file without what lies before a byte."""
    return io.BufferedReader(View(file, start, max(0, file.seek(0, os.SEEK_END) - start)), _BUFFER_BYTES)


def sound_wave(file: IO[bytes], chunks: ChunkList) -> io.BufferedReader:
    """Return format and audio of a WAVE file under a sound head; the audio that it holds counts, not what it claims.

    The head is RF64 (EBU Tech 3306), or RIFX where numbers are big-endian.

    Parameters
    ----------
    file : binary file
    chunks : ChunkList
        Of that file; it has `fmt ` and `data`.
    """
    layout, data = chunks.first(b"fmt "), chunks.first(b"data")
    if layout is None or data is None:
        raise ValueError("no format or no audio")
    body = read_body(file, layout, _MOST_FORMAT_BYTES)
    body += bytes(len(body) % 2)
    held, order = data.held, chunks.order
    size = 4 + 8 + len(body) + 8 + held
    if order == ">":
        head = struct.pack(">4sI4s", b"RIFX", min(size, NOT_HERE), b"WAVE")
    else:
        long_size = size + 36
        head = struct.pack("<4sI4s4sIQQQI", b"RF64", NOT_HERE, b"WAVE", b"ds64", 28, long_size, held, 0, 0)
    short = min(held, NOT_HERE) if order == ">" else NOT_HERE
    head += struct.pack(f"{order}4sI", b"fmt ", len(body)) + body + struct.pack(f"{order}4sI", b"data", short)
    return io.BufferedReader(View(file, data.start, held, head), _BUFFER_BYTES)
