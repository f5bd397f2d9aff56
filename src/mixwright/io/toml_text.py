# SPDX-License-Identifier: Apache-2.0
"""Where everything stands in a TOML text: for messages with a line, and for edits that touch nothing else.

The text has been read by tomllib before, so that it is legal TOML 1.0; what is left to find is the
place of each key and value, in whatever legal style a person wrote them.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field

KeyPath = tuple[str | int, ...]

_BLANK = re.compile(r"[ \t]*")
_VOID = re.compile(r"(?:[ \t\r\n]+|#[^\n]*)*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]\}#\r\n]*")
_STRING = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*"{3,5}'
    r"|'''(?:[^']|'(?!''))*'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'",
    re.DOTALL,
)


#: Strings and comments as wholes, and the signs that nest.
_STRUCTURE = re.compile(rf"{_STRING.pattern}|#[^\n]*|[\[\]{{}}.=,\n]", re.DOTALL)


@dataclass(slots=True, eq=False)
class Entry:
    """The span of one item of an inline array or of one ``key = value``; `comma`: where its comma is, or -1."""

    start: int
    end: int
    comma: int = -1


@dataclass(slots=True, eq=False)
class Node:
    """One value and where it stands.

    `inline`: its text is ``text[start:end]``; otherwise it is spread over lines by headers or dotted keys.
    `at`: where a message points. `entry`: the item or ``key = value`` that holds it alone.
    `entries`: of an inline array or table, in order. `home`: the inline table that holds this dotted one.
    `path`: full key path of a table with lines of its own. `prefix`: the part of it that is dotted.
    `segment`: header line to last own line. `tail`: where a new line of this table goes, -1: nowhere.
    """

    kind: str  # "value", "table" or "array"
    at: int
    inline: bool = False
    start: int = -1
    end: int = -1
    keys: dict[str, Node] = field(default_factory=dict)
    items: list[Node] = field(default_factory=list)
    entry: Entry | None = None
    entries: list[Entry] = field(default_factory=list)
    home: Node | None = None
    path: tuple[str, ...] = ()
    prefix: tuple[str, ...] = ()
    segment: tuple[int, int] | None = None
    tail: int = -1


def scan(text: str) -> Node:
    """Return the root table of a legal TOML text, with the place of everything in it."""
    return _Scanner(text).root()


def too_deep(text: str, most: int) -> int:
    """Return where brackets, or the parts of a dotted key, nest deeper than `most`; -1 where they do not.

    The text need not be legal. It takes a time that grows with its length alone: what reads TOML takes the square of
    the parts of a key.
    """
    depth = dots = 0
    for found in _STRUCTURE.finditer(text):
        sign = found.group()
        if sign == ".":
            dots += 1
        elif sign in ("[", "{"):
            depth += 1
            dots = 0
        elif sign in ("]", "}"):
            depth -= 1
        elif sign in ("=", ",", "\n"):
            dots = 0
        if max(depth, dots) > most:
            return found.start()
    return -1


def find(root: Node, path: Sequence[str | int]) -> Node:
    """Return the node at a path, or the deepest one on the way to it."""
    node = root
    for step in path:
        if isinstance(step, int):
            if step >= len(node.items):
                return node
            node = node.items[step]
        elif step in node.keys:
            node = node.keys[step]
        else:
            return node
    return node


def line_of(text: str, position: int) -> int:
    """Return the line number, from 1, of a position in a text."""
    return text.count("\n", 0, max(position, 0)) + 1


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0

    def root(self) -> Node:
        root = Node("table", at=0, tail=0)
        table = root
        while True:
            self._skip(_VOID)
            if self.at >= len(self.text):
                return root
            if self.text[self.at] == "[":
                table = self._header(root)
            else:
                self._line(table)

    def _header(self, root: Node) -> Node:
        start = self.at
        repeated = self.text.startswith("[[", start)
        self.at += 2 if repeated else 1
        path = self._key()
        end = self._line_end()
        node = root
        for name in path[:-1]:
            node = node.keys.setdefault(name, Node("table", at=start))
            if node.kind == "array":
                node = node.items[-1]
        if repeated:
            array = node.keys.setdefault(path[-1], Node("array", at=start, path=path))
            table = Node("table", at=start)
            array.items.append(table)
        else:
            table = node.keys.setdefault(path[-1], Node("table", at=start))
            table.at = start
        table.path, table.segment, table.tail = path, (start, end), end
        _give_paths(root, path)
        return table

    def _line(self, table: Node) -> None:
        """Read one ``key = value`` of a table with lines of its own."""
        start = self.at
        node, path = self._pair()
        node.entry = Entry(start, self.at)
        end = self._line_end()
        owners = _place(table, path, node, start)
        for owner in (table, *owners):
            owner.tail = end
        if table.segment:
            table.segment = (table.segment[0], end)

    def _pair(self) -> tuple[Node, tuple[str, ...]]:
        path = self._key()
        self.at = self.text.index("=", self.at) + 1
        self._skip(_BLANK)
        return self._value(), path

    def _value(self) -> Node:
        first = self.text[self.at]
        if first == "[":
            return self._array()
        if first == "{":
            return self._table()
        start = self.at
        quoted = first in "\"'"
        end = self._match(_STRING).end() if quoted else start + len(self._match(_SCALAR).group().rstrip())
        self.at = end
        return Node("value", at=start, inline=True, start=start, end=end)

    def _array(self) -> Node:
        array = Node("array", at=self.at, inline=True, start=self.at)
        self.at += 1
        while self._more("]"):
            item = self._value()
            item.entry = Entry(item.start, item.end)
            array.items.append(item)
            array.entries.append(item.entry)
            self._comma(item.entry)
        array.end = self.at
        return array

    def _table(self) -> Node:
        table = Node("table", at=self.at, inline=True, start=self.at)
        self.at += 1
        while self._more("}"):
            start = self.at
            node, path = self._pair()
            node.entry = Entry(start, node.end)
            table.entries.append(node.entry)
            for owner in _place(table, path, node, start):
                owner.home = table
            self._comma(node.entry)
        table.end = self.at
        return table

    def _more(self, closing: str) -> bool:
        self._skip(_VOID)
        if self.text[self.at] != closing:
            return True
        self.at += 1
        return False

    def _comma(self, entry: Entry) -> None:
        self._skip(_VOID)
        if self.text[self.at] == ",":
            entry.comma = self.at
            self.at += 1

    def _key(self) -> tuple[str, ...]:
        parts: list[str] = []
        while True:
            self._skip(_BLANK)
            if self.text[self.at] in "\"'":
                quoted = self._match(_STRING)
                parts.append(next(iter(tomllib.loads(f"{quoted.group()} = 0"))))
                self.at = quoted.end()
            else:
                bare = self._match(_BARE)
                parts.append(bare.group())
                self.at = bare.end()
            self._skip(_BLANK)
            if self.text[self.at] != ".":
                return tuple(parts)
            self.at += 1

    def _line_end(self) -> int:
        """Go to the end of the line, its newline included: only a comment may be left on it."""
        end = self.text.find("\n", self.at)
        self.at = len(self.text) if end < 0 else end + 1
        return self.at

    def _skip(self, pattern: re.Pattern[str]) -> None:
        self.at = self._match(pattern).end()

    def _match(self, pattern: re.Pattern[str]) -> re.Match[str]:
        found = pattern.match(self.text, self.at)
        if found is None:
            raise AssertionError(f"not legal TOML at {self.at}")
        return found


def _place(table: Node, path: tuple[str, ...], node: Node, at: int) -> list[Node]:
    """Hang a value into a table under a dotted key; return the tables that the dots made, outermost first."""
    owners: list[Node] = []
    owner = table
    for name in path[:-1]:
        inner = owner.keys.setdefault(name, Node("table", at=at))
        inner.path, inner.prefix = (*owner.path, name), (*owner.prefix, name)
        owners.append(inner)
        owner = inner
    owner.keys[path[-1]] = node
    node.at = at
    return owners


def _give_paths(root: Node, path: tuple[str, ...]) -> None:
    """Tell the tables that a header made on its way what they are called."""
    node = root
    for depth, name in enumerate(path, 1):
        node = node.keys[name]
        if node.kind == "array":
            node = node.items[-1]
        node.path = path[:depth]
