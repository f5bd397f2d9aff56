# SPDX-License-Identifier: Apache-2.0
"""The chunks of RIFF, RIFX, RF64, BW64, W64, AIFF and AIFC files: where each lies, and how much of it is there.

Sources: RIFF (Multimedia Programming Interface and Data Specifications 1.0, 1991), EBU Tech 3306 (RF64),
ITU-R BS.2088 (BW64), the AIFF 1.3 and AIFC specifications. Sizes are 64-bit, steps are counted, nothing is taken at
its declared size. The decoding child imports this module: it needs the standard library alone.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import IO

MAX_CHUNKS = 1000
#: A 32-bit size that is not known, or stands in `ds64`.
NOT_HERE = 0xFFFFFFFF
_W64_RIFF = b"riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\x00\x00"
_W64_WAVE = b"wave\xf3\xac\xd3\x11\x8c\xd1\x00\xc0\x4f\x8e\xdb\x8a"
_AUDIO = (b"data", b"SSND")
_RIFF = {b"RIFF": "WAV", b"RIFX": "WAV", b"RF64": "RF64", b"BW64": "BW64"}


@dataclass(frozen=True)
class Chunk:
    """One chunk: `start` of its body, the bytes that it claims (None: not said), and those that the file holds."""

    name: bytes
    start: int
    size: int | None
    held: int

    @property
    def cut(self) -> bool:
        """Whether it claims more than the file holds."""
        return self.size is not None and self.size > self.held

    @property
    def label(self) -> str:
        """Its name in printable ASCII."""
        return "".join(chr(byte) if 32 <= byte < 127 else "?" for byte in self.name).strip() or "?"


@dataclass(frozen=True)
class ChunkList:
    """All chunks of a file in order.

    `start`: where the container begins. `order`: "<" little-endian, ">" big-endian. `size`: bytes that the whole
    claims, as it stands in the first header. `end`: length of the file. `unlisted`: there are more than
    ``MAX_CHUNKS``. `unpadded`: the byte that fills up a chunk of odd length is missing. What lies behind the claimed
    end, once the audio was met, is no chunk.
    """

    container: str
    start: int
    order: str
    size: int
    end: int
    chunks: tuple[Chunk, ...]
    unlisted: bool = False
    unpadded: bool = False

    def first(self, name: bytes) -> Chunk | None:
        """Return the first chunk of a name."""
        return next((chunk for chunk in self.chunks if chunk.name == name), None)


def read_chunks(file: IO[bytes], start: int = 0) -> ChunkList | None:
    """List the chunks of a file whose container begins at byte `start`; None when it is no container of chunks."""
    end = file.seek(0, 2)
    head = read_at(file, start, 40)
    if head[:4] in _RIFF and head[8:12] == b"WAVE":
        order = ">" if head[:4] == b"RIFX" else "<"
        size = struct.unpack(f"{order}I", head[4:8])[0]
        walk = _Walk(file, start, end, order, size, long_sizes=head[:4] in (b"RF64", b"BW64"))
        walk.run(start + 12)
        return walk.result(_RIFF[head[:4]])
    if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
        walk = _Walk(file, start, end, ">", struct.unpack(">I", head[4:8])[0])
        walk.run(start + 12)
        return walk.result(head[8:12].decode("ascii"))
    if head[:16] == _W64_RIFF and head[24:40] == _W64_WAVE:
        walk = _Walk(file, start, end, "<", struct.unpack("<Q", head[16:24])[0])
        walk.run_w64(start + 40)
        return walk.result("W64")
    return None


def read_at(file: IO[bytes], position: int, size: int) -> bytes:
    """Return up to `size` bytes from a position; the callers keep `size` small."""
    file.seek(position)
    return file.read(size)


def read_body(file: IO[bytes], chunk: Chunk, limit: int) -> bytes:
    """Return what the file holds of a chunk, and of that no more than `limit` bytes."""
    return read_at(file, chunk.start, min(chunk.held, limit))


class _Walk:
    """Goes from chunk to chunk until the file, or the count, ends."""

    def __init__(
        self, file: IO[bytes], start: int, end: int, order: str, size: int, *, long_sizes: bool = False
    ) -> None:
        self.file = file
        self.start = start
        self.end = end
        self.order = order
        self.size = size
        self.long_sizes = long_sizes
        self.sizes: dict[bytes, list[int]] = {}
        self.chunks: list[Chunk] = []
        self.unlisted = self.unpadded = False
        self.claims_until = end if size in (0, NOT_HERE) else start + 8 + size
        self.has_audio = False

    def result(self, container: str) -> ChunkList:
        chunks = tuple(self.chunks)
        return ChunkList(container, self.start, self.order, self.size, self.end, chunks, self.unlisted, self.unpadded)

    def run(self, position: int) -> None:
        """Walk 32-bit sizes; in RF64 and BW64 those of long chunks stand in `ds64`."""
        while position < self.end and (head := self._head(position, 8)):
            name, short = struct.unpack(f"{self.order}4sI", head)
            size = self._size(name, short)
            if size == 0 and name == b"data" and not self._chunk_at(position + 8):
                size = None  # written by a recorder that was switched off before it knew
            chunk = self._add(name, position + 8, size)
            if name == b"ds64" and self.long_sizes and not self.sizes:
                self._long_sizes(chunk)
            if size is None:  # what follows audio of no known length is audio
                return
            position = self._behind(chunk.start + size, size % 2)

    def run_w64(self, position: int) -> None:
        """Walk 128-bit names and 64-bit sizes that count themselves, on multiples of 8 bytes."""
        self.claims_until = self.start + self.size if self.size > 40 else self.end
        while position < self.end and (head := self._head(position, 24)):
            claimed = struct.unpack("<Q", head[16:])[0]
            if claimed <= 24 and head[:4] == b"data" and not self._w64_chunk_at(position + 24):
                self._add(b"data", position + 24, None)
                return
            self._add(head[:4], position + 24, max(0, claimed - 24))
            position += max(24, claimed + 7 & ~7)

    def _w64_chunk_at(self, position: int) -> bool:
        head = read_at(self.file, position, 24)
        return len(head) < 24 or head[4:16] in (_W64_RIFF[4:], _W64_WAVE[4:])

    def _behind(self, end: int, padding: int) -> int:
        """Return where the next chunk is: past a byte of padding, which some writers leave out."""
        if padding and not self._chunk_at(end + 1) and self._chunk_at(end):
            self.unpadded = True
            return end
        return end + padding

    def _chunk_at(self, position: int) -> bool:
        """Tell whether a chunk, or the end, follows; that of audio may be cut."""
        head = read_at(self.file, position, 8)
        if len(head) < 8:
            return True
        name, size = struct.unpack(f"{self.order}4sI", head)
        return all(32 <= byte < 127 for byte in name) and (name in _AUDIO or position + 8 + size <= self.end)

    def _head(self, position: int, size: int) -> bytes:
        if position >= self.claims_until and self.has_audio:
            return b""
        if len(self.chunks) == MAX_CHUNKS:
            self.unlisted = True
            return b""
        head = read_at(self.file, position, size)
        return head if len(head) == size else b""

    def _add(self, name: bytes, start: int, size: int | None) -> Chunk:
        left = max(0, self.end - start)
        chunk = Chunk(name, start, size, left if size is None else min(size, left))
        self.chunks.append(chunk)
        self.has_audio = self.has_audio or name in _AUDIO
        return chunk

    def _size(self, name: bytes, short: int) -> int | None:
        if short != NOT_HERE:
            return short
        if self.long_sizes:
            told = self.sizes.get(name)
            return told.pop(0) if told else None
        return None if name == b"data" else short

    def _long_sizes(self, ds64: Chunk) -> None:
        """Read `ds64`: sizes of the whole and of `data`, frames, and a table of the sizes of other chunks."""
        body = read_body(self.file, ds64, 28 + 12 * MAX_CHUNKS)
        if len(body) < 16:
            return
        claimed = struct.unpack("<Q", body[:8])[0]
        self.claims_until = self.start + 8 + claimed if claimed else self.end
        self.sizes[b"data"] = [struct.unpack("<Q", body[8:16])[0]]
        count = struct.unpack("<I", body[24:28])[0] if len(body) >= 28 else 0
        for at in range(28, min(len(body) - 11, 28 + 12 * count), 12):
            name, size = struct.unpack("<4sQ", body[at : at + 12])
            self.sizes.setdefault(name, []).append(size)
