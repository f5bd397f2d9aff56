# SPDX-License-Identifier: Apache-2.0
"""The text of `song.toml`: read with messages for the person who wrote it, made, and changed in place."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping

import msgspec

from mixwright.errors import InternalError, SettingError
from mixwright.io.song_errors import SONG_FILE, at_line, check_finite, conversion_error, syntax_error
from mixwright.io.toml_edit import edited
from mixwright.io.toml_text import line_of, too_deep
from mixwright.io.toml_write import block_text, fields_of, line_text
from mixwright.model.checks import check_song
from mixwright.model.migrate import migrated
from mixwright.model.record import Record
from mixwright.model.song import Song

_HEAD = """\
# A song for Mixwright. Edit anything here by hand; `undo` brings back what stood before.
# What is not written is at its default. Levels are in dB, times in seconds from the start of the song,
# pan goes from -1 (left) to 1 (right). Files are relative to this folder.

"""

#: A song needs four.
_MOST_DEPTH = 32

#: A line or two above the first of each kind.
_COMMENTS = {
    "sections": "The parts of the song, in order.",
    "sources": "Layers of several tracks that read as one.",
    "references": "Finished records to stand beside; use_for names what for, nothing means for all.",
    "locks": "What a plan may not touch: level or pan of a track, source or group.",
    "tracks": "The tracks. place is lead (must be followed), support (must be heard) or bed (may melt into the wall).",
    "groups": "Tracks that are summed before the master.",
    "sends": "Buses that tracks and groups feed, after their faders. To feed one, write into a track or group:\n"
    "# sends = { voice-reverb = -3.0 }   (0.0: a reverb comes back about 14 LU below what feeds it; unfed: silent)",
    "master": "The strip of the whole mix.",
    "moves": "Moves on top of the strips above. state is proposed, accepted or refused; strength scales it, 0 to 1.",
    "muted_words": "Where no voice sounds in the clean print.",
    "agreement": "What was agreed to be handed over; `deliver` prints exactly this.",
    "notes": "Wishes of the artist; state is open, done or declined.",
    "versions": "Saved states of the song.",
    "credits": "Who did what, for the tags of files.",
}
#: What stands at the end of a fresh text, for a person to take the # away.
_EXAMPLE = """
# Dynamics of the whole mix, which is without them for mastering. To use one, take the # away from its lines.
# [[master.inserts]]                 # before the fader
# processor = "compressor"
# threshold_db = -18.0
# ratio = 2.0
# attack_ms = 30.0
# release_ms = 200.0
# [master.limiter]                   # last of all
# ceiling_dbtp = -1.0
"""
_BLOCKS = ("tracks", "groups", "sends", "master", "moves", "muted_words", "agreement", "notes", "versions", "credits")


def read_song(text: str) -> tuple[dict[str, object], Song]:
    """Return what a text says, as it stands there and as a checked Song of today's schema.

    Raises
    ------
    SettingError
        `where` is ``song.toml:LINE key``, the hint what is allowed there
    """
    if (deep := too_deep(text, _MOST_DEPTH)) >= 0:
        raise SettingError(
            f"lists, tables or the parts of a key nest more than {_MOST_DEPTH} deep",
            where=f"{SONG_FILE}:{line_of(text, deep)}",
            hint="mend it by hand, or undo",
        )
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise syntax_error(text, str(error)) from error
    check_finite(text, raw)
    try:
        data = migrated(raw)
        song = msgspec.convert(data, Song)
        check_song(song)
    except SettingError as error:
        raise at_line(text, error) from error
    except msgspec.ValidationError as error:
        raise conversion_error(text, data, error) from error
    return raw, song


def check_values(song: Song) -> None:
    """Check a song that was not read: values in range, ids that differ, names that exist.

    Raises
    ------
    SettingError
        `where` is the key
    """
    data = msgspec.to_builtins(song)
    check_finite(None, data)
    try:
        msgspec.convert(data, Song)
    except msgspec.ValidationError as error:
        raise conversion_error(None, data, error) from error
    check_song(song)


def new_text(song: Song) -> str:
    """Return a song as a fresh text: commented, defaults left out, with an example of what a master may hold."""
    fields = [(name, value) for name, value, default in fields_of(song) if name == "schema" or value != default]
    lines = [_section(name, value) for name, value in fields if value is not None and name not in _BLOCKS]
    blocks = [_section(name, value) for name, value in fields if name in _BLOCKS]
    plain = not song.master.inserts and song.master.limiter is None
    return _checked(_HEAD + "".join(lines + blocks) + (_EXAMPLE if plain else ""), song)


def changed_text(text: str, raw: Mapping[str, object], song: Song) -> str:
    """Return the text with what differs from the song changed, and all else as the person wrote it.

    Parameters
    ----------
    text : str
        A legal `song.toml`.
    raw : mapping
        What :func:`read_song` gave for it.
    song : Song
        What it shall say.
    """

    def section(name: str, value: object) -> str:
        return _section(name, value, commented=_COMMENTS.get(name, "") not in text)

    return _checked(edited(text, raw, song, section=section, blocks=_BLOCKS), song)


def _section(name: str, value: object, *, commented: bool = True) -> str:
    """Return the text of one field of the song, with the comment that stands above the first of its kind."""
    head = f"\n# {_COMMENTS[name]}\n" if name in _COMMENTS and commented else ""
    if name not in _BLOCKS:
        return head + line_text([name], value)
    if isinstance(value, Record):
        return (head or "\n") + block_text([name], value, repeated=False)
    if not isinstance(value, tuple):
        raise InternalError(f"{name} is no list")
    return (head or "\n") + "\n".join(block_text([name], record, repeated=True) for record in value)


def _checked(text: str, song: Song) -> str:
    """Return the text if it says exactly the song."""
    try:
        text.encode("utf-8")
    except UnicodeEncodeError as error:
        broken = text[error.start - 40 : error.start].rpartition('"')[2]
        raise SettingError(
            "a name holds bytes that are no text", where=f"{broken}...", hint="rename the file and try again"
        ) from error
    try:
        same = read_song(text)[1] == song
    except SettingError as error:
        raise InternalError(f"the new text of the song cannot be read: {error}") from error
    if not same:
        raise InternalError("the new text of the song does not say what it should; nothing was written")
    return text
