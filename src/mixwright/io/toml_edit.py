# SPDX-License-Identifier: Apache-2.0
"""Bring a TOML text to new contents and leave every other character as the person wrote it."""

from __future__ import annotations

import difflib
import functools
import operator
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import msgspec

from mixwright.io.toml_text import Entry, Node, scan
from mixwright.io.toml_write import block_text, blocks_text, fields_of, inline_text, is_block, key_text, line_text
from mixwright.model.record import Record

# The order of what is written at one place: lines of a table, tables in it, tables beside it, cuts.
_LINE, _HEADER, _BESIDE, _CUT = 0, 1, 100, 200


def edited(
    text: str,
    raw: Mapping[str, object],
    record: Record,
    *,
    section: Callable[[str, object], str] = lambda name, value: line_text([name], value),
    blocks: Collection[str] = (),
) -> str:
    """Return the text with the fewest changes that make it say `record`.

    Values that are equal keep their spelling, kept records their place, order and comments. A value
    that returns to its default is written if its key stands there, and otherwise stays left out.

    Parameters
    ----------
    text : str
        Legal TOML.
    raw : mapping
        What tomllib read from it.
    record : Record
        What it shall say.
    section : callable
        The text of a root field that is not there yet, from its name and value.
    blocks : collection of str
        Root fields that are written under headers: they go to the end of the text.
    """
    newline = "\r\n" if "\r\n" in text else "\n"
    if text and not text.endswith("\n"):
        text += newline
    edit = _Edit(text, newline, section, blocks)
    edit.table(edit.root, raw, record)
    return edit.result()


@dataclass(slots=True)
class _Items:
    """What becomes of the items of one inline array or table."""

    node: Node
    removed: set[int] = field(default_factory=set)
    added: dict[int, list[str]] = field(default_factory=dict)  # after the item of this index; -1: in front


class _Edit:
    def __init__(self, text: str, newline: str, section: Callable[[str, object], str], blocks: Collection[str]) -> None:
        self.text = text
        self.root = scan(text)
        self._newline = newline
        self._section = section
        self._blocks = blocks
        self._splices: list[tuple[int, int, int, str]] = []  # start, rank among equal starts, end, new text
        self._inline: dict[int, _Items] = {}
        self._headed: set[tuple[str, ...]] = set()

    def result(self) -> str:
        """Return the text with all changes made."""
        for items in self._inline.values():
            self._settle(items)
        parts: list[str] = []
        at = 0
        for start, _, end, new in sorted(self._splices, key=lambda splice: splice[:2]):
            parts += [self.text[at:start], new]
            at = max(at, end)
        return "".join([*parts, self.text[at:]])

    # What differs

    def table(self, node: Node, raw: Mapping[str, object], record: Record | Mapping[str, object]) -> None:
        """Bring a table to the contents of a record or mapping."""
        fields = list(fields_of(record))
        names = {name for name, _, _ in fields}
        for name in raw:
            if name not in names:
                self._remove(node, node.keys[name])
        above: Node | None = None
        for name, value, default in fields:
            if name not in raw:
                if value != default and value is not None:
                    self._add(node, name, value, above)
            elif value is None:
                self._remove(node, node.keys[name])
            else:
                self._value(node, name, raw[name], value)
            above = node.keys.get(name, above)

    def _value(self, owner: Node, name: str, raw: object, value: object) -> None:
        node = owner.keys[name]
        if isinstance(value, (Record, Mapping)) and isinstance(raw, Mapping):
            self.table(node, raw, value)
        elif isinstance(value, tuple) and isinstance(raw, list):
            self._array(node, raw, value)
        elif raw != value:
            if node.inline:
                self._write(node.start, node.end, inline_text(value))
            else:
                self._remove(owner, node)
                self._add(owner, name, value, None)

    def _array(self, node: Node, raw: list[object], new: tuple[object, ...]) -> None:
        """Bring a list to new items; items of one name are the same, whatever else changed in them."""
        before, after = _names(raw, new), [_name(item) for item in new]
        for tag, a, a_end, b, b_end in difflib.SequenceMatcher(None, before, after, autojunk=False).get_opcodes():
            pairs = 0
            if tag == "equal" or (tag == "replace" and (node.inline or not _is_named(new[b]))):
                pairs = min(a_end - a, b_end - b)
            for i in range(pairs):
                self._item(node.items[a + i], raw[a + i], new[b + i], same=tag == "equal" or not _is_named(new[b + i]))
            for i in range(a + pairs, a_end):
                self._remove_item(node, i)
            for item in new[b + pairs : b_end]:
                self._add_item(node, a_end - 1, item)

    def _item(self, node: Node, raw: object, value: object, *, same: bool) -> None:
        if same and isinstance(value, (Record, Mapping)) and isinstance(raw, Mapping):
            self.table(node, raw, value)
        elif raw != value:
            self._write(node.start, node.end, inline_text(value))

    # Where it is written

    def _add(self, owner: Node, name: str, value: object, above: Node | None) -> None:
        """Write a field that is not there yet, in the style of its table, below the line of `above` if it has one."""
        home = owner if owner.inline else owner.home
        at = self.text.find("\n", above.entry.end) + 1 if above and above.entry else owner.tail
        if home is not None:
            pair = f"{key_text(*owner.prefix, name)} = {inline_text(value)}"
            self._items(home).added.setdefault(len(home.entries) - 1, []).append(pair)
        elif owner is self.root and name in self._blocks:
            self._write(len(self.text), len(self.text), self._section(name, value), _BESIDE)
        elif owner is self.root:
            self._write(at, at, self._section(name, value))
        elif owner.tail < 0:
            # Only headers further in made this table: it gets a header of its own above them.
            first = min(start for start, _ in _segments(owner))
            head = "" if owner.path in self._headed else f"[{key_text(*owner.path)}]\n"
            self._headed.add(owner.path)
            self._write(first, first, head + line_text([name], value), _HEADER)
        elif is_block(value) and not owner.prefix:
            text = blocks_text([*owner.path, name], value)
            self._write(owner.tail, owner.tail, text, _BESIDE - len(owner.path) - 1)
        else:
            indent = self._indent(self.text.rfind("\n", 0, max(at - 1, 0)) + 1)
            lines = line_text([*owner.prefix, name], value).splitlines(keepends=True)
            self._write(at, at, "".join(indent + line for line in lines))

    def _add_item(self, array: Node, after: int, value: object) -> None:
        if array.inline:
            self._items(array).added.setdefault(after, []).append(inline_text(value))
        elif isinstance(value, Record):
            text = block_text(array.path, value, repeated=True)
            if after >= 0:
                at = max(end for _, end in _segments(array.items[after]))
                self._write(at, at, "\n" + text, _BESIDE - len(array.path))
            else:
                at = min(start for start, _ in _segments(array.items[0]))
                self._write(at, at, text + "\n", _BESIDE)

    def _remove(self, owner: Node, node: Node) -> None:
        home = owner if owner.inline else owner.home
        if home is None:
            self._cut(node, covered=False)
        else:
            self._items(home).removed.update(home.entries.index(entry) for entry in _entries(node))

    def _remove_item(self, array: Node, index: int) -> None:
        if array.inline:
            self._items(array).removed.add(index)
        else:
            self._cut(array.items[index], covered=False)

    def _cut(self, node: Node, *, covered: bool) -> None:
        """Remove the lines of a value; `covered`: those of the table it stands in are removed already."""
        if node.segment:
            self._write(self._above(node.segment[0]), node.segment[1], "", _CUT)
            covered = True
        elif node.entry and not covered:
            start = self.text.rfind("\n", 0, node.entry.start) + 1
            self._write(start, self.text.find("\n", node.entry.end) + 1, "", _CUT)
        if not node.inline:
            for child in (*node.keys.values(), *node.items):
                self._cut(child, covered=covered)

    def _settle(self, items: _Items) -> None:
        """Write what becomes of an inline array or table, with a comma between any two items."""
        entries = items.node.entries
        kept = [i for i in range(len(entries)) if i not in items.removed]
        for i in items.removed:
            self._cut_item(entries[i])
        comma = bool(kept) and entries[kept[-1]].comma >= 0
        if comma and kept[-1] < len(entries) - 1 and entries[-1].comma < 0:
            self._cut_comma(entries[kept[-1]])
            comma = False
        for after, texts in sorted(items.added.items()):
            following = next((entries[i] for i in kept if i > after), None)
            if following:
                line = self.text.rfind("\n", 0, following.start) + 1
                own_line = not self.text[line : following.start].strip()
                gap = self._newline + self._indent(line) if own_line else " "
                self._write(following.start, following.start, "".join(f"{text},{gap}" for text in texts))
            elif kept:
                self._append(items.node, entries[kept[-1]], texts, comma=comma)
            else:
                text = ", ".join(texts)
                at = items.node.start + 1
                self._write(at, at, f" {text} " if items.node.kind == "table" else text)

    def _append(self, node: Node, last: Entry, texts: Sequence[str], *, comma: bool) -> None:
        """Write new items after the last one; each on a line of its own if the last one has its own."""
        line = self.text.rfind("\n", 0, last.start) + 1
        at = self.text.find("\n", max(last.end, last.comma)) + 1
        if 0 < at < node.end and not self.text[line : last.start].strip():
            if not comma:
                self._write(last.end, last.end, ",")
            indent = self._indent(line)
            self._write(at, at, "".join(f"{indent}{text},\n" for text in texts))
        elif comma:
            self._write(last.comma + 1, last.comma + 1, "".join(f" {text}," for text in texts))
        else:
            self._write(last.end, last.end, "".join(f", {text}" for text in texts))

    def _cut_item(self, entry: Entry) -> None:
        """Remove an item and its comma; with the line, if nothing else stands on it."""
        line = self.text.rfind("\n", 0, entry.start) + 1
        end = self.text.find("\n", max(entry.end, entry.comma))
        rest = self.text[entry.end : end].replace(",", "", 1)
        if end >= 0 and not (self.text[line : entry.start] + rest).strip():
            self._write(line, end + 1, "", _CUT)
        else:
            self._write(entry.start, entry.end, "", _CUT)
            self._cut_comma(entry)

    def _cut_comma(self, entry: Entry) -> None:
        if entry.comma >= 0:
            end = entry.comma + 1
            while self.text[end] in " \t":
                end += 1
            self._write(entry.comma, end, "", _CUT)

    def _write(self, start: int, end: int, new: str, rank: int = _LINE) -> None:
        self._splices.append((start, rank, end, new.replace("\r\n", "\n").replace("\n", self._newline)))

    def _items(self, node: Node) -> _Items:
        return self._inline.setdefault(node.start, _Items(node))

    def _indent(self, line: int) -> str:
        end = line
        while self.text[end] in " \t":
            end += 1
        return self.text[line:end]

    def _above(self, line: int) -> int:
        """Return the start of the empty lines right above a line."""
        while line > 0:
            above = self.text.rfind("\n", 0, line - 1) + 1
            if self.text[above:line].strip():
                break
            line = above
        return line


def _segments(node: Node) -> Iterator[tuple[int, int]]:
    if node.segment:
        yield node.segment
    for child in (*node.keys.values(), *node.items):
        yield from _segments(child)


def _entries(node: Node) -> Iterator[Entry]:
    if node.entry:
        yield node.entry
    else:
        for child in node.keys.values():
            yield from _entries(child)


def _names(raw: list[object], new: tuple[object, ...]) -> list[object]:
    """Return what tells the items of a read list apart, in the terms of `new`."""
    if not new:
        return list(range(len(raw)))
    if not isinstance(new[0], Record):
        return list(raw)
    kinds = functools.reduce(operator.or_, {type(item) for item in new})
    names: list[object] = []
    for i, item in enumerate(raw):
        try:
            names.append(_name(msgspec.convert(item, kinds)))
        except msgspec.ValidationError:  # of an older schema, or another kind
            id_ = item.get("id") if isinstance(item, Mapping) and hasattr(new[0], "id") else None
            names.append(("older", i) if id_ is None else (id_,))
    return names


def _name(item: object) -> object:
    """Return what tells an item of a list apart: its id, name or target; without any of them, all of it."""
    for keys in (("id",), ("name",), ("target", "parameter")):
        if isinstance(item, Record) and all(hasattr(item, key) for key in keys):
            return tuple(getattr(item, key) for key in keys)
    return item


def _is_named(item: object) -> bool:
    return isinstance(item, Record) and _name(item) is not item
