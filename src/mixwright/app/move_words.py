# SPDX-License-Identifier: Apache-2.0
"""A move in one sentence, as an engineer writes it."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable

from mixwright.errors import SettingError, listed, printable
from mixwright.model.move_settings import MOVE_SETTINGS, Setting
from mixwright.model.moves import move_id
from mixwright.model.song import MASTER, Move, Song, targets_of
from mixwright.model.words import MoveKind

GRAMMAR = (
    "write: level TARGET +1.5 dB, pan TARGET 0.4, or pan TARGET left -0.6 right 0.8; after it, if not for the "
    "whole song: in SECTION, SECTION"
)

_NUMBER = r"[+\-\u2212]?(?:\d+(?:\.\d*)?|\.\d+)"
_IN = r"(?:\s+in\s+(?P<sections>.+))?\s*$"
_LEVEL = re.compile(rf"\s*level\s+(?P<target>.+?)\s+(?P<gain_db>{_NUMBER})(?:\s*dB)?{_IN}", re.IGNORECASE)
_PAN = re.compile(rf"\s*pan\s+(?P<target>.+?)\s+(?P<pan>{_NUMBER}){_IN}", re.IGNORECASE)
_SIDES = re.compile(
    rf"\s*pan\s+(?P<target>.+?)\s+left\s+(?P<left>{_NUMBER})\s+right\s+(?P<right>{_NUMBER}){_IN}", re.IGNORECASE
)


def move_of(song: Song, sentence: str) -> Move:
    """Return the engineer's own, accepted move that a sentence describes.

    Parameters
    ----------
    song : Song
        Whose tracks, sources and groups the sentence names, by id or name, in any case; a level also of ``master``.
    sentence : str
        ``level TARGET +1.5 dB``, ``pan TARGET 0.4`` or ``pan TARGET left -0.6 right 0.8``, each with
        ``in SECTION, SECTION`` where it is not for the whole song.

    Raises
    ------
    SettingError
        says what is not understood, and the nearest known names
    """
    found = _SIDES.match(sentence) or _LEVEL.match(sentence) or _PAN.match(sentence)
    if found is None:
        raise SettingError("this move is not understood", where=printable(sentence), hint=GRAMMAR)
    words = {key: word for key, word in found.groupdict().items() if word is not None}
    kind: MoveKind = "level" if "gain_db" in words else "pan"
    target = _target(song, words.pop("target"), kind)
    sections = _sections(song, words.pop("sections", ""))
    settings = {key: number(key, word) for key, word in words.items()}
    return Move(
        id=move_id(kind, target, sections),
        kind=kind,
        target=target,
        sections=sections,
        settings=settings,
        state="accepted",
        by="engineer",
        reason="the engineer's own",
    )


def number(key: str, word: str) -> float:
    """Return a setting from its word, with or without ``dB``, if it is in range; ``strength`` is one too.

    Raises
    ------
    SettingError
        says what is allowed
    """
    known = {**MOVE_SETTINGS["level"], **MOVE_SETTINGS["pan"], "strength": Setting(0.0, 1.0)}[key]
    low, high = known.low, known.high
    bare = re.fullmatch(
        rf"\s*({_NUMBER})\s*(?:dB)?\s*" if key == "gain_db" else rf"\s*({_NUMBER})\s*", word, re.IGNORECASE
    )
    value = float(bare[1].replace("\u2212", "-")) if bare else None
    if value is None or not low <= value <= high:
        raise SettingError(
            f"{printable(word)!r} does not fit", where=key, hint=f"allowed: a number from {low:g} to {high:g}"
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
    """Return the id of the track, source or group that a word names; a level can also be that of the master."""
    word = word.strip().strip("\"'").strip()
    if word.lower() == MASTER and kind == "level":
        return MASTER
    named = [(track.id, track.name) for track in song.tracks]
    named += [(source.id, source.name) for source in song.sources]
    named += [(group.id, group.name) for group in song.groups]
    found = [id_ for id_, _ in named if id_ == word.lower()]
    targets = list(dict.fromkeys(found or [id_ for id_, name in named if _folded(name) == _folded(word)]))
    if not targets:
        names = [name for pair in named for name in pair]
        raise SettingError(f"no track, source or group is called {printable(word)!r}", hint=nearest(word, names))
    if len(targets) > 1:
        raise SettingError(f"{printable(word)!r} names more than one", hint=f"give an id: {', '.join(targets)}")
    if not targets_of(song, targets[0]):
        raise SettingError(f"{targets[0]} has no track that takes part in the mix", hint="set use = true in song.toml")
    return targets[0]


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
