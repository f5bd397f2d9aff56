# SPDX-License-Identifier: Apache-2.0
"""What is wrong in a `song.toml`, for the person who wrote it: line, key, what is allowed."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping

import msgspec
from msgspec import inspect

from mixwright.errors import SettingError
from mixwright.io.toml_text import KeyPath, find, line_of, scan
from mixwright.io.toml_write import key_text, string_text
from mixwright.model.record import Record
from mixwright.model.song import Song

SONG_FILE = "song.toml"

_STEP = re.compile(r"\.?([A-Za-z_]\w*)|\[(\d+)\]|\[(\.\.\.)\]")
_AT = re.compile(r" - at `(?:key in )?\$(.*)`$")
_FIELD = re.compile(r"(unknown|required) field `(.*?)`(?: - at|$)", re.DOTALL)
_SYNTAX_PLACE = re.compile(r" \((?:at line (\d+), column (\d+)|at end of document)\)$")
_PATTERN_WORDS = "lower-case letters, digits and single hyphens"


def syntax_error(text: str, message: str, file: str = SONG_FILE) -> SettingError:
    """Return the error for a text that is not TOML, from tomllib's message."""
    place = _SYNTAX_PLACE.search(message)
    line, column = (place[1], place[2]) if place and place[1] else (str(text.count("\n") + 1), "")
    where = f"{file}:{line}" + (f" column {column}" if column else "")
    what = message[: place.start()] if place else message
    return SettingError(
        f"not legal TOML: {what[:1].lower()}{what[1:]}",
        where=where,
        hint=f"mend it by hand{', or undo' if file == SONG_FILE else ''}",
    )


def at_line(text: str, error: SettingError) -> SettingError:
    """Return an error about a key path such as ``tracks[3].group`` with its line in the text."""
    return SettingError(error.message, where=_where(text, path_of(error.where)), hint=error.hint)


def conversion_error(
    text: str | None,
    data: Mapping[str, object],
    error: msgspec.ValidationError,
    root: type[Record] = Song,
    file: str = SONG_FILE,
) -> SettingError:
    """Return the error for data that is no Song (or other `root`), in terms of the text it was read from, if any."""
    message = str(error)
    at = _AT.search(message)
    path = path_of(at[1]) if at else ()
    field = _FIELD.search(message)
    path, kind, value = _walk(data, path, root)
    if field and field[1] == "unknown":
        return _unknown_key(text, path, kind, field[2], file)
    if field:
        return SettingError(
            f"{field[2]} is missing",
            where=_where(text, path, file),
            hint=f"allowed: {_allowed(_field(kind, field[2]))}",
        )
    hint = f"allowed: {_allowed(kind)}"
    if isinstance(kind, inspect.LiteralType) and isinstance(value, str):
        near = difflib.get_close_matches(value.lower(), [str(word) for word in kind.values], n=1, cutoff=0.5)
        hint = f"did you mean {near[0]}? {hint}" if near else hint
    return SettingError(f"{_shown(value)} does not fit", where=_where(text, path, file), hint=hint)


def check_finite(text: str | None, data: Mapping[str, object], file: str = SONG_FILE) -> None:
    """Refuse inf and nan, which TOML allows."""
    todo: list[tuple[KeyPath, object]] = [((), data)]
    while todo:
        path, value = todo.pop()
        if isinstance(value, float) and not math.isfinite(value):
            raise SettingError(f"{value} does not fit", where=_where(text, path, file), hint="allowed: a finite number")
        if isinstance(value, dict):
            todo += [((*path, name), item) for name, item in value.items()]
        elif isinstance(value, list):
            todo += [((*path, index), item) for index, item in enumerate(value)]


def path_of(text: str) -> KeyPath:
    """Return the steps of a key path such as ``tracks[3].strip.eq[0].hz``."""
    return tuple(int(step[2]) if step[2] else step[1] or step[3] for step in _STEP.finditer(text))


def _where(text: str | None, path: KeyPath, file: str = SONG_FILE) -> str:
    shown = "".join(f"[{step}]" if isinstance(step, int) else f".{key_text(step)}" for step in path).removeprefix(".")
    if text is None:
        return shown
    return f"{file}:{line_of(text, find(scan(text), path).at)} {shown}".rstrip()


def _walk(data: Mapping[str, object], path: KeyPath, root: type[Record]) -> tuple[KeyPath, inspect.Type, object]:
    """Follow a path through the data and the types; name the entry of a mapping that msgspec only calls ``...``."""
    kind: inspect.Type = inspect.type_info(root)
    value: object = data
    steps: list[str | int] = []
    for step in path:
        kind = _of_kind(_inner(kind), value)
        if isinstance(step, int) and isinstance(value, list) and isinstance(kind, inspect.VarTupleType):
            value, kind = value[step], kind.item_type
        elif isinstance(value, Mapping) and (isinstance(kind, inspect.StructType) or _kinds(kind)):
            value, kind = value[str(step)], _field(kind, str(step))
        elif isinstance(value, Mapping) and isinstance(kind, inspect.DictType):
            kind = kind.value_type
            steps.append(next(name for name, item in value.items() if not _fits(item, kind)))
            value = value[steps[-1]]
            continue
        steps.append(step)
    return tuple(steps), _of_kind(_inner(kind), value), value


def _fits(value: object, kind: inspect.Type) -> bool:
    """Tell whether an entry of one of the song's mappings (numbers or words) is allowed."""
    if isinstance(kind, inspect.LiteralType):
        return value in kind.values
    if isinstance(kind, inspect.StrType):
        return isinstance(value, str)
    if isinstance(kind, inspect.FloatType):
        low, high = kind.ge if kind.ge is not None else -math.inf, kind.le if kind.le is not None else math.inf
        return isinstance(value, (int, float)) and not isinstance(value, bool) and low <= value <= high
    return True


def _inner(kind: inspect.Type) -> inspect.Type:
    """Return the one type of an optional value; several kinds of a record stay as they are."""
    if isinstance(kind, inspect.Metadata):
        return _inner(kind.type)
    if isinstance(kind, inspect.UnionType) and not _kinds(kind):
        return _inner(next(item for item in kind.types if not isinstance(item, inspect.NoneType)))
    return kind


def _kinds(kind: inspect.Type) -> dict[str, inspect.StructType]:
    """Return the kinds of a record by what tells them apart; none where it has but one."""
    types = kind.types if isinstance(kind, inspect.UnionType) else (kind,)
    return {str(one.tag): one for one in types if isinstance(one, inspect.StructType) and one.tag is not None}


def _of_kind(kind: inspect.Type, value: object) -> inspect.Type:
    """Return the kind of a record that a value says it is, where it says so."""
    kinds = _kinds(kind)
    tag = value.get(str(next(iter(kinds.values())).tag_field)) if kinds and isinstance(value, Mapping) else None
    return kinds.get(tag, kind) if isinstance(tag, str) else kind


def _field(kind: inspect.Type, name: str) -> inspect.Type:
    kinds = _kinds(kind)
    if kinds and name == next(iter(kinds.values())).tag_field:
        return inspect.LiteralType(tuple(sorted(kinds)))
    if not isinstance(kind, inspect.StructType):
        raise TypeError(f"{name} is a field of no record")
    return _inner(next(field.type for field in kind.fields if field.encode_name == name))


def _unknown_key(text: str | None, path: KeyPath, kind: inspect.Type, name: str, file: str) -> SettingError:
    known = [field.encode_name for field in kind.fields] if isinstance(kind, inspect.StructType) else []
    known += [str(one.tag_field) for one in _kinds(kind).values()][:1]
    near = difflib.get_close_matches(name.lower(), known, n=1, cutoff=0.5) or [
        key for key in known if name.lower() in key.split("_")
    ]
    hint = f"did you mean {near[0]}?" if near else f"known: {', '.join(known)}"
    return SettingError(f"unknown key {_shown(name)}", where=_where(text, (*path, name), file), hint=hint)


def _allowed(kind: inspect.Type) -> str:
    """Return in words what a type allows."""
    if isinstance(kind, inspect.LiteralType):
        return ", ".join(str(value) for value in kind.values)
    if isinstance(kind, inspect.BoolType):
        return "true or false"
    if isinstance(kind, (inspect.IntType, inspect.FloatType)):
        what = "a whole number" if isinstance(kind, inspect.IntType) else "a number"
        if kind.ge is not None and kind.le is not None:
            return f"{what} from {kind.ge:g} to {kind.le:g}"
        return f"{what} from {kind.ge:g}" if kind.ge is not None else what
    if isinstance(kind, inspect.StrType):
        return f"text in quotes: {_PATTERN_WORDS}, at most {kind.max_length}" if kind.pattern else "text in quotes"
    if isinstance(kind, inspect.VarTupleType):
        most = f"at most {kind.max_length} of them, each " if kind.max_length else ""
        return f"a list in brackets: {most}{_allowed(_inner(kind.item_type))}"
    if isinstance(kind, inspect.DictType):
        return f"a table of keys, each with {_allowed(_inner(kind.value_type))}"
    if kinds := _kinds(kind):
        return f"a table with {next(iter(kinds.values())).tag_field} = {' or '.join(sorted(kinds))}"
    if isinstance(kind, inspect.StructType):
        return f"a table with {', '.join(field.encode_name for field in kind.fields)}"
    raise TypeError(f"no words for {type(kind).__name__}")


def _shown(value: object) -> str:
    """Return a value for one line of a message: short, and with nothing in it that moves a cursor."""
    if isinstance(value, str):
        return string_text(value if len(value) <= 60 else f"{value[:57]}...")
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list):
        return f"a list of {len(value)}" if value else "an empty list"
    return str(value).lower() if isinstance(value, bool) else str(value)
