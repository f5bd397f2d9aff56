# SPDX-License-Identifier: Apache-2.0
"""A file seen as sound RF64: for containers that the decoder does not know, or would read wrong.

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


class Rf64View(io.RawIOBase):
    """Reads as an RF64 file (EBU Tech 3306) of a written-out head and the audio of another file, where it lies.

    Nothing is copied; the audio that the file holds counts, not what its header claims.

    Parameters
    ----------
    file : binary file
        Stays open when the view is closed.
    chunks : ChunkList
        Of that file; it has `fmt ` and `data`.
    """

    def __init__(self, file: IO[bytes], chunks: ChunkList) -> None:
        self._file = file
        layout, data = chunks.first(b"fmt "), chunks.first(b"data")
        if layout is None or data is None:
            raise ValueError("no format or no audio")
        body = read_body(file, layout, _MOST_FORMAT_BYTES)
        body += bytes(len(body) % 2)
        size = 4 + 36 + 8 + len(body) + 8 + data.held
        self._head = (
            struct.pack("<4sI4s4sIQQQI", b"RF64", NOT_HERE, b"WAVE", b"ds64", 28, size, data.held, 0, 0)
            + struct.pack("<4sI", b"fmt ", len(body))
            + body
            + struct.pack("<4sI", b"data", NOT_HERE)
        )
        self._start = data.start
        self._length = len(self._head) + data.held
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
