# SPDX-License-Identifier: Apache-2.0
"""Generators of songs, strips and moves, and of TOML in every legal style a person might write."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from typing import Any, get_args

from hypothesis import strategies as st
from msgspec import inspect

from mixwright.errors import SettingError
from mixwright.io.toml_write import key_text, string_text
from mixwright.model.agreement import Agreement
from mixwright.model.checks import check_song
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.filters import EqBand, Pass, SlopeDbOct
from mixwright.model.insert import KeyedInsert
from mixwright.model.inserts import AnyInsert
from mixwright.model.move_settings import KEYED, MOVE_SETTINGS, ONE_OF
from mixwright.model.moves import move_id
from mixwright.model.song import (
    Group,
    Lock,
    Move,
    MutedWords,
    Note,
    Reference,
    Section,
    Send,
    Song,
    Source,
    Track,
    Version,
    changed,
)
from mixwright.model.strip import Limiter, Master, Reverb, Strip
from mixwright.model.tags import Credit, Marker, TagLoudness, Tags, tag_text
from mixwright.model.words import ROLES, MoveKind, MoveState, Place, PrintKind

#: Names as people and hostile files write them: quotes, escapes, comment signs, brackets, other scripts, controls.
NASTY = [
    '"',
    "'''",
    '"""',
    "\\",
    "#",
    "=",
    "[",
    "]",
    "{",
    "}",
    ",",
    "\n",
    "\t",
    "\r",
    "\x00",
    "\x1b[2J",
    "\x7f",
    "é",
    "\u202e",
    "日本",
    "🎚",
]

ids = st.sampled_from(["kick", "bass-di", "lead-vox", "pad-2", "7", "hall", "drums", "a", "oh-l", "x-1-y", "gtr-wide"])
nasty_text = st.lists(
    st.one_of(st.sampled_from(NASTY), st.text(st.characters(exclude_categories=["Cs"]), max_size=4)), max_size=5
).map("".join)
words = st.one_of(st.sampled_from(["Kick In", "Lead Vox", "bass", "chorus 2"]), nasty_text)
files = words.filter(bool)
people = words.filter(tag_text)


def floats(low: float, high: float) -> st.SearchStrategy[float]:
    """Finite numbers in a range, most of them such as people write."""
    return st.one_of(
        st.integers(int(low * 10) + 1, int(high * 10) - 1).map(lambda tenths: tenths / 10),
        st.floats(low, high, allow_nan=False),
        st.sampled_from([low, high]),
    )


decibels = floats(-120.0, 24.0)
positions = floats(-1.0, 1.0)
fractions = floats(0.0, 1.0)
passes = st.builds(Pass, hz=floats(10, 20000), slope_db_oct=st.sampled_from(get_args(SlopeDbOct)))
eq_bands = st.builds(
    EqBand,
    kind=st.sampled_from(["bell", "low_shelf", "high_shelf", "notch", "band_pass", "tilt"]),
    hz=floats(10, 20000),
    gain_db=floats(-24, 24),
    q=floats(0.1, 40),
)


def values(kind: inspect.Type) -> st.SearchStrategy[Any]:
    """Values of a field of a record, of any type that the model has."""
    if isinstance(kind, inspect.Metadata):
        return values(kind.type)
    if isinstance(kind, inspect.UnionType):
        return st.one_of(*map(values, kind.types))
    if isinstance(kind, inspect.NoneType | inspect.BoolType | inspect.StrType):
        return {inspect.NoneType: st.none(), inspect.BoolType: st.booleans(), inspect.StrType: st.just("")}[type(kind)]
    if isinstance(kind, inspect.LiteralType):
        return st.sampled_from(kind.values)
    if isinstance(kind, inspect.IntType | inspect.FloatType):
        low, high = -9 if kind.ge is None else kind.ge, 9 if kind.le is None else kind.le
        return floats(low, high) if isinstance(kind, inspect.FloatType) else st.integers(int(low), int(high))
    if isinstance(kind, inspect.VarTupleType):
        least, most = kind.min_length or 0, min(kind.max_length or 2, max(2, kind.min_length or 0))
        return st.lists(values(kind.item_type), min_size=least, max_size=most).map(tuple)
    assert isinstance(kind, inspect.StructType), kind
    left_out = {field.name: values(field.type) for field in kind.fields if not field.required}
    given = {field.name: values(field.type) for field in kind.fields if field.required}
    return st.fixed_dictionaries(given, optional=left_out).map(lambda fields: kind.cls(**fields))


_ANY_INSERT = inspect.type_info(AnyInsert)


def inserts() -> st.SearchStrategy[Any]:
    """One of all kinds of inserts, without key, for the whole song."""
    return values(_ANY_INSERT).map(lambda insert: changed(insert, sections=()))


def strips() -> st.SearchStrategy[Strip]:
    """Strips of which most fields stand at their default, as in songs."""
    return st.fixed_dictionaries(
        {},
        optional={
            "trim_db": decibels,
            "polarity": st.sampled_from(["normal", "inverted"]),
            "delay_ms": floats(-1000, 1000),
            "high_pass": passes,
            "low_pass": passes,
            "eq": st.lists(eq_bands, max_size=3).map(tuple),
            "inserts": st.lists(inserts(), max_size=3).map(tuple),
            "pan": positions,
            "left": positions,
            "right": positions,
            "width": floats(0, 2),
            "fader_db": decibels,
        },
    ).map(lambda fields: Strip(**fields))


limiters = st.none() | st.builds(Limiter, ceiling_dbtp=floats(-20, 0))
reverbs = st.none() | st.builds(Reverb, kind=st.sampled_from(["voice", "instruments"]), decay_s=floats(0.1, 6))


def masters() -> st.SearchStrategy[Master]:
    """Strips of the whole mix, some with a limiter."""
    return st.builds(
        lambda strip, limiter: Master(
            **{name: getattr(strip, name) for name in strip.__struct_fields__}, limiter=limiter
        ),
        strips(),
        limiters,
    )


def _settings(kind: MoveKind) -> st.SearchStrategy[dict[str, float]]:
    """All that a move of a kind needs, and some of what it may set."""
    own = {
        "slope_db_oct": st.sampled_from([6.0, 12.0, 48.0]),
        "low_hz": floats(20, 50),
        "high_hz": floats(60, 500),
        "drive_db": floats(6, 36),
    }
    known = MOVE_SETTINGS[kind]
    each = {name: own[name] if name in own else floats(s.low, min(s.high, 20000.0)) for name, s in known.items()}
    needed = {name for name, one in known.items() if one.needed} | set(ONE_OF.get(kind, ())[:1])
    needed |= {"low_hz", "high_hz"} if kind == "colour" else set()
    given = {name: each[name] for name in sorted(needed)}
    return st.fixed_dictionaries(given, optional={name: each[name] for name in each if name not in needed})


@st.composite
def moves(draw: st.DrawFn, targets: list[str], sections: list[str]) -> Move:
    """A move of any kind that names nobody else, on one of the targets."""
    kind = draw(st.sampled_from([kind for kind in get_args(MoveKind) if kind not in (*KEYED, "send")]))
    target = draw(st.sampled_from(targets))
    chosen = tuple(draw(st.lists(st.sampled_from(sections), unique=True, max_size=2))) if sections else ()
    if kind == "level":
        settings = {"gain_db": draw(floats(-24, 24))}
    elif kind != "pan":
        settings = draw(_settings(kind))
    else:
        keys = draw(st.sampled_from([("pan",), ("left", "right"), ("left",)]))
        settings = {key: draw(positions) for key in keys}
    return Move(
        id=move_id(kind, target, chosen),
        kind=kind,
        target=target,
        sections=chosen,
        settings=settings,
        state=draw(st.sampled_from(get_args(MoveState))),
        strength=draw(fractions),
        by=draw(st.sampled_from(["plan", "engineer"])),
        reason=draw(words),
    )


@st.composite
def songs(draw: st.DrawFn, *, most: int = 3) -> Song:
    """A valid song with up to `most` of each kind, and any names."""
    places = st.sampled_from(get_args(Place))
    few = lambda each, **kw: draw(st.lists(each, max_size=most, **kw))  # noqa: E731
    groups: list[Group] = []
    for i in few(ids, unique=True):
        home = draw(st.sampled_from(["", *(group.id for group in groups)]))
        groups.append(Group(id=i, name=draw(words), group=home, strip=draw(strips())))
    sends = [Send(id=i, name=draw(words), strip=draw(strips()), reverb=draw(reverbs)) for i in few(ids, unique=True)]
    sections, end = [], 0.0
    for name in few(words, unique=True):
        start = end + draw(st.integers(0, 3))
        end = start + draw(st.integers(1, 400)) / 8
        sections.append(Section(name=name, start_s=start, end_s=end))
    names = [section.name for section in sections]

    heard: list[str] = []

    def keyed(strip: Strip, id_: str) -> Strip:
        """Have inserts follow a track before this one, in some of the sections."""
        found = []
        for insert in strip.inserts:
            fields = {"sections": tuple(draw(st.lists(st.sampled_from(names), unique=True)))} if names else {}
            if isinstance(insert, KeyedInsert) and heard:
                fields["key"] = draw(st.sampled_from(["", *heard]))
            found.append(changed(insert, **fields))
        heard.append(id_)
        return changed(strip, inserts=tuple(found))

    def amounts() -> dict[str, float]:
        return {send.id: draw(decibels) for send in sends if draw(st.booleans())}

    tracks = [
        Track(
            id=i,
            name=draw(words),
            file=draw(files),
            sha256=draw(st.sampled_from(["", "0f" * 32])),
            role=draw(st.sampled_from(ROLES)),
            role_confidence=draw(fractions),
            place=draw(places),
            place_in={name: draw(places) for name in names if draw(st.booleans())},
            source=draw(st.sampled_from(["", "stack"])),
            group=draw(st.sampled_from(["", *(group.id for group in groups)])),
            start_frame=draw(st.integers(0, 10**9)),
            use=draw(st.booleans()),
            mute=draw(st.booleans()),
            strip=keyed(draw(strips()), i),
            sends=amounts(),
            pre_sends=amounts(),
        )
        for i in few(ids, unique=True)
    ]
    targets = [record.id for record in (*tracks, *groups)]
    by_id = {move.id: move for move in few(moves(targets, names))} if targets else {}
    return Song(
        title=draw(words),
        artist=draw(words),
        album=draw(words),
        date=draw(st.sampled_from(["", "2026", "2026-07", "2024-02-29"])),
        isrc=draw(st.dictionaries(st.sampled_from(get_args(PrintKind)), st.just("QZ-ABC-26-00001"), max_size=2)),
        credits=tuple(few(st.builds(Credit, role=people, name=people))),
        muted_words=draw(st.sampled_from([(), (MutedWords(start_s=1.0, end_s=1.5, why="a word"),)])),
        agreement=draw(st.none() | st.builds(Agreement, depths=st.just(("16", "float")), approved_preview=people)),
        rate_hz=draw(st.sampled_from([44100, 48000, 96000])),
        tracks_are=draw(st.sampled_from(["raw", "as mixed"])),
        tempo_bpm=draw(st.one_of(st.none(), floats(20, 400))),
        key=draw(st.sampled_from(["", "E minor", "F# minor", "B\u266d major"])),
        beats_per_bar=draw(st.integers(1, 32)),
        lead=tuple(draw(st.lists(st.sampled_from(targets), unique=True, max_size=2))) if targets else (),
        rough=draw(words),
        tracks=tuple(tracks),
        sources=tuple(Source(id=i, name=draw(words)) for i in few(ids, unique=True)),
        groups=tuple(groups),
        sends=tuple(sends),
        master=draw(masters()),
        sections=tuple(sections),
        references=tuple(Reference(id=i, file=draw(files), use_for=tuple(few(words))) for i in few(ids, unique=True)),
        locks=tuple(
            few(
                st.builds(
                    Lock, target=st.sampled_from(targets), parameter=st.sampled_from(["level", "pan"]), reason=words
                )
            )
        )
        if targets
        else (),
        moves=tuple(by_id.values()),
        notes=tuple(
            Note(id=i, text=draw(words), at_s=draw(st.one_of(st.none(), floats(0, 900)))) for i in few(ids, unique=True)
        ),
        versions=tuple(Version(id=i, name=draw(words), engine="1", sha256="0") for i in few(ids, unique=True)),
    )


@st.composite
def tags(draw: st.DrawFn, frames: int) -> Tags:
    """Tags with any texts, as they may reach a writer; roles without parentheses, which FLAC and Opus cannot tell."""
    texts = st.one_of(words, st.text(max_size=300), st.just("<b>" * 4000))
    roles = people.map(lambda role: role.replace("(", "").replace(")", "")).filter(tag_text)
    levels = st.one_of(st.none(), floats(-100, 20))
    names = ("title", "print", "artist", "album", "kind", "isrc", "comment", "software")
    return Tags(
        **{name: draw(texts) for name in names},
        date=draw(st.sampled_from(["", "2026", "2026-07-01"])),
        bpm=draw(st.one_of(st.none(), floats(20, 400))),
        key=draw(st.sampled_from(["", "F#m", "Bb"])),
        credits=tuple(draw(st.lists(st.builds(Credit, role=roles, name=people), max_size=3, unique=True))),
        time_reference_frames=draw(st.integers(0, 2**63 - 1)),
        loudness=TagLoudness(**{name: draw(levels) for name in TagLoudness.__struct_fields__}),
        markers=tuple(draw(st.lists(st.builds(Marker, name=texts, frame=st.integers(0, frames)), max_size=4))),
    )


def mutated(song: Song, rng: random.Random) -> Song:
    """Return a valid song with a few random changes: records dropped, added, moved, their fields exchanged."""
    for _ in range(rng.randint(1, 6)):
        new = _mutation(song, rng)
        try:
            check_song(new)
        except SettingError:
            continue
        song = new
    return song


def _mutation(song: Song, rng: random.Random) -> Song:
    field = rng.choice(["tracks", "groups", "sends", "sections", "references", "locks", "moves", "notes", "scalars"])
    if field == "scalars":
        limiter = rng.choice([None, Limiter(ceiling_dbtp=-2.0), song.master.limiter])
        inserts = rng.choice([(), (Compressor(threshold_db=-20.0, ratio=2.0),), song.master.inserts[1:]])
        master = rng.choice([Master(), changed(song.master, limiter=limiter, inserts=inserts, pan=0.5)])
        return changed(song, title="new", artist="", tempo_bpm=rng.choice([None, 120.0]), lead=(), master=master)
    records: list[Any] = list(getattr(song, field))
    kind = rng.choice(["drop", "copy", "swap", "clear", "change", "change"])
    if kind == "clear" or not records:
        records = []
    elif kind == "drop":
        records.pop(rng.randrange(len(records)))
    elif kind == "copy":
        source = rng.choice(records)
        key = next(key for key in ("id", "name", "reason") if hasattr(source, key))
        records.insert(rng.randint(0, len(records)), changed(source, **{key: f"new-{rng.randrange(10**6)}"}))
    elif kind == "swap":
        rng.shuffle(records)
    else:
        i = rng.randrange(len(records))
        other = rng.choice(records)
        keys = [key for key in other.__struct_fields__ if key not in ("id", "name")]
        records[i] = changed(records[i], **{key: getattr(other, key) for key in rng.sample(keys, min(3, len(keys)))})
        if hasattr(records[i], "strip"):
            strip = records[i].strip
            strip = changed(
                strip, eq=strip.eq[1:], inserts=strip.inserts[::-1], high_pass=None, pan=rng.choice([0.0, 0.25])
            )
            records[i] = changed(records[i], strip=strip)
    return changed(song, **{field: tuple(records)})


def comments_in(text: str) -> list[str]:
    """Return the marks of the comments that :class:`Restyled` wrote and that are left in a text, in order."""
    return re.findall(r"~\d+~", text)


class Restyled:
    """Writes plain data as TOML 1.0 in a random mixture of all legal styles, with comments everywhere.

    Each comment holds a number of its own: see :func:`comments_in`.
    """

    def __init__(self, data: dict[str, Any], rng: random.Random) -> None:
        self.rng = rng
        self.count = 0
        self.text = self._root(data)

    def _root(self, data: dict[str, Any]) -> str:
        lines, blocks = self._body((), data)
        queues = [list(group) for group in blocks]
        text = "".join(lines)
        while queues:
            queue = self.rng.choice(queues)
            text += queue.pop(0)
            queues = [queue for queue in queues if queue]
        if self.rng.random() < 0.3:
            text = text.removesuffix("\n")
        return text.replace("\n", "\r\n") if self.rng.random() < 0.3 else text

    def _body(self, path: tuple[str, ...], table: dict[str, Any]) -> tuple[list[str], list[list[str]]]:
        """Return own lines, and for each key below it the blocks of text that must keep their order."""
        lines: list[str] = []
        blocks: list[list[str]] = []
        items = list(table.items())
        self.rng.shuffle(items)
        for key, value in items:
            style = self.rng.choice(["header", "inline", "dotted"])
            if isinstance(value, dict) and style == "header":
                blocks.append(self._table((*path, key), value))
            elif isinstance(value, list) and value and isinstance(value[0], dict) and style == "header":
                blocks.append([block for item in value for block in self._element((*path, key), item)])
            else:
                lines += [self._noise() + line for line in self._pairs((key,), value)]
        return [*lines, self._noise()], blocks

    def _table(self, path: tuple[str, ...], table: dict[str, Any]) -> list[str]:
        lines, blocks = self._body(path, table)
        flat = [block for group in blocks for block in group]
        if not "".join(lines).strip() and blocks and self.rng.random() < 0.7:
            return flat  # made by the headers below it
        if self.rng.random() < 0.2:
            return [*flat, self._header(f"[{self._key(path)}]") + "".join(lines)]
        return [self._header(f"[{self._key(path)}]") + "".join(lines), *flat]

    def _element(self, path: tuple[str, ...], table: dict[str, Any]) -> list[str]:
        lines, blocks = self._body(path, table)
        return [self._header(f"[[{self._key(path)}]]") + "".join(lines), *(b for group in blocks for b in group)]

    def _pairs(self, path: tuple[str, ...], value: Any) -> Iterator[str]:
        if isinstance(value, dict) and value and self.rng.random() < 0.5:
            for key, item in value.items():
                yield from self._pairs((*path, key), item)
        else:
            indent = self.rng.choice(["", "", "  ", "\t"])
            yield f"{indent}{self._key(path)}{self.rng.choice([' = ', '=', '  ='])}{self._value(value)}{self._tail()}\n"

    def _value(self, value: Any) -> str:
        if isinstance(value, dict):
            pairs = [pair for key, item in value.items() for pair in self._inline_pairs((key,), item)]
            return "{" + ", ".join(pairs) + self.rng.choice(["}", " }"])
        if isinstance(value, list):
            return self._list(value)
        if isinstance(value, bool):
            return "true" if value else "false"
        if isinstance(value, str):
            return self._string(value)
        if isinstance(value, int):
            return f"{value:_}" if self.rng.random() < 0.3 else str(value)
        if value == int(value) and abs(value) < 1e6 and self.rng.random() < 0.3:
            return str(int(value))
        return f"{value!r}" if repr(value).startswith("-") or self.rng.random() < 0.8 else f"+{value!r}"

    def _list(self, value: list[Any]) -> str:
        texts = [self._value(item) for item in value]
        style = self.rng.randrange(3)
        if style == 0 or not texts:
            return "[" + ", ".join(texts) + self.rng.choice(["]", ",]" if texts else " ]"])
        gap = "\n  " if style == 1 else self.rng.choice(["\n", " "])
        parts = [f"{gap}{text}{self.rng.choice(['', ' '])}" for text in texts]
        body = parts[0]
        for part in parts[1:]:
            body += "," + (self._tail() if part.startswith("\n") else "") + part
        end = self.rng.choice([",", ""])
        return "[" + body + end + self.rng.choice([self._tail() + "\n", "\n", ""]) + "]"

    def _inline_pairs(self, path: tuple[str, ...], value: Any) -> Iterator[str]:
        if isinstance(value, dict) and value and self.rng.random() < 0.3:
            for key, item in value.items():
                yield from self._inline_pairs((*path, key), item)
        else:
            yield f"{self._key(path)} = {self._value(value)}"

    def _string(self, text: str) -> str:
        if text.isprintable() and "'" not in text and self.rng.random() < 0.3:
            return f"'{text}'"
        if self.rng.random() < 0.2:
            return f'""{string_text(text)}""'
        if text.isprintable() and "'" not in text and self.rng.random() < 0.1:
            return f"'''\n{text}'''"
        return string_text(text)

    def _key(self, path: tuple[str, ...]) -> str:
        parts = [string_text(key) if self.rng.random() < 0.1 else key_text(key) for key in path]
        return self.rng.choice([".", ".", " . "]).join(parts)

    def _header(self, header: str) -> str:
        return f"{self._noise()}{header}{self._tail()}\n"

    def _tail(self) -> str:
        return f" {self._comment()}" if self.rng.random() < 0.15 else ""

    def _noise(self) -> str:
        return (
            self.rng.choice(["", "", "", "\n", f"{self._comment()}\n", f"\n  {self._comment()}\n\n"])
            if self.rng.random() < 0.4
            else ""
        )

    def _comment(self) -> str:
        self.count += 1
        return f"# ~{self.count}~ [x] \"y' = {{"
