# SPDX-License-Identifier: Apache-2.0
"""What the names of the files of one delivery say."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from mixwright.intake.name_words import (
    DESCRIBING,
    INSTRUMENTALS,
    MEANINGS,
    NUMBERED_AFTER,
    NUMBERED_BEFORE,
    PHRASES,
    is_known,
    meanings_of,
)
from mixwright.model.sides import SIDES
from mixwright.model.words import VOICE_ROLES, Role

NameKind = Literal["track", "print", "guide", "click"]
Candidates = tuple[tuple[Role, float], ...]

_CHUNK = re.compile(r"[^\W_]+")
_PIECE = re.compile(r"[0-9]+|[A-Z]+(?=[A-Z][a-z])|[A-Z]?[^\W\dA-Z_]+|[A-Z]+|[^\W\d_]+")
#: A word shared by this share of the files says nothing about any one of them.
_SHARED = 0.8

#: Meanings that name an instrument; the others only describe one.
_INSTRUMENTS: frozenset[str] = frozenset().union(*MEANINGS.values()) - DESCRIBING


@dataclass(frozen=True)
class NameReading:
    """What one file name says.

    `kind`: a track, or a print, guide or click that is left out. `candidates`: roles with their weights,
    heaviest first, together at most 1; empty if the name says nothing. `stem`: the words that are left
    without numbers, sides and takes. `side`: "l", "r" or "". `number`: last number in the name.
    """

    kind: NameKind
    candidates: Candidates
    stem: str
    side: str
    number: int | None
    meanings: frozenset[str]


def read_names(names: Sequence[str]) -> list[NameReading]:
    """Read the file names (without folder and ending) of one delivery together.

    Words that most files share (the song, the artist) are left aside before reading. If most
    files read as prints, the word is a habit of the sender and they are tracks.
    """
    tokens = _without_shared([split_name(name) for name in names])
    readings = [_read(words) for words in tokens]
    prints = sum(reading.kind == "print" for reading in readings)
    if len(readings) > 1 and 2 * prints > len(readings):
        return [_read(words, prints=False) for words in tokens]
    tracks = [reading for reading in readings if reading.kind == "track"]
    if tracks and all(reading.candidates and reading.candidates[0][0] in VOICE_ROLES for reading in tracks):
        readings = [
            _instrumental(reading) if INSTRUMENTALS & set(words) else reading
            for words, reading in zip(tokens, readings, strict=True)
        ]
    return readings


def _instrumental(reading: NameReading) -> NameReading:
    return replace(reading, kind="track", candidates=(("other", 0.9),))


def split_name(name: str) -> list[str]:
    """Split a name into lower-case words: at signs, at capitals, between letters and digits, and into known words."""
    plain = "".join(c for c in unicodedata.normalize("NFKD", name) if not unicodedata.combining(c))
    words: list[str] = []
    for chunk in _CHUNK.findall(plain):
        if is_known(chunk.lower()):
            words.append(chunk.lower())
            continue
        for piece in _PIECE.findall(chunk):
            words += [piece.lower()] if is_known(piece.lower()) else _known_words(piece.lower())
    return _joined(words)


def _joined(words: list[str]) -> list[str]:
    joined: list[str] = []
    for word in words:
        phrase = PHRASES.get((joined[-1], word)) if joined else None
        if phrase:
            joined[-1] = phrase
        else:
            joined.append(word)
    return joined


def _known_words(word: str) -> list[str]:
    """Split a word into two or three known ones, if they fill it; a last letter may name a side."""
    if not 4 <= len(word) <= 24 or word.isdigit():
        return _side_split(word)
    for i in range(2, len(word) - 1):
        head, tail = word[:i], word[i:]
        if head not in MEANINGS:
            continue
        if meanings_of(tail) and max(len(head), len(tail)) >= 3:
            return [head, tail]
        rest = _known_words(tail)
        if len(rest) == 2 and (meanings_of(rest[0]) and (meanings_of(rest[1]) or rest[1] in SIDES)):
            return [head, *rest]
    return _side_split(word)


def _side_split(word: str) -> list[str]:
    if len(word) >= 3 and word[-1] in SIDES and word[:-1] in MEANINGS:
        return [word[:-1], word[-1]]
    return [word]


def _without_shared(tokens: list[list[str]]) -> list[list[str]]:
    """Take off leading track numbers, then words at either end that nearly all files share.

    Shared words go even if they name an instrument, as long as most names still say something without.
    """
    stripped = [words[1:] if len(words) > 1 and words[0].isdigit() and words[0] != "808" else words for words in tokens]
    if len(stripped) < 3:
        return stripped
    for end in (0, -1):
        while True:
            counts = Counter(words[end] for words in stripped if len(words) > 1)
            if not counts:
                break
            word, count = counts.most_common(1)[0]
            if count < _SHARED * len(stripped):
                break
            shorter = [_drop(words, end, word) for words in stripped]
            telling = sum(any(meanings_of(w) for w in words) for words in shorter)
            if meanings_of(word) and 2 * telling < len(shorter):
                break
            stripped = shorter
    return stripped


def _drop(words: list[str], end: int, word: str) -> list[str]:
    if len(words) < 2 or words[end] != word:
        return words
    return words[1:] if end == 0 else words[:-1]


def _read(words: list[str], *, prints: bool = True) -> NameReading:
    meanings: frozenset[str] = frozenset().union(*(meanings_of(word) for word in words))
    side = next((SIDES[word] for word in reversed(words) if word in SIDES), "")
    if not side and words and words[-1] in ("ohl", "ohr"):
        side = words[-1][-1]
    numbers = _numbers(words)
    stem = " ".join(w for w in words if meanings_of(w) or not (is_known(w) or w.isdigit()))
    stem = re.sub(r"\boh[lr]\b", "oh", stem)
    kind = _kind(meanings) if prints or "click" in meanings or "guide" in meanings else "track"
    return NameReading(
        kind=kind,
        candidates=_candidates(meanings, words),
        stem=stem,
        side=side,
        number=numbers[-1] if numbers else None,
        meanings=meanings,
    )


def _numbers(words: list[str]) -> list[int]:
    """Return the numbers that count parts: not takes, versions, tempi, dates or formats."""
    return [
        int(word)
        for before, word, after in zip(["", *words], words, [*words[1:], ""], strict=False)
        if word.isdecimal()
        and word.isascii()
        and len(word) < 3
        and before not in NUMBERED_BEFORE
        and after not in NUMBERED_AFTER
    ]


def _kind(meanings: frozenset[str]) -> NameKind:
    instrument = bool(meanings & _INSTRUMENTS)
    if "guide" in meanings or ("rough" in meanings and instrument):
        return "guide"
    if "click" in meanings and not instrument:
        return "click"
    return "print" if "print" in meanings and not instrument else "track"


def _candidates(has: frozenset[str], words: list[str]) -> Candidates:
    """Return the roles that the meanings allow: from what names a thing for certain to what only hints at it."""
    for rule in (_effects, _drums, _bass, _guitar, _voice, _plain, _hints):
        found = rule(has, words)
        if found:
            return found
    return ()


def _effects(has: frozenset[str], _words: list[str]) -> Candidates:
    if "return" in has:
        return (("return", 0.9),)
    if "effects" in has:
        return (("effects", 0.6 if has & (_INSTRUMENTS - {"effects"}) else 0.9),)
    return ()


def _drums(has: frozenset[str], words: list[str]) -> Candidates:
    if has & _VOICES or has & _GUITARS:
        return ()
    for piece in _DRUM_PIECES:
        if piece in has and (piece == "kick" or "bass" not in has):
            return _PIECE_CONFLICTS.get(" ".join(words), ((piece, 0.95),))
    if "loop" in has and not has & {"bass", "synth", "keys"}:
        return (("loop", 0.85),)
    if "room" in has and not has & {"bass", "keys", "strings", "brass", "organ"}:
        return (("room", 0.9),)
    if has & {"drums", "percussion"}:
        return (("drums" if "drums" in has else "percussion", 0.95),)
    return ()


def _bass(has: frozenset[str], words: list[str]) -> Candidates:
    if "bass" not in has or has & _VOICES:
        return ()
    return (("bass", 0.6), ("kick", 0.4)) if words == ["808"] else (("bass", 0.95),)


_VOICES = frozenset({"voice", "lead_voice", "backing_voice"})
_GUITARS = frozenset({"guitar", "acoustic_guitar", "electric_guitar"})
_DRUM_PIECES: tuple[Role, ...] = ("kick", "snare", "hats", "toms", "cymbals", "overheads")
#: Whole names that are read in more than one way.
_PIECE_CONFLICTS: dict[str, Candidates] = {
    "bd": (("kick", 0.8), ("double", 0.1), ("backing vocal", 0.1)),
    "sn": (("snare", 0.8), ("synth", 0.2)),
    "oh": (("overheads", 0.7), ("backing vocal", 0.3)),
    "over": (("overheads", 0.7), ("pad", 0.3)),
    "floor": (("toms", 0.8), ("drums", 0.2)),
    "ft": (("toms", 0.8), ("lead vocal", 0.2)),
    "ride": (("cymbals", 0.9), ("synth", 0.1)),
}
_PLAIN: tuple[tuple[str, Role], ...] = (
    ("organ", "organ"),
    ("pad", "pad"),
    ("strings", "strings"),
    ("brass", "brass"),
    ("keys", "keys"),
    ("synth", "synth"),
    ("wind", "other"),
    ("ensemble", "other"),
)
#: Roles that a synthesiser may stand in for, if the name says so.
_MIXED: dict[tuple[str, bool], Candidates] = {
    ("strings", True): (("strings", 0.7), ("pad", 0.2), ("synth", 0.1)),
    ("brass", True): (("brass", 0.6), ("synth", 0.4)),
    ("keys", True): (("synth", 0.6), ("keys", 0.4)),
}
#: Words that hint at a role only where nothing names one.
_HINTS: tuple[tuple[str, Candidates], ...] = (
    ("acoustic", (("acoustic guitar", 0.7), ("electric guitar", 0.1), ("lead vocal", 0.1), ("keys", 0.1))),
    ("electric", (("electric guitar", 0.8), ("keys", 0.1), ("bass", 0.1))),
    ("sub", (("bass", 0.8), ("kick", 0.1), ("effects", 0.1))),
    ("clean", (("electric guitar", 0.7), ("lead vocal", 0.2), ("bass", 0.1))),
    ("rhythm", (("electric guitar", 0.7), ("acoustic guitar", 0.2), ("percussion", 0.1))),
    ("di", (("bass", 0.5), ("electric guitar", 0.35), ("acoustic guitar", 0.15))),
    ("amp", (("electric guitar", 0.55), ("bass", 0.45))),
    ("backing", (("backing vocal", 0.85), ("pad", 0.1), ("synth", 0.05))),
    ("double", (("double", 0.7), ("electric guitar", 0.2), ("backing vocal", 0.1))),
    ("stack", (("backing vocal", 0.7), ("synth", 0.2), ("electric guitar", 0.1))),
    ("melody", (("synth", 0.5), ("electric guitar", 0.2), ("lead vocal", 0.15), ("keys", 0.15))),
    ("lead", (("lead vocal", 0.4), ("electric guitar", 0.3), ("synth", 0.3))),
    ("top", (("snare", 0.6), ("lead vocal", 0.2), ("percussion", 0.2))),
    ("bottom", (("snare", 0.8), ("bass", 0.2))),
    ("main", (("lead vocal", 0.5), ("synth", 0.2), ("drums", 0.15), ("keys", 0.15))),
    ("sample", (("effects", 0.4), ("percussion", 0.3), ("drums", 0.3))),
    ("in", (("kick", 0.6), ("snare", 0.4))),
    ("out", (("kick", 0.7), ("snare", 0.3))),
)


def _guitar(has: frozenset[str], _words: list[str]) -> Candidates:
    # "Dist Synth", "Crunch Organ": the sound of an amplifier, on something else.
    named = has & {"guitar", "acoustic_guitar"}
    if not has & _GUITARS or (not named and has & (_VOICES | {meaning for meaning, _ in _PLAIN})):
        return ()
    if has & {"acoustic", "acoustic_guitar"} and "electric" not in has:
        return (("acoustic guitar", 0.95),)
    if has & {"electric", "electric_guitar", "clean", "rhythm", "lead", "amp"}:
        return (("electric guitar", 0.95),)
    return (("electric guitar", 0.65), ("acoustic guitar", 0.35))


def _voice(has: frozenset[str], _words: list[str]) -> Candidates:
    if not has & _VOICES:
        return ()
    if has & {"backing_voice", "backing", "stack", "bass"}:
        return (("backing vocal", 0.95),)
    if "double" in has:
        return (("double", 0.95),)
    if has & {"lead_voice", "lead", "main"}:
        return (("lead vocal", 0.97),)
    return (("lead vocal", 0.75), ("backing vocal", 0.2), ("double", 0.05))


def _plain(has: frozenset[str], _words: list[str]) -> Candidates:
    for meaning, role in _PLAIN:
        if meaning in has:
            return _MIXED.get((meaning, "synth" in has), ((role, 0.9),))
    return ()


def _hints(has: frozenset[str], _words: list[str]) -> Candidates:
    return next((candidates for meaning, candidates in _HINTS if meaning in has), ())
