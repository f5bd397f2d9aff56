# SPDX-License-Identifier: Apache-2.0
"""How moves are written in one sentence: what each kind says after its target, in any order."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from mixwright.errors import SettingError, printable
from mixwright.model.words import MoveKind

NUMBER = r"[+\-\u2212]?(?:\d+(?:\.\d*)?|\.\d+)"
_LONGEST = 1000


def _amount(name: str, unit: str = "", before: str = "") -> str:
    return rf"{before}(?P<{name}>{NUMBER}{unit})"


def _hz(name: str, before: str = "") -> str:
    return _amount(name, r"(?:\s*k?Hz|k)?", before)


_DB, _MS, _PERCENT = r"\s*dB", r"(?:\s*m?s)?", r"(?:\s*%)?"
#: Of a kind that says no other number without a word before it.
_OR_BARE = rf"(?:{_DB})?"
_AT, _Q = _hz("hz", r"(?:at|around)\s+"), _amount("q", before=r"q\s*")
_TIMES = tuple(_amount(f"{name}_ms", _MS, rf"{name}\s+") for name in ("attack", "hold", "release"))
_RANGE = (
    rf"(?:from\s+)?{_hz('low_hz')}\s+to\s+{_hz('high_hz')}",
    _hz("low_hz", r"(?:from|above)\s+"),
    _hz("high_hz", r"(?:up\s+to|to|below)\s+"),
)


class Form(NamedTuple):
    """How a kind of move is written: an example, what may be said of it, and which word comes before a name."""

    example: str
    clauses: tuple[str, ...]
    name_after: str = ""


FORMS: Mapping[MoveKind, Form] = {
    "level": Form("level TARGET +1.5 dB", (_amount("gain_db", _OR_BARE),)),
    "pan": Form(
        "pan TARGET 0.4, or pan TARGET left -0.6 right 0.8",
        (_amount("left", before=r"left\s+"), _amount("right", before=r"right\s+"), _amount("pan")),
    ),
    "band_limit": Form(
        "band-limit TARGET 200 to 4000 Hz, or above 200 Hz, or below 4 kHz (24 dB/oct)",
        (*_RANGE, _amount("slope_db_oct", r"\s*dB/oct(?:ave)?")),
    ),
    "shape": Form("shape TARGET -3 dB at 400 Hz q 2", (_amount("gain_db", _OR_BARE), _AT, _Q)),
    "tilt": Form("tilt TARGET -1.5 dB at 120 Hz", (_amount("gain_db", _OR_BARE), _AT)),
    "dip": Form(
        "dip TARGET 3.5 dB at 2 kHz q 1 under KEY",
        (_amount("most_db", _OR_BARE), _AT, _Q, _amount("margin_db", _DB, r"margin\s+"), *_TIMES),
        "under",
    ),
    "duck": Form(
        "duck TARGET 3 dB under KEY (by hits, from 200 to 8000 Hz)",
        (_amount("depth_db", _DB), *_RANGE, r"(?P<by_hits>by)\s+hits", *_TIMES),
        "under",
    ),
    "width": Form("width TARGET 0.6", (_amount("width", _PERCENT),)),
    "send": Form("send TARGET -2 dB to SEND", (_amount("gain_db", _OR_BARE),), "to"),
    "even_out": Form(
        "even out TARGET above -24 dB ratio 3",
        (
            _amount("threshold_db", _DB, r"(?:above|threshold)\s+"),
            _amount("ratio", r"(?::1)?", r"ratio\s+"),
            _amount("ratio", ":1"),
            _amount("gain_db", _DB, r"gain\s+"),
            *_TIMES[::2],
        ),
    ),
    "colour": Form(
        "colour TARGET 6 dB mix 0.5 (from 50 to 150 Hz)",
        (_amount("drive_db", _DB, r"(?:drive\s+)?"), _amount("mix", _PERCENT, r"mix\s+"), _RANGE[0]),
    ),
}
_KIND = re.compile(
    r"\s*(?P<kind>level|pan|band[\s_-]?limit|shape|tilt|dip|duck|width|send|even[\s_-]?out|colou?r)(?:\s+|$)",
    re.IGNORECASE,
)
_CLAUSES: Mapping[MoveKind, tuple[re.Pattern[str], ...]] = {
    kind: tuple(re.compile(rf"\(?{clause}\)?,?(?=\s|$)", re.IGNORECASE) for clause in form.clauses)
    for kind, form in FORMS.items()
}
_AFTER = "after it, if not for the whole song: in SECTION, SECTION"
GRAMMAR = f"write: {'; '.join(form.example for form in FORMS.values())}; {_AFTER}"


class Said(NamedTuple):
    """What a sentence may say: `settings` as words, `name` of a key or send, `sections` as a list with commas."""

    kind: MoveKind
    target: str
    settings: dict[str, str]
    name: str = ""
    sections: str = ""


class _Rest(NamedTuple):
    settings: dict[str, str]
    name: str
    sections: str


def readings(sentence: str) -> Iterator[Said]:
    """Yield every way to read a sentence, those with the shortest names first: any name may hold words of ours.

    Raises
    ------
    SettingError
        where there is none; says how such a move is written, and which word may be meant
    """
    found = _KIND.match(sentence) if len(sentence) <= _LONGEST else None
    if found is None:
        raise not_understood(sentence, None)
    kind = _kind(found["kind"])
    text = sentence[found.end() :].rstrip()
    understood = False
    for gap in re.finditer(r"\s+", text):
        for rest in _rest(kind, text[gap.end() :], {}, ""):
            understood = True
            yield Said(kind, text[: gap.start()], *rest)
    if not understood:
        raise not_understood(sentence, kind)


def _rest(kind: MoveKind, text: str, settings: dict[str, str], name: str) -> Iterator[_Rest]:
    """Yield every way to read what stands after the target, or after a part of that."""
    if not text:
        if settings:
            yield _Rest(settings, name, "")
        return
    sections = re.match(r"in\s+(?P<sections>.+)", text, re.IGNORECASE)
    if sections and settings:
        yield _Rest(settings, name, sections["sections"])
    for clause in _CLAUSES[kind]:
        found = clause.match(text)
        if found and settings.keys().isdisjoint(found.groupdict()):
            yield from _rest(kind, text[found.end() :].lstrip(), {**settings, **_words(found)}, name)
    before = FORMS[kind].name_after
    named = re.match(rf"{before}\s+", text, re.IGNORECASE) if before and not name else None
    if named:
        for end in [*(gap.start() for gap in re.finditer(r"\s+", text[named.end() :])), len(text) - named.end()]:
            after = named.end() + end
            yield from _rest(kind, text[after:].lstrip(), settings, text[named.end() : after])


def _words(found: re.Match[str]) -> dict[str, str]:
    """Return the settings of a clause; in *2 to 4 kHz* the unit is that of both."""
    words = found.groupdict()
    if "low_hz" in words and "high_hz" in words and re.fullmatch(NUMBER, words["low_hz"]):
        high, unit = re.match(rf"({NUMBER})(.*)", words["high_hz"]).groups()  # type: ignore[union-attr]
        if unit.strip().lower().startswith("k") and float(words["low_hz"]) < float(high):
            words["low_hz"] += unit
    if "by_hits" in words:
        words["by_hits"] = "1"
    return words


def _kind(word: str) -> MoveKind:
    folded = re.sub(r"[\s_-]", "", word.lower())
    return next(kind for kind in FORMS if kind.replace("_", "") == ("colour" if folded == "color" else folded))


def holds_clause(said: Said) -> bool:
    """Tell whether what was read as a target holds what a move of its kind says of itself: it was said twice."""
    return any(clause.match(said.target, gap.end()) for gap in re.finditer(r"\s+", said.target)
               for clause in _CLAUSES[said.kind])  # fmt: skip


def not_understood(sentence: str, kind: MoveKind | None) -> SettingError:
    """Return the error that says how a move of a kind is written, or of any, and which word may be meant."""
    words = re.findall(r"[a-z]{3,}", sentence.lower())
    if kind is None:
        known = [one.replace("_", "-") for one in FORMS]
        words = [sentence.split()[0].lower()] if sentence.split() else []
        grammar = GRAMMAR
    else:
        known = [word for word in re.findall(r"[a-z]{2,}", " ".join(FORMS[kind].clauses)) if len(word) > 2]
        known = [*known, *filter(None, [FORMS[kind].name_after])]
        grammar = f"write: {FORMS[kind].example}; {_AFTER}"
    for word in words:
        near = difflib.get_close_matches(word, known, n=1, cutoff=0.7)
        if near and word not in known:
            grammar = f"did you mean {near[0]}? {grammar}"
            break
    return SettingError("this move is not understood", where=printable(sentence[:_LONGEST]), hint=grammar)
