# SPDX-License-Identifier: Apache-2.0
"""File names of prints, from a template, safe on every system.

Letters, digits, underscore and hyphen, parts joined by underscores, title words capitalised and run together, rate
and depth at the end: after the naming part of the Recording Academy's delivery recommendations.
"""

from __future__ import annotations

import re
import string
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from mixwright.errors import SettingError, printable
from mixwright.io.write import SampleFormat

DEFAULT_TEMPLATE = "{title}_{print}_{rate}{depth}"
#: The longest name, with its ending.
MAX_CHARACTERS = 63
ENDING = ".wav"

_DEPTHS: dict[SampleFormat, str] = {"pcm16": "16", "pcm24": "24", "float32": "32f"}
_SAFE = re.compile(r"[A-Za-z0-9_-]*")
_DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{i}" for port in ("com", "lpt") for i in range(10))}
_SHORTEST_TITLE = 4
_LONGEST_PRINT_NAME = 24
_FIELDS = ("title", "artist", "print", "rate", "depth")


@dataclass(frozen=True)
class NameFields:
    """What a name is made of, beside title and artist."""

    print: str
    rate_hz: int
    sample_format: SampleFormat


def file_names(template: str, title: str, artist: str, files: Sequence[NameFields]) -> tuple[str, ...]:
    """Return one name for each file, all different without regard to case.

    Where a name would grow too long the title is cut, in all of them alike.

    Parameters
    ----------
    template : str
        Safe characters and the fields ``{title} {artist} {print} {rate} {depth}``.
    title, artist : str
        Of the song, as they are written.
    files : sequence of NameFields

    Raises
    ------
    SettingError
        when the template is not allowed, or gives names that are not
    """
    _check(template)
    shown_title, shown_artist = words(title) or "Song", words(artist)
    while True:
        names = tuple(_name(template, shown_title, shown_artist, file) for file in files)
        longest = max(names, key=len, default="")
        over = len(longest) - MAX_CHARACTERS
        if over <= 0:
            break
        room = len(shown_title) - _SHORTEST_TITLE
        if "{title}" not in template or room <= 0:
            raise _wrong(f"gives a name of {len(longest)} characters, more than {MAX_CHARACTERS}")
        shown_title = shown_title[: -min(over, room)]
    _check_names(names)
    return names


def words(text: str) -> str:
    """Return text as one run of letters and digits: words capitalised, accents and all else dropped."""
    plain = unicodedata.normalize("NFKD", text).replace("ß", "ss").encode("ascii", "ignore").decode("ascii")
    plain = plain.replace("'", "")
    return "".join(word[0].upper() + word[1:] for word in re.findall("[A-Za-z0-9]+", plain))


def rate_tag(rate_hz: int) -> str:
    """Return a rate in kHz as names tell it, without the fraction: 44k, 48k, 96k."""
    return f"{rate_hz // 1000}k"


def _name(template: str, title: str, artist: str, file: NameFields) -> str:
    stem = template.format(
        title=title,
        artist=artist,
        print=file.print[:_LONGEST_PRINT_NAME],
        rate=rate_tag(file.rate_hz),
        depth=_DEPTHS[file.sample_format],
    )
    return re.sub("_{2,}", "_", stem).strip("_-") + ENDING


def _check(template: str) -> None:
    try:
        parts = list(string.Formatter().parse(template))
    except ValueError as error:
        raise _wrong(f"cannot be read ({error})") from error
    for text, field, form, conversion in parts:
        if not _SAFE.fullmatch(text):
            raise _wrong(f"holds {printable(text)!r}; names are made of letters A-Z a-z, digits, _ and -")
        if field is not None and (field not in _FIELDS or form or conversion):
            raise _wrong(f"holds the unknown field {{{printable(field)}}}")


def _check_names(names: Sequence[str]) -> None:
    seen: set[str] = set()
    for name in names:
        stem = name.removesuffix(ENDING)
        if not stem:
            raise _wrong("gives an empty name")
        if stem.casefold() in _DEVICES:
            raise _wrong(f"gives {stem!r}, which is the name of a device on some systems")
        if name.casefold() in seen:
            raise _wrong(f"gives the name {name!r} twice: every print has a {{print}}, stems come in two depths")
        seen.add(name.casefold())


def _wrong(message: str) -> SettingError:
    allowed = " ".join(f"{{{field}}}" for field in _FIELDS)
    return SettingError(message, where="template", hint=f"allowed fields: {allowed}; default: {DEFAULT_TEMPLATE}")
