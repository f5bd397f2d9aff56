# SPDX-License-Identifier: Apache-2.0
"""Markup in which every text is escaped unless it was made here."""

from __future__ import annotations

import functools
import html
import re
from collections.abc import Iterable

from mixwright.report.figures import clean

_VOID = frozenset({"meta", "br", "hr", "input"})
#: Drawn shapes are closed at once.
_EMPTY = frozenset({"line", "rect", "circle", "path", "use"})
#: A hyphen in front of a figure, and not within a word, is a minus.
_MINUS = re.compile(r"(?<![\w-])-(?=\d)")
#: A figure and its unit stay on one line.
_UNIT = re.compile(r"(?<=\d) (?=(?:LUFS|LU|dBTP|dBFS|dB|kHz|Hz|BPM|phon|sone|s|ms|bit)\b|%)")
#: Nothing to escape: most attributes of drawn shapes.
_PLAIN = re.compile(r"[A-Za-z0-9 .%-]*")
#: Where text is kept to the letter, to be copied.
_LITERAL = frozenset({"code", "title"})


class Markup(str):
    """Text that is markup already."""

    __slots__ = ()


Child = str | None | Iterable["str | None"]


def element(tag: str, /, *children: Child, **attributes: str | float | bool | None) -> Markup:
    """Return one element.

    Parameters
    ----------
    tag : str
        Its name.
    *children
        Text (escaped, control characters removed, a true minus before figures), Markup (as it is), None (nothing), or
        several of them.
    **attributes
        Underscores at the end fall away and others become hyphens (``class_``, ``stroke_width``); None and False leave
        an attribute out, True writes it without a value.
    """
    written = "".join(_attribute(key, value) for key, value in attributes.items())
    if tag in _VOID:
        return Markup(f"<{tag}{written}>")
    if tag in _EMPTY:
        return Markup(f"<{tag}{written}/>")
    return Markup(f"<{tag}{written}>{_joined(children, literal=tag in _LITERAL)}</{tag}>")


def together(*children: Child) -> Markup:
    """Return several pieces one after the other."""
    return Markup(_joined(children))


def marked(text: str) -> Markup:
    """Return words that ask for a look."""
    return element("b", text, class_="off-mark")


def _joined(children: Iterable[Child], *, literal: bool = False) -> str:
    return "".join(_child(child, literal) for child in children)


def _child(child: Child, literal: bool) -> str:
    if child is None:
        return ""
    if isinstance(child, Markup):
        return child
    if isinstance(child, str):
        text = html.escape(clean(child), quote=False)
        return text if literal else _UNIT.sub("\N{NO-BREAK SPACE}", _MINUS.sub("\N{MINUS SIGN}", text))
    return _joined(child, literal=literal)


def _attribute(key: str, value: str | float | bool | None) -> str:
    if value is None or value is False:
        return ""
    name = _attribute_name(key)
    if value is True:
        return f" {name}"
    if not isinstance(value, str):
        return f' {name}="{value:.6g}"'
    return f' {name}="{value if _PLAIN.fullmatch(value) else html.escape(clean(value))}"'


@functools.cache
def _attribute_name(key: str) -> str:
    return key.rstrip("_").replace("_", "-")
