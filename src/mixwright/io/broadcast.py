# SPDX-License-Identifier: Apache-2.0
"""What a recorder or workstation wrote beside the audio: when it begins, what its channels are called, marks.

Sources: EBU Tech 3285 version 2 (`bext`); iXML 2.0, RIFF (1991) and AIFF 1.3 (all three from memory). Everything here
comes from a file, is bounded in number and size, and is text to be escaped where it is shown. The decoding child
imports this module: it needs the standard library alone.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO
from xml.parsers import expat

from mixwright.io.chunks import Chunk, ChunkList, read_body

_MOST_BYTES = 1 << 20
_MOST_MARKS = 1000
_MOST_TEXT = 250
_MOST_DEPTH = 16
_MOST_NAME = 32
_MOST_CHANNELS = 1000
_MOST_LISTS = 16
#: Of `bext`: all but the coding history; texts stand before TimeReference (low, high).
_BEXT_BYTES, _TIME_AT = 602, 338
_POINT_BYTES = 24
_CHANNEL_NAME = "TRACK_LIST/TRACK/NAME"


@dataclass(frozen=True)
class Mark:
    """A place in the file, in frames at its own rate, with a name; empty where it has none."""

    frame: int
    label: str = ""


@dataclass(frozen=True)
class Broadcast:
    """All of it; None, or nothing, where the file has no such chunk or one that cannot be understood.

    `time_stamp_frames`: frames from midnight to the first one (`bext`). `channels`: a name for each (`iXML`).
    `marks`: cue points of RIFF with their labels, or marks of AIFF, in order of time.
    """

    time_stamp_frames: int | None = None
    channels: tuple[str, ...] = ()
    marks: tuple[Mark, ...] = ()


def read_broadcast(file: IO[bytes], chunks: ChunkList) -> Broadcast:
    """Read what stands beside the audio of a file whose chunks are known.

    Raises
    ------
    OSError
        when the file cannot be read
    """

    def body(chunk: Chunk | None) -> bytes:
        return b"" if chunk is None else read_body(file, chunk, _MOST_BYTES)

    if chunks.container in ("AIFF", "AIFC"):
        return Broadcast(marks=_aiff_marks(body(chunks.first(b"MARK"))))
    lists = [chunk for chunk in chunks.chunks if chunk.name in (b"LIST", b"list")][:_MOST_LISTS]
    return Broadcast(
        time_stamp_frames=_time_stamp(body(chunks.first(b"bext")), chunks.order),
        channels=_channel_names(body(chunks.first(b"iXML"))),
        marks=_marks(body(chunks.first(b"cue ")), [body(chunk) for chunk in lists], chunks.order),
    )


def _text(raw: bytes) -> str:
    """Return text up to its first zero; UTF-8 where it is that, else Latin-1, which is never wrong."""
    raw = raw.split(b"\0", 1)[0]
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    return text[:_MOST_TEXT].strip()


def _time_stamp(body: bytes, order: str) -> int | None:
    """Read the time reference of `bext`; None where the chunk is missing or cut."""
    if len(body) < _BEXT_BYTES:
        return None
    low, high = struct.unpack_from(f"{order}II", body, _TIME_AT)
    return int(high << 32 | low)


def _channel_names(body: bytes) -> tuple[str, ...]:
    """Read `iXML`, a document BWFXML; one that declares a document type or an entity is not read at all."""
    names: list[str] = []
    path: list[str] = []
    parser = expat.ParserCreate("UTF-8")  # whatever the document names: a name would be looked up among all codecs
    parser.buffer_text = True

    def refuse(*_: object) -> None:
        raise ValueError("declarations are not read")

    def start(name: str, _: object) -> None:
        # No name of more than a few letters is kept: a path of long ones would cost more than the document.
        path.append(name if len(name) <= _MOST_NAME else "")
        if len(path) > _MOST_DEPTH:
            raise ValueError("too deep")
        if is_name() and len(names) < _MOST_CHANNELS:
            names.append("")

    def text(data: str) -> None:
        if is_name() and len(names[-1]) < _MOST_TEXT:
            names[-1] = (names[-1] + data)[:_MOST_TEXT]

    def is_name() -> bool:
        return "/".join(path[1:]) == _CHANNEL_NAME

    parser.StartDoctypeDeclHandler = parser.EntityDeclHandler = refuse
    parser.StartElementHandler, parser.CharacterDataHandler = start, text
    parser.EndElementHandler = lambda _: path.pop()
    try:
        parser.Parse(body.rstrip(b"\0"), True)
    except (expat.ExpatError, ValueError):
        return ()
    return tuple(name.strip() for name in names)


def _marks(cue: bytes, lists: list[bytes], order: str) -> tuple[Mark, ...]:
    """Join cue points with `labl` of the lists `adtl`; what a count claims beyond the bytes is not there."""
    labels: dict[int, str] = {}
    for name, body in _associated(lists, order):
        if name == b"labl" and len(body) >= 4:
            labels.setdefault(struct.unpack_from(f"{order}I", body)[0], _text(body[4:]))
    if len(cue) < 4:
        return ()
    count = min(struct.unpack_from(f"{order}I", cue)[0], (len(cue) - 4) // _POINT_BYTES, _MOST_MARKS)
    points = [struct.unpack_from(f"{order}I16xI", cue, 4 + _POINT_BYTES * i) for i in range(count)]
    return tuple(sorted((Mark(frame, labels.get(number, "")) for number, frame in points), key=lambda mark: mark.frame))


def _associated(lists: list[bytes], order: str) -> Iterator[tuple[bytes, bytes]]:
    """Yield name and body of the entries of all lists of associated data."""
    steps = 0
    for body in lists:
        position = 4
        while body[:4] == b"adtl" and position + 8 <= len(body) and steps < 4 * _MOST_MARKS:
            steps += 1
            name, size = struct.unpack_from(f"{order}4sI", body, position)
            yield name, body[position + 8 : position + 8 + size]
            position += 8 + size + size % 2


def _aiff_marks(body: bytes) -> tuple[Mark, ...]:
    """Read `MARK` of AIFF: number, frame, and a name behind its length, filled up to even."""
    marks, position = [], 2
    for _ in range(min(int.from_bytes(body[:2]), _MOST_MARKS)):
        if position + 7 > len(body):
            break
        size = body[position + 6]
        label = _text(body[position + 7 : position + 7 + size])
        marks.append(Mark(int.from_bytes(body[position + 2 : position + 6]), label))
        position += 7 + size + (size + 1) % 2
    return tuple(sorted(marks, key=lambda mark: mark.frame))
