# SPDX-License-Identifier: Apache-2.0
"""Records as TOML text: short, with defaults left out."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator, Mapping, Sequence

import msgspec

from mixwright.errors import InternalError
from mixwright.model.record import Record

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SHORT = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}
_FIRST_SCHEMA = 1


def fields_of(record: Record | Mapping[str, object]) -> Iterator[tuple[str, object, object]]:
    """Yield name, value and default of each field; an entry of a mapping has no default (NODEFAULT).

    What tells the kinds of a record apart comes first, as a field without default.
    """
    if not isinstance(record, Record):
        for name, value in record.items():
            yield name, value, msgspec.NODEFAULT
        return
    config = record.__struct_config__
    if config.tag is not None and config.tag_field is not None:
        yield config.tag_field, config.tag, msgspec.NODEFAULT
    for field in _fields(type(record)):
        default = field.default
        if field.default_factory is not msgspec.NODEFAULT:
            default = field.default_factory()
        if field.encode_name == "schema":
            # A text without a schema is of the first, whatever the current one is.
            default = _FIRST_SCHEMA
        yield field.encode_name, getattr(record, field.name), default


def set_fields(record: Record | Mapping[str, object]) -> list[tuple[str, object]]:
    """Return names and values of the fields that are not at their default."""
    return [(name, value) for name, value, default in fields_of(record) if value != default and value is not None]


def is_records(value: object) -> bool:
    """Tell whether a value is a non-empty list of records."""
    return isinstance(value, tuple) and bool(value) and isinstance(value[0], Record)


def key_text(*path: str) -> str:
    """Return a dotted key."""
    return ".".join(key if _BARE_KEY.fullmatch(key) else string_text(key) for key in path)


def string_text(text: str) -> str:
    """Return a basic string on one line; whatever could move a cursor or hide itself is escaped."""
    return f'"{"".join(map(_escaped, text))}"'


def inline_text(value: object) -> str:
    """Return a value on one line."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, str):
        return string_text(value)
    if isinstance(value, (Record, Mapping)):
        pairs = (f"{key_text(name)} = {inline_text(item)}" for name, item in set_fields(value))
        return f"{{ {', '.join(pairs)} }}" if set_fields(value) else "{}"
    if isinstance(value, Sequence):
        return f"[{', '.join(inline_text(item) for item in value)}]"
    raise InternalError(f"no TOML for {type(value).__name__}")


def line_text(path: Sequence[str], value: object) -> str:
    """Return ``key = value`` with its newline; a list of several records takes a line for each."""
    if is_records(value) and isinstance(value, tuple) and len(value) > 1:
        items = "".join(f"  {inline_text(item)},\n" for item in value)
        return f"{key_text(*path)} = [\n{items}]\n"
    return f"{key_text(*path)} = {inline_text(value)}\n"


def block_text(path: Sequence[str], record: Record, *, repeated: bool) -> str:
    """Return a record as ``[path]`` or ``[[path]]``, a line for each field, strip and inserts as tables below it."""
    head = f"[[{key_text(*path)}]]\n" if repeated else f"[{key_text(*path)}]\n"
    fields = set_fields(record)
    lines = "".join(line_text([name], value) for name, value in fields if not is_block(value))
    return head + lines + "".join(blocks_text([*path, name], value) for name, value in fields if is_block(value))


def blocks_text(path: Sequence[str], value: object) -> str:
    """Return a record or a list of records that are tables of their own."""
    if isinstance(value, Record):
        return block_text(path, value, repeated=False)
    return "".join(block_text(path, item, repeated=True) for item in value if isinstance(item, Record))  # type: ignore[attr-defined]


def is_block(value: object) -> bool:
    """Tell whether a record (or a list of them) in another is written as tables: more than a handful of fields."""
    record = value[0] if isinstance(value, tuple) and value else value
    return isinstance(record, Record) and len(record.__struct_fields__) > 4


@functools.cache
def _fields(kind: type[Record]) -> tuple[msgspec.structs.FieldInfo, ...]:
    return msgspec.structs.fields(kind)  # slow: it resolves all annotations


def _escaped(character: str) -> str:
    if character in _SHORT:
        return _SHORT[character]
    code = ord(character)
    if character.isprintable() or 0xD800 <= code < 0xE000:  # a lone surrogate has no escape: writing refuses it
        return character
    return f"\\u{code:04X}" if code < 0x10000 else f"\\U{code:08X}"
