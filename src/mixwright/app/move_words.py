# SPDX-License-Identifier: Apache-2.0
"""A move in one sentence, as an engineer writes it."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Sequence

from mixwright.app.move_grammar import NUMBER, Said, holds_clause, not_understood, readings
from mixwright.errors import SettingError, listed, printable
from mixwright.model.move_checks import check_move
from mixwright.model.move_settings import MOVE_SETTINGS, Setting
from mixwright.model.moves import id_for
from mixwright.model.song import MASTER, Group, Move, Send, Song, Source, Track, return_of, targets_of
from mixwright.model.words import MoveKind

#: How far a move goes is said as its settings are.
STRENGTH = Setting(0.0, 1.0)
#: Amounts by which something is lowered: a sign before them says the same.
_LOWERED = frozenset({"most_db", "depth_db"})
#: Units that a setting may be said in, by its own: what they multiply by.
_UNITS = {
    "dB": {"": 1.0, "db": 1.0},
    "Hz": {"": 1.0, "hz": 1.0, "k": 1000.0, "khz": 1000.0},
    "ms": {"": 1.0, "ms": 1.0, "s": 1000.0},
    "dB/oct": {"": 1.0, "db/oct": 1.0, "db/octave": 1.0},
}
_PARTS = {"": 1.0, "%": 0.01}


def move_of(song: Song, sentence: str) -> Move:
    """Return the engineer's own, accepted move that a sentence describes.

    Parameters
    ----------
    song : Song
        Whose tracks, sources, groups and sends the sentence names, by id or name, in any case; a level also of
        ``master``, everything but a send also of the return of a send.
    sentence : str
        As `move_grammar.FORMS` shows, with ``in SECTION, SECTION`` where it is not for the whole song.

    Raises
    ------
    SettingError
        says what is not understood, and the nearest known names
    """
    failed: list[tuple[Said, SettingError]] = []
    for said in readings(sentence):
        try:
            move = _move(song, said)
            check_move(song, move, "")
            return move
        except SettingError as error:
            failed.append((said, error))
    first, why = failed[0]
    if holds_clause(first) and not _named(song, _bare(first.target)):
        raise not_understood(sentence, first.kind)
    if why.where.startswith("."):  # a path in the move: what is wrong is said without it
        why.where = printable(sentence)
    raise why


def _move(song: Song, said: Said) -> Move:
    kind = said.kind
    target = _target(song, said.target, kind)
    sections = _sections(song, said.sections)
    settings = {key: number(kind, key, word) for key, word in said.settings.items()}
    key = key_of(song, said.name) if said.name and kind != "send" else ""
    send = send_of(song, said.name) if said.name and kind == "send" else ""
    return Move(
        id=id_for(kind, target, sections, settings, key=key, send=send),
        kind=kind,
        target=target,
        sections=sections,
        settings=settings,
        key=key,
        send=send,
        state="accepted",
        by="engineer",
        reason="the engineer's own",
    )


def number(kind: MoveKind, key: str, word: str) -> float:
    """Return a setting from its word, with or without its unit, if it is in range; ``strength`` is one too.

    Raises
    ------
    SettingError
        says what is allowed
    """
    known = STRENGTH if key == "strength" else MOVE_SETTINGS[kind][key]
    units = _UNITS.get(known.unit, {"": 1.0, ":1": 1.0} if key == "ratio" else _PARTS)
    found = re.fullmatch(rf"\s*({NUMBER})\s*(\D*?|:1)\s*", word)
    factor = units.get(found[2].lower()) if found else None
    value = None if found is None or factor is None else float(found[1].replace("\u2212", "-")) * factor
    if value is not None and key in _LOWERED:
        value = abs(value)
    if value is None or not known.low <= value <= known.high:
        unit = f" {known.unit}" if known.unit else ""
        raise SettingError(
            f"{printable(word)!r} does not fit",
            where=key,
            hint=f"allowed: a number from {known.low:g} to {known.high:g}{unit}",
        )
    return value + 0.0  # -0 becomes 0


def nearest(word: str, known: Iterable[str]) -> str:
    """Return a hint: the known names nearest to a word, or the first of them if none is near."""
    names = list(dict.fromkeys(known))
    lower = {name.lower(): name for name in names}
    near = [lower[name] for name in difflib.get_close_matches(word.lower(), lower, n=3, cutoff=0.5)]
    if near:
        return f"did you mean {' or '.join(printable(name) for name in near)}?"
    return f"known: {listed(names)}" if names else "there are none yet"


def _target(song: Song, word: str, kind: MoveKind) -> str:
    """Return the id of the track, source, group or return that a word names; a level can also be that of the master."""
    word = _bare(word)
    if word.lower() == MASTER and kind == "level":
        return MASTER
    found = _named(song, word)
    if not found:
        found = [return_of(send) for send in song.sends if _names_return(send, word)]
    target = _only(word, found, "track, source or group", _names(song, song.sends if kind != "send" else ()))
    if target not in map(return_of, song.sends) and not targets_of(song, target):
        raise SettingError(f"{target} has no track that takes part in the mix", hint="set use = true in song.toml")
    return target


def key_of(song: Song, word: str) -> str:
    """Return the id of the track, source, group or send that a word names as a key.

    Raises
    ------
    SettingError
        with the nearest known names
    """
    word = _bare(word)
    found = _named(song, word) or _sends(song, word)
    return _only(word, found, "track, source, group or send", _names(song, song.sends))


def send_of(song: Song, word: str) -> str:
    """Return the id of the send that a word names.

    Raises
    ------
    SettingError
        with the nearest known names
    """
    word = _bare(word)
    return _only(word, _sends(song, word), "send", [name for send in song.sends for name in (send.id, send.name)])


def _named(song: Song, word: str) -> list[str]:
    """Return the ids of tracks, sources and groups that a word names: by id, else by name."""
    named = [(track.id, track.name) for track in song.tracks]
    named += [(source.id, source.name) for source in song.sources]
    named += [(group.id, group.name) for group in song.groups]
    found = [id_ for id_, _ in named if id_ == word.lower()]
    return list(dict.fromkeys(found or [id_ for id_, name in named if _folded(name) == _folded(word)]))


def _sends(song: Song, word: str) -> list[str]:
    found = [send.id for send in song.sends if send.id == word.lower()]
    return found or [send.id for send in song.sends if _folded(send.name) == _folded(word)]


def _names_return(send: Send, word: str) -> bool:
    """Tell whether a word names the return of a send: *hall*, *send hall*, *hall return*."""
    return any(
        _folded(word) in (_folded(name), f"send {_folded(name)}", f"{_folded(name)} return")
        for name in (send.id, send.name)
    )


def _names(song: Song, sends: Iterable[Send]) -> list[str]:
    named: tuple[Track | Source | Group | Send, ...] = (*song.tracks, *song.sources, *song.groups, *sends)
    return [name for one in named for name in (one.id, one.name)]


def _only(word: str, found: Sequence[str], what: str, names: Iterable[str]) -> str:
    """Return the one id that a word names; `what` it could be, and all `names` of such."""
    if not found:
        raise SettingError(f"no {what} is called {printable(word)!r}", hint=nearest(word, names))
    if len(found) > 1:
        raise SettingError(f"{printable(word)!r} names more than one", hint=f"give an id: {', '.join(found)}")
    return found[0]


def _bare(word: str) -> str:
    return word.strip().strip("\"'").strip()


def _sections(song: Song, words: str) -> tuple[str, ...]:
    """Return the names of the sections in a list with commas, in the song's order."""
    known = {_folded(section.name): section.name for section in song.sections}
    chosen: set[str] = set()
    for word in filter(None, (part.strip().strip("\"'") for part in words.split(","))):
        if _folded(word) not in known:
            raise SettingError(f"no section is called {printable(word)!r}", hint=nearest(word, known.values()))
        chosen.add(known[_folded(word)])
    return tuple(section.name for section in song.sections if section.name in chosen)


def _folded(name: str) -> str:
    """Return a name as it is compared: case, spaces, hyphens and underscores do not matter."""
    return " ".join(re.split(r"[\s_-]+", name.strip().lower()))
