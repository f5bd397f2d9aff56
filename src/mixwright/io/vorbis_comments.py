# SPDX-License-Identifier: Apache-2.0
"""Vorbis comments, as FLAC and Opus files hold them.

Sources: Ogg Vorbis I format specification, section 5 (comment field and header); RFC 7845, section 5.2, for Opus; RFC
9639, section 8.6, for FLAC; chapters as ``CHAPTER001`` and ``CHAPTER001NAME`` and the keys beyond those of the
specification are common practice, no source. What is read comes from a file and is bounded.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator

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

#: No more of the comments is looked at; only pictures are as large.
MOST_BYTES = 1 << 23
_MOST_COMMENTS = 4000
_TEXTS = {
    "TITLE": "title",
    "VERSION": "print",
    "ARTIST": "artist",
    "ALBUM": "album",
    "DATE": "date",
    "ISRC": "isrc",
    "KEY": "key",
    "ENCODER": "software",
    "COMMENT": "comment",
    "PRINT_KIND": "kind",
}
#: Read for what others write.
_ALSO = {"DESCRIPTION": "comment"}
#: Roles that have a key of their own; all others are PERFORMER, as ``Name (role)``.
_ROLES = {
    "COMPOSER": "composer",
    "LYRICIST": "lyricist",
    "ARRANGER": "arranger",
    "PRODUCER": "producer",
    "CONDUCTOR": "conductor",
}
_KEYS = {role: key for key, role in _ROLES.items()}
_PERFORMER = re.compile(r"(.*) \(([^()]*)\)", re.DOTALL)
_CHAPTER = re.compile(r"CHAPTER(\d{3})(NAME)?")
_TIME = re.compile(r"(\d{1,4}):([0-5]\d):([0-5]\d)(?:\.(\d{1,9}))?")
_MOST_CHAPTERS = 1000


class CommentError(Exception):
    """A file is not what holds comments, or it is cut; the message says how."""


def comment_block(tags: Tags, rate_hz: int, vendor: bytes) -> bytes:
    """Return comments as they stand in a file, without what frames them there.

    Parameters
    ----------
    tags : Tags
        As of :func:`mixwright.model.tags.clean_tags`; times are told in whole milliseconds.
    rate_hz : int
        Of the file.
    vendor : bytes
        The name of the encoder, as it stands there.
    """
    encoded = [f"{key}={value}".encode() for key, value in _comments(tags, rate_hz)]
    listed = b"".join(struct.pack("<I", len(one)) + one for one in encoded)
    return struct.pack("<I", len(vendor)) + vendor + struct.pack("<I", len(encoded)) + listed


def _comments(tags: Tags, rate_hz: int) -> Iterator[tuple[str, str]]:
    for key, field in _TEXTS.items():
        value = shown_title(tags) if field == "title" else getattr(tags, field)
        if value:
            yield key, value
    if tags.bpm is not None:
        yield "BPM", f"{tags.bpm:g}"
    for credit in tags.credits:
        if own_key := _KEYS.get(credit.role.casefold()):
            yield own_key, credit.name
        else:
            role = credit.role.replace("(", "[").replace(")", "]")
            yield "PERFORMER", f"{credit.name} ({role})" if role else credit.name
    for i, marker in enumerate(tags.markers[:_MOST_CHAPTERS] if rate_hz else ()):
        seconds, ms = divmod(whole_ms(marker.frame, rate_hz), 1000)
        yield f"CHAPTER{i:03d}", f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}.{ms:03d}"
        yield f"CHAPTER{i:03d}NAME", marker.name


def vendor_of(block: bytes) -> bytes:
    """Return the name of the encoder as it stands at the start of comments; empty where they are cut."""
    if len(block) < 4:
        return b""
    size = struct.unpack_from("<I", block)[0]
    return block[4 : 4 + size] if size <= len(block) - 4 else b""


def read_comments(block: bytes, rate_hz: int) -> Tags:
    """Read comments; what is cut is left out.

    Parameters
    ----------
    block : bytes
        From the length of the encoder's name on, up to ``MOST_BYTES``.
    rate_hz : int
        Of the file; marks are left out where it is 0.
    """
    fields: dict[str, object] = {}
    credits_: list[Credit] = []
    times: dict[str, float] = {}
    names: dict[str, str] = {}
    for key, value in _pairs(block):
        if key in _TEXTS or key in _ALSO:
            fields.setdefault(_TEXTS.get(key) or _ALSO[key], value)
        elif key == "BPM":
            fields.setdefault("bpm", _number(value))
        elif key in _ROLES:
            credits_.append(Credit(role=_ROLES[key], name=value))
        elif key == "PERFORMER":
            found = _PERFORMER.fullmatch(value)
            credits_.append(Credit(role=found[2], name=found[1]) if found else Credit(role="", name=value))
        elif chapter := _CHAPTER.fullmatch(key):
            if chapter[2]:
                names.setdefault(chapter[1], value)
            elif (at_s := _seconds(value)) is not None:
                times.setdefault(chapter[1], at_s)
    markers = [Marker(name=names.get(n, ""), frame=round(at_s * rate_hz)) for n, at_s in times.items() if rate_hz]
    markers.sort(key=lambda marker: marker.frame)
    credits_ = [credit for credit in credits_ if credit.name][:MOST_CREDITS]
    found_tags = Tags(credits=tuple(credits_), markers=tuple(markers[:MOST_MARKERS]), **fields)  # type: ignore[arg-type]
    return with_bare_title(found_tags)


def _pairs(block: bytes) -> Iterator[tuple[str, str]]:
    """Yield keys in capitals, and values."""
    position = 4 + len(vendor_of(block))
    if len(block) < position + 4:
        return
    count = min(struct.unpack_from("<I", block, position)[0], _MOST_COMMENTS)
    position += 4
    for _ in range(count):
        if len(block) < position + 4:
            return
        size = struct.unpack_from("<I", block, position)[0]
        comment = block[position + 4 : position + 4 + size]
        position += 4 + size
        if len(comment) < size:
            return
        key, equals, value = comment.partition(b"=")
        if equals and len(key) < 64 and key.isascii():
            yield key.decode("ascii").upper(), value.decode("utf-8", "replace")


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if 0.0 < value < 1e4 else None


def _seconds(text: str) -> float | None:
    found = _TIME.fullmatch(text)
    if found is None:
        return None
    return 3600 * int(found[1]) + 60 * int(found[2]) + int(found[3]) + float(f"0.{found[4] or 0}")
