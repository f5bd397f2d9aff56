# SPDX-License-Identifier: Apache-2.0
"""What a recorder or workstation wrote beside the audio: broadcast extension, iXML, texts, marks and their labels.

Everything here comes from a file, is bounded in number and size, and is text to be escaped where it is shown. The
decoding child imports this module: it needs the standard library alone.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO
from xml.parsers import expat

from mixwright.io.chunks import Chunk, ChunkList, read_body
from mixwright.io.header import read_header

_MOST_BYTES = 1 << 20
_MOST_MARKS = 10_000
_MOST_TEXT = 1000
_MOST_DEPTH = 16
_MOST_NAME = 32
_MOST_TRACKS = 1000
_MOST_LINES = 1000
_MOST_LISTS = 16
#: "not set" in the loudness fields of `bext`.
_NOT_SET = 0x7FFF
#: Texts, TimeReference (low, high), version, UMID, five loudness values; 602 bytes.
_BEXT = "256s32s32s10s8sIIH64s5h180x"
_POINT_BYTES = 24
_NOTES_RATE, _NOTES_NAMES = "SPEED/FILE_SAMPLE_RATE", "TRACK_LIST/TRACK/NAME"
_NOTES = ("PROJECT", "SCENE", "TAKE", "TAPE", "NOTE", _NOTES_RATE, _NOTES_NAMES)


@dataclass(frozen=True)
class BroadcastLoudness:
    """Loudness as `bext` version 2 gives it; None where it is not set."""

    integrated_lufs: float | None = None
    range_lu: float | None = None
    true_peak_dbtp: float | None = None
    momentary_lufs: float | None = None
    short_term_lufs: float | None = None


@dataclass(frozen=True)
class BroadcastExtension:
    """The chunk `bext` (EBU Tech 3285 version 2). `time_reference_frames`: frames from midnight to the first one."""

    description: str
    originator: str
    originator_reference: str
    origination_date: str
    origination_time: str
    time_reference_frames: int
    version: int
    umid: bytes
    loudness: BroadcastLoudness
    coding_history: tuple[str, ...]


@dataclass(frozen=True)
class SessionNotes:
    """What is used of the chunk `iXML`; empty where it says nothing. `tracks`: a name for each channel, in order."""

    project: str = ""
    scene: str = ""
    take: str = ""
    tape: str = ""
    note: str = ""
    rate_hz: int | None = None
    tracks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Mark:
    """A cue point, with the label and the length that the list of associated data gives it."""

    frame: int
    label: str = ""
    frames: int = 0


@dataclass(frozen=True)
class Texts:
    """What the list `INFO` of a RIFF file, or the text chunks of AIFF, say; empty where they say nothing."""

    title: str = ""
    artist: str = ""
    comment: str = ""
    date: str = ""
    software: str = ""


@dataclass(frozen=True)
class Broadcast:
    """All of it; None, or nothing, where the file has no such chunk or one that cannot be understood."""

    extension: BroadcastExtension | None = None
    notes: SessionNotes | None = None
    marks: tuple[Mark, ...] = ()
    texts: Texts = Texts()


def read_broadcast(path: Path) -> Broadcast:
    """Read what stands beside the audio of a RIFF, RIFX, RF64, BW64, W64, AIFF or AIFC file; nothing from any other.

    Raises
    ------
    OSError
        when the file cannot be read
    """
    with path.open("rb") as file:
        header = read_header(file)
        if header is None or header.chunks is None:
            return Broadcast()
        chunks = header.chunks

        def body(chunk: Chunk | None) -> bytes:
            return b"" if chunk is None else read_body(file, chunk, _MOST_BYTES)

        if chunks.container in ("AIFF", "AIFC"):
            said = {name: body(chunks.first(name)) for name in (b"NAME", b"AUTH", b"ANNO", b"COMT")}
            return Broadcast(marks=_aiff_marks(body(chunks.first(b"MARK"))), texts=_aiff_texts(said))
        found = [chunk for chunk in chunks.chunks if chunk.name in (b"LIST", b"list")][:_MOST_LISTS]
        lists = [body(chunk) for chunk in found]
        return Broadcast(
            extension=read_extension(file, chunks),
            notes=_notes(body(chunks.first(b"iXML"))),
            marks=_marks(body(chunks.first(b"cue ")), lists, chunks.order),
            texts=_texts(lists, chunks.order),
        )


def _text(raw: bytes) -> str:
    """Return text up to its first zero; UTF-8 where it is that, else Latin-1, which is never wrong."""
    raw = raw.split(b"\0", 1)[0]
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    return text[:_MOST_TEXT].strip()


def read_extension(file: IO[bytes], chunks: ChunkList) -> BroadcastExtension | None:
    """Return the broadcast extension of a file whose chunks are known; None when it has none, or a cut one."""
    chunk = chunks.first(b"bext")
    body = read_body(file, chunk, _MOST_BYTES) if chunk is not None else b""
    layout = struct.Struct(chunks.order + _BEXT)
    if len(body) < layout.size:
        return None
    fields = layout.unpack_from(body)
    low, high, version, umid, *loudness = fields[5:]
    values = loudness if version >= 2 else []
    history = body[layout.size :].split(b"\0", 1)[0].splitlines()
    return BroadcastExtension(
        description=_text(fields[0]),
        originator=_text(fields[1]),
        originator_reference=_text(fields[2]),
        origination_date=_text(fields[3]),
        origination_time=_text(fields[4]),
        time_reference_frames=high << 32 | low,
        version=version,
        umid=umid if version >= 1 else bytes(64),
        loudness=BroadcastLoudness(*(None if value == _NOT_SET else value / 100.0 for value in values)),
        coding_history=tuple(_text(line) for line in history[:_MOST_LINES] if line.strip()),
    )


def _notes(body: bytes) -> SessionNotes | None:
    """Read `iXML`, a document BWFXML; one that declares a document type or an entity is not read at all."""
    if not body:
        return None
    found: dict[str, list[str]] = {name: [] for name in _NOTES}
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
        texts = found.get("/".join(path[1:]))
        if texts is not None and len(texts) < _MOST_TRACKS:
            texts.append("")

    def text(data: str) -> None:
        texts = found.get("/".join(path[1:]))
        if texts and len(texts[-1]) < _MOST_TEXT:
            texts[-1] = (texts[-1] + data)[:_MOST_TEXT]

    parser.StartDoctypeDeclHandler = parser.EntityDeclHandler = refuse
    parser.StartElementHandler, parser.CharacterDataHandler = start, text
    parser.EndElementHandler = lambda _: path.pop()
    try:
        parser.Parse(body.rstrip(b"\0"), True)
    except (expat.ExpatError, ValueError):
        return None

    def first(name: str) -> str:
        return found[name][0].strip() if found[name] else ""

    rate = first(_NOTES_RATE)
    return SessionNotes(
        project=first("PROJECT"),
        scene=first("SCENE"),
        take=first("TAKE"),
        tape=first("TAPE"),
        note=first("NOTE"),
        rate_hz=int(rate) if rate.isascii() and rate.isdigit() and len(rate) < 10 else None,
        tracks=tuple(name.strip() for name in found[_NOTES_NAMES]),
    )


def _marks(cue: bytes, lists: list[bytes], order: str) -> tuple[Mark, ...]:
    """Join cue points with `labl` and `ltxt` of the lists `adtl`; what a count claims beyond the bytes is not there."""
    labels: dict[int, str] = {}
    lengths: dict[int, int] = {}
    for name, body in _entries(lists, order, b"adtl"):
        if len(body) < 4:
            continue
        number = struct.unpack_from(f"{order}I", body)[0]
        if name == b"labl":
            labels.setdefault(number, _text(body[4:]))
        elif name == b"ltxt" and len(body) >= 8:
            lengths.setdefault(number, struct.unpack_from(f"{order}I", body, 4)[0])
    if len(cue) < 4:
        return ()
    count = min(struct.unpack_from(f"{order}I", cue)[0], (len(cue) - 4) // _POINT_BYTES, _MOST_MARKS)
    points = [struct.unpack_from(f"{order}I16xI", cue, 4 + _POINT_BYTES * i) for i in range(count)]
    marks = [Mark(frame, labels.get(number, ""), lengths.get(number, 0)) for number, frame in points]
    return tuple(sorted(marks, key=lambda mark: mark.frame))


def _entries(lists: list[bytes], order: str, kind: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Yield name and body of the entries of all lists of a kind."""
    steps = 0
    for body in lists:
        position = 4
        while body[:4] == kind and position + 8 <= len(body) and steps < 2 * _MOST_MARKS:
            steps += 1
            name, size = struct.unpack_from(f"{order}4sI", body, position)
            yield name, body[position + 8 : position + 8 + size]
            position += 8 + size + size % 2


def _texts(lists: list[bytes], order: str) -> Texts:
    """Read the list `INFO` (RIFF, 1991): the first entry of each name counts."""
    said: dict[bytes, str] = {}
    for name, body in _entries(lists, order, b"INFO"):
        said.setdefault(name, _text(body))
    return Texts(*(said.get(name, "") for name in (b"INAM", b"IART", b"ICMT", b"ICRD", b"ISFT")))


def _aiff_texts(said: dict[bytes, bytes]) -> Texts:
    """Read the text chunks of AIFF 1.3 (from memory); a comment with a time stamp stands in for an annotation."""
    size = int.from_bytes(said[b"COMT"][8:10])
    comment = _text(said[b"ANNO"]) or _text(said[b"COMT"][10 : 10 + size])
    return Texts(title=_text(said[b"NAME"]), artist=_text(said[b"AUTH"]), comment=comment)


def _aiff_marks(body: bytes) -> tuple[Mark, ...]:
    """Read `MARK` of AIFF 1.3 (from memory): number, frame, and a name behind its length, filled up to even."""
    marks, position = [], 2
    for _ in range(min(int.from_bytes(body[:2]), _MOST_MARKS)):
        if position + 7 > len(body):
            break
        size = body[position + 6]
        label = _text(body[position + 7 : position + 7 + size])
        marks.append(Mark(int.from_bytes(body[position + 2 : position + 6]), label))
        position += 7 + size + (size + 1) % 2
    return tuple(sorted(marks, key=lambda mark: mark.frame))
