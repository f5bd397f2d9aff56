# SPDX-License-Identifier: Apache-2.0
"""What a finished file says of itself, whatever its container: names, credits, loudness, marks."""

from __future__ import annotations

import datetime
import re
import unicodedata
from typing import Annotated, TypeVar

import msgspec

from mixwright.errors import SettingError, printable
from mixwright.model.record import Record

#: The longest text of a tag, and the longest comment, in characters.
MOST_TEXT = 250
MOST_COMMENT = 2000
#: The most credits and marks that are written or read.
MOST_CREDITS = 200
MOST_MARKERS = 1000

MOST_FRAMES = (1 << 63) - 1

Frames = Annotated[int, msgspec.Meta(ge=0, le=MOST_FRAMES)]
T = TypeVar("T", bound=Record)

#: What turns the direction of the text around it: letters after it are shown where they do not stand.
_TURNS = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_DATE = re.compile(r"([0-9]{4}(-[0-9]{2}){0,2})?")
_ISRC = re.compile("[A-Z]{2}[A-Z0-9]{3}[0-9]{7}")
_KEY = re.compile("([A-G])([#b]?) (major|minor)")


class Credit(Record, frozen=True, kw_only=True):
    """Who did what: `role` as the trade says it (composer, producer, mixing engineer, bass), and a name."""

    role: str
    name: str


class Marker(Record, frozen=True, kw_only=True):
    """A named place in a file, in frames at its own rate: the start of a section."""

    name: str
    frame: Frames


class TagLoudness(Record, frozen=True, kw_only=True):
    """Loudness as a broadcast extension tells it, in steps of 0.01 (EBU Tech 3285 version 2); None where not told."""

    integrated_lufs: float | None = None
    range_lu: float | None = None
    true_peak_dbtp: float | None = None
    momentary_max_lufs: float | None = None
    short_term_max_lufs: float | None = None


class Tags(Record, frozen=True, kw_only=True):
    """What a file says of itself; empty texts and None where it does not.

    `title` is that of the song; `print` says which print of it this is, in words ("Instrumental"), and `kind` the
    same as one of the fixed words for prints, "" for any other file. `date`: ISO 8601, a year at least. `comment`: one
    line. `key`: as ID3v2 tells it ("F#m", "Bb"). `time_reference_frames`: of the first frame, from midnight, and
    `loudness`: WAV alone.
    """

    title: str = ""
    print: str = ""
    artist: str = ""
    album: str = ""
    kind: str = ""
    isrc: str = ""
    date: str = ""
    bpm: float | None = None
    key: str = ""
    comment: str = ""
    software: str = ""
    credits: tuple[Credit, ...] = ()
    time_reference_frames: Frames = 0
    loudness: TagLoudness = TagLoudness()
    markers: tuple[Marker, ...] = ()


def tag_text(text: str, most: int = MOST_TEXT) -> str:
    """Return a text as tags hold it: one line, no longer than `most` characters, nothing in it that is not shown.

    Control characters and ends of lines become spaces, runs of them one; characters that turn the direction of writing
    are left out; half characters (lone surrogates) and what XML cannot hold become U+FFFD.
    """
    shown = "".join(_shown(character) for character in text[: 8 * most])
    return " ".join(shown.split())[:most].strip()


def _shown(character: str) -> str:
    if character in _TURNS:
        return ""
    kind = unicodedata.category(character)
    if kind in ("Cc", "Zl", "Zp"):
        return " "
    return "\ufffd" if kind == "Cs" or ord(character) & 0xFFFE == 0xFFFE else character


def shown_title(tags: Tags) -> str:
    """Return the title as players show it, so that prints can be told apart: ``Harbour Lights (Instrumental)``."""
    return f"{tags.title} ({tags.print})" if tags.title and tags.print else tags.title


def with_bare_title(tags: Tags) -> Tags:
    """Return tags that were read, with the name of the print taken off the shown title again."""
    ending = f" ({tags.print})"
    if not tags.print or not tags.title.endswith(ending):
        return tags
    return msgspec.structs.replace(tags, title=tags.title.removesuffix(ending))


def clean_tags(tags: Tags) -> Tags:
    """Return tags as they can stand in any file: texts as of :func:`tag_text`, the first credits and marks."""
    texts = ("title", "print", "artist", "album", "kind", "isrc", "date", "key", "software")
    credits_ = (Credit(role=tag_text(one.role), name=tag_text(one.name)) for one in tags.credits[:MOST_CREDITS])
    markers = (Marker(name=tag_text(one.name), frame=one.frame) for one in tags.markers[:MOST_MARKERS])
    return msgspec.structs.replace(
        tags,
        comment=tag_text(tags.comment, MOST_COMMENT),
        credits=tuple(credit for credit in credits_ if credit.name),
        markers=tuple(sorted(markers, key=lambda marker: marker.frame)),
        **{name: tag_text(getattr(tags, name)) for name in texts},
    )


def whole_ms(frame: int, rate_hz: int) -> int:
    """Return a time in milliseconds, to the nearest: as the tags of compressed files tell it."""
    return (2000 * frame + rate_hz) // (2 * rate_hz)


def filled(first: T, second: T) -> T:
    """Return the first record, and from the second (of the same kind) what stands at its default in the first."""
    default = type(first)()
    names = first.__struct_fields__
    missing = {name: getattr(second, name) for name in names if getattr(first, name) == getattr(default, name)}
    return msgspec.structs.replace(first, **missing)


def is_date(text: str) -> bool:
    """Tell whether a text is a day, month or year as tags hold it (ISO 8601); an empty one is."""
    if not _DATE.fullmatch(text):
        return False
    try:
        datetime.date.fromisoformat(f"{text}-01-01"[:10] if text else "2000-01-01")
    except ValueError:
        return False
    return True


def key_parts(text: str) -> tuple[str, str, str] | None:
    """Return note, accidental ("#", "b" or "") and mode of a key: ``F# minor``, ``Bb major``; None where it is none.

    Signs of music stand for # and b.
    """
    found = _KEY.fullmatch(text.replace("\u266f", "#").replace("\u266d", "b"))
    return None if found is None else (found[1], found[2], found[3])


def short_key(text: str) -> str:
    """Return a key as ID3v2 tells it, in three characters at most (TKEY): ``F#m``, ``Bb``; "" where it is none."""
    parts = key_parts(text)
    return "" if parts is None else f"{parts[0]}{parts[1]}{'m' if parts[2] == 'minor' else ''}"


def checked_isrc(text: str, where: str) -> str:
    """Return an ISRC as files hold it: twelve characters without hyphens.

    ISO 3901: two letters, three letters or digits, two digits of the year and five more (the form from memory).

    Raises
    ------
    SettingError
        when it is none
    """
    code = re.sub("[- ]", "", text).upper()
    if not _ISRC.fullmatch(code):
        raise SettingError(
            f"{printable(text)!r} is no ISRC",
            where=where,
            hint="two letters, three letters or digits, seven digits: QZ-ABC-26-00001, hyphens or not",
        )
    return code
