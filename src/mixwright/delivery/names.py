# SPDX-License-Identifier: Apache-2.0
"""File names of prints, from a template, safe on every system.

Letters, digits, underscore and hyphen, parts joined by underscores, title words capitalised and run together, rate
and depth at the end: after the naming part of the Recording Academy's delivery recommendations, whose whole pattern is
``{initials}_{title}_{mixer}{version}_{print}_{rate}{depth}``. A name says only what the song knows: no time of day.
"""

from __future__ import annotations

import re
import string
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

from mixwright.errors import SettingError, printable
from mixwright.io.write import SampleFormat
from mixwright.model.song import Song
from mixwright.model.tags import key_parts

DEFAULT_TEMPLATE = "{title}_{print}_{rate}{depth}"
#: The longest name, with its ending.
MAX_CHARACTERS = 63

_DEPTHS: dict[SampleFormat, str] = {"pcm16": "16", "pcm24": "24", "float32": "32f"}
_SAFE = re.compile(r"[A-Za-z0-9_-]*")
DEVICES = {"con", "prn", "aux", "nul", *(f"{port}{i}" for port in ("com", "lpt") for i in range(10))}
_SHORTEST_TITLE = 4
#: The longest part of a name beside the title, which is cut as it must.
LONGEST_PART = 24
_FIELDS = ("title", "artist", "print", "rate", "depth", "initials", "mixer", "version", "album", "bpm", "key", "date")
_SIGNS = {"#": "Sharp", "b": "Flat", "": ""}
_MIXERS = ("mixing engineer", "mix engineer", "mixer", "mixing", "mixed by")


@dataclass(frozen=True)
class NameFields:
    """What the name of one file is made of, beside the song; `sample_format` is None where it has no depth (MP3)."""

    print: str
    rate_hz: int
    sample_format: SampleFormat | None
    ending: str = ".wav"


def file_names(template: str, song: Song, files: Sequence[NameFields]) -> tuple[str, ...]:
    """Return one name for each file, all different without regard to case.

    Where a name would grow too long the title is cut, in all of them alike.

    Parameters
    ----------
    template : str
        Safe characters and fields: ``{title} {artist} {album} {date} {version}`` as the song has them (the version is
        the newest one saved), ``{initials}`` of the artist, ``{mixer}`` initials of the mixing engineer in its credits,
        ``{bpm}`` its tempo as 120bpm, ``{key}`` its key as FSharpMinor, and ``{print} {rate} {depth}`` of the file. A
        field of which nothing is known is left out, with the underscore beside it; but a key is asked for where it
        matters to whom it goes, so without one the template is refused.
    song : Song
    files : sequence of NameFields

    Raises
    ------
    SettingError
        when the template is not allowed, or gives names that are not; or it asks for the key of a song that states none
    """
    _check(template, song)
    shown_title, known = words(song.title) or "Song", _of_song(song)
    while True:
        names = tuple(_name(template, {**known, "title": shown_title}, file) for file in files)
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
    return "".join(word[0].upper() + word[1:] for word in _plain_words(text))


def initials(text: str) -> str:
    """Return the first letter of every word, as a capital."""
    return "".join(word[0].upper() for word in _plain_words(text))


def _plain_words(text: str) -> list[str]:
    plain = unicodedata.normalize("NFKD", text).replace("ß", "ss").encode("ascii", "ignore").decode("ascii")
    return re.findall("[A-Za-z0-9]+", plain.replace("'", ""))


def rate_tag(rate_hz: int) -> str:
    """Return a rate in kHz as names tell it, without the fraction: 44k, 48k, 96k."""
    return f"{rate_hz // 1000}k"


def _of_song(song: Song) -> dict[str, str]:
    mixer = next((credit.name for credit in song.credits if credit.role.casefold() in _MIXERS), "")
    parts = {
        "artist": words(song.artist),
        "album": words(song.album),
        "initials": initials(song.artist),
        "mixer": initials(mixer),
        "version": words(song.versions[-1].name) if song.versions else "",
        "date": song.date,
        "bpm": "" if song.tempo_bpm is None else f"{round(song.tempo_bpm)}bpm",
        "key": _key_words(song.key),
    }
    return {name: part[:LONGEST_PART] for name, part in parts.items()}


def _key_words(key: str) -> str:
    """Return a key without the sign that a name cannot hold: FSharpMinor."""
    parts = key_parts(key)
    return "" if parts is None else f"{parts[0]}{_SIGNS[parts[1]]}{parts[2].capitalize()}"


def _name(template: str, parts: dict[str, str], file: NameFields) -> str:
    stem = template.format(
        **parts,
        print=file.print[:LONGEST_PART],
        rate=rate_tag(file.rate_hz),
        depth="" if file.sample_format is None else _DEPTHS[file.sample_format],
    )
    return re.sub("_{2,}", "_", stem).strip("_-") + file.ending


def _check(template: str, song: Song) -> None:
    try:
        parts = list(string.Formatter().parse(template))
    except ValueError as error:
        raise _wrong(f"cannot be read ({error})") from error
    for text, field, form, conversion in parts:
        if not _SAFE.fullmatch(text):
            raise _wrong(f"holds {printable(text)!r}; names are made of letters A-Z a-z, digits, _ and -")
        if field is not None and (field not in _FIELDS or form or conversion):
            raise _wrong(f"holds the unknown field {{{printable(field)}}}")
        if field == "key" and not song.key:
            raise SettingError(
                "{key} is asked for, and the song states no key",
                where="template",
                hint='write key = "E minor" into song.toml, or leave {key} out',
            )


def _check_names(names: Sequence[str]) -> None:
    seen: set[str] = set()
    for name in names:
        stem = name.rpartition(".")[0]
        if not stem:
            raise _wrong("gives an empty name")
        if stem.casefold() in DEVICES:
            raise _wrong(f"gives {stem!r}, which is the name of a device on some systems")
        if name.casefold() in seen:
            raise _wrong(f"gives the name {name!r} twice: every print has a {{print}}, stems come in two depths")
        seen.add(name.casefold())


def _wrong(message: str) -> SettingError:
    allowed = " ".join(f"{{{field}}}" for field in _FIELDS)
    return SettingError(message, where="template", hint=f"allowed fields: {allowed}; default: {DEFAULT_TEMPLATE}")
