# SPDX-License-Identifier: Apache-2.0
"""ID3v2: tags of version 2.4 written, of 2.3 and 2.4 read.

Sources: ID3 tag version 2.4.0 (main structure, native frames) and 2.3.0, the ID3v2 Chapter Frame Addendum 1.0, all from
memory. What is read comes from a file: sizes are held against what is there, texts and their number are bounded.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator

from mixwright.io.header import id3_bytes, seven_bits
from mixwright.model.tags import (
    MOST_CREDITS,
    MOST_MARKERS,
    Credit,
    Marker,
    Tags,
    shown_title,
    whole_ms,
    with_bare_title,
)

#: No more of a tag is looked at; only pictures are as large.
MOST_BYTES = 1 << 23
_HEAD_BYTES = 10
#: The description of the frame that holds the kind of a print.
_KIND = "PRINT_KIND"
_NO_LANGUAGE = b"XXX"
_UTF8 = 3
_ENCODINGS = ("latin-1", "utf-16", "utf-16-be", "utf-8")
_UNUSED_OFFSET = 0xFFFFFFFF
_MOST_FRAMES = 4000
_MOST_CONTENTS = 255
#: Frames of one text each, by the field that they hold.
_TEXTS = {
    "TIT2": "title",
    "TIT3": "print",
    "TPE1": "artist",
    "TALB": "album",
    "TDRC": "date",
    "TYER": "date",  # of version 2.3
    "TSRC": "isrc",
    "TKEY": "key",
    "TSSE": "software",
}
#: Roles that have a frame of their own beside the list of people.
_ROLES = {"TCOM": "composer", "TEXT": "lyricist"}
_PEOPLE = ("TIPL", "TMCL", "IPLS")


def id3_tag(tags: Tags, rate_hz: int = 0, frames: int = 0) -> bytes:
    """Return a tag of version 2.4 in UTF-8 that stands in front of the audio, or in a chunk of its own.

    Parameters
    ----------
    tags : Tags
        As of :func:`mixwright.model.tags.clean_tags`; times are told in whole milliseconds.
    rate_hz, frames : int
        Of the file; without a rate there are no marks.
    """
    parts = []
    for name, field in _TEXTS.items():
        value = shown_title(tags) if field == "title" else getattr(tags, field)
        if name != "TYER" and value:
            parts.append(_text_frame(name, value))
    if tags.bpm is not None:
        parts.append(_text_frame("TBPM", str(round(tags.bpm))))
    for name, role in _ROLES.items():
        if named := [credit.name for credit in tags.credits if credit.role.casefold() == role]:
            parts.append(_text_frame(name, *named))
    if tags.credits:
        parts.append(_text_frame("TIPL", *(text for credit in tags.credits for text in (credit.role, credit.name))))
    if tags.kind:
        parts.append(_text_frame("TXXX", _KIND, tags.kind))
    if tags.comment:
        parts.append(_frame("COMM", bytes([_UTF8]) + _NO_LANGUAGE + b"\0" + tags.comment.encode()))
    if rate_hz:
        parts.extend(_chapters(tags.markers, rate_hz, frames))
    body = b"".join(parts)
    body += bytes(len(body) % 2)  # padding, so that a chunk of it is even
    return b"ID3\x04\0\0" + _in_seven_bits(len(body)) + body if body else b""


def _frame(name: str, body: bytes) -> bytes:
    return name.encode("ascii") + _in_seven_bits(len(body)) + b"\0\0" + body


def _text_frame(name: str, *texts: str) -> bytes:
    return _frame(name, bytes([_UTF8]) + "\0".join(texts).encode())


def _in_seven_bits(size: int) -> bytes:
    """Return a size as four times seven bits (2.4.0, section 6.2)."""
    return bytes(size >> shift & 0x7F for shift in (21, 14, 7, 0))


def _chapters(markers: tuple[Marker, ...], rate_hz: int, frames: int) -> Iterator[bytes]:
    """Yield a chapter from each mark to the next, and a table of contents, which holds no more than 255 of them."""
    starts = [whole_ms(marker.frame, rate_hz) for marker in markers]
    ends = [*starts[1:], max(starts[-1], whole_ms(frames, rate_hz))] if starts else []
    names = [f"m{i}".encode() for i in range(len(markers))]
    for name, marker, start, end in zip(names, markers, starts, ends, strict=True):
        times = struct.pack(">4I", min(start, _UNUSED_OFFSET), min(end, _UNUSED_OFFSET), _UNUSED_OFFSET, _UNUSED_OFFSET)
        yield _frame("CHAP", name + b"\0" + times + (_text_frame("TIT2", marker.name) if marker.name else b""))
    if names:
        listed = names[:_MOST_CONTENTS]
        top, ordered = 2, 1
        yield _frame("CTOC", b"toc\0" + bytes([top | ordered, len(listed)]) + b"".join(n + b"\0" for n in listed))


def read_id3(data: bytes, rate_hz: int = 0) -> Tags:
    """Read a tag that stands at the start of `data`; nothing where it is none, or of a version that is not read.

    Parameters
    ----------
    data : bytes
        Up to ``MOST_BYTES`` of the file.
    rate_hz : int
        Of the file; marks are left out where it is 0.
    """
    fields: dict[str, object] = {}
    markers: list[Marker] = []
    credits_: list[Credit] = []
    own: list[Credit] = []
    for name, body in _frames(data):
        if name in _TEXTS:
            fields.setdefault(_TEXTS[name], next(iter(_texts(body)), ""))
        elif name in _ROLES:
            own += [Credit(role=_ROLES[name], name=text) for text in _texts(body) if text]
        elif name in _PEOPLE:
            texts = _texts(body)
            pairs = zip(texts[::2], texts[1::2], strict=False)
            credits_ += [Credit(role=role, name=person) for role, person in pairs if person]
        elif name == "TBPM":
            fields.setdefault("bpm", _number(next(iter(_texts(body)), "")))
        elif name == "TXXX" and (texts := _texts(body)) and texts[0].upper() == _KIND:
            fields.setdefault("kind", "".join(texts[1:2]))
        elif name == "COMM":
            described = _texts(body[:1] + body[4:])
            if described and not described[0]:
                fields.setdefault("comment", "".join(described[1:2]))
        elif name == "CHAP" and rate_hz and len(markers) < MOST_MARKERS:
            markers += _chapter(body, rate_hz, data[3])
    listed = {(credit.role.casefold(), credit.name) for credit in credits_}
    credits_ += [credit for credit in own if (credit.role, credit.name) not in listed]
    markers.sort(key=lambda marker: marker.frame)
    found = Tags(credits=tuple(credits_[:MOST_CREDITS]), markers=tuple(markers), **fields)  # type: ignore[arg-type]
    return with_bare_title(found)


def _frames(data: bytes) -> Iterator[tuple[str, bytes]]:
    """Yield name and body of the frames; of compressed and encrypted ones nothing."""
    if not id3_bytes(data[:_HEAD_BYTES]) or data[3] not in (3, 4):
        return
    version, flags = data[3], data[5]
    body = data[_HEAD_BYTES : _HEAD_BYTES + seven_bits(data[6:10])]
    if flags & 0x80 and version == 3:
        body = body.replace(b"\xff\0", b"\xff")
    if flags & 0x40 and len(body) >= 4:  # an extended header: 2.3 does not count its four bytes of size
        body = body[seven_bits(body[:4]) if version == 4 else int.from_bytes(body[:4]) + 4 :]
    yield from _inner_frames(body, version)


def _inner_frames(body: bytes, version: int) -> Iterator[tuple[str, bytes]]:
    position = 0
    for _ in range(_MOST_FRAMES):
        head = body[position : position + _HEAD_BYTES]
        if len(head) < _HEAD_BYTES or not head[:4].isalnum() or not head[:4].isascii():
            return
        four = head[4:8]
        size = seven_bits(four) if version == 4 and all(byte < 128 for byte in four) else int.from_bytes(four)
        content = body[position + _HEAD_BYTES : position + _HEAD_BYTES + size]
        position += _HEAD_BYTES + size
        flags = head[9]
        if flags & (0x0C if version == 4 else 0xC0):
            continue
        if version == 4:
            content = content[4:] if flags & 0x01 else content
            content = content.replace(b"\xff\0", b"\xff") if flags & 0x02 else content
        yield head[:4].decode("ascii"), content


def _texts(body: bytes) -> list[str]:
    """Return the texts of a frame that begins with its encoding; a cut character is no fault."""
    if not body or body[0] >= len(_ENCODINGS):
        return []
    text = body[1:].decode(_ENCODINGS[body[0]], "replace").removeprefix("\ufeff")
    parts = text.removesuffix("\0").split("\0", 2 * MOST_CREDITS)[: 2 * MOST_CREDITS]
    return [part.removeprefix("\ufeff") for part in parts]


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if 0.0 < value < 1e4 else None


def _chapter(body: bytes, rate_hz: int, version: int) -> list[Marker]:
    """Read a chapter; its name is a frame within."""
    rest = body.partition(b"\0")[2]
    if len(rest) < 16:
        return []
    start_ms = struct.unpack_from(">I", rest)[0]
    named = (next(iter(_texts(inner)), "") for name, inner in _inner_frames(rest[16:], version) if name == "TIT2")
    return [Marker(name=next(named, ""), frame=round(start_ms * rate_hz / 1000))]
