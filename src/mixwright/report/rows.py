# SPDX-License-Identifier: Apache-2.0
"""Aligned rows and wrapped sentences of plain text."""

from __future__ import annotations

import re
import textwrap
import unicodedata
from collections.abc import Sequence

_WIDEST, _LINE = 60, 100
#: The space between a figure and its unit.
_IN_FIGURE = re.compile(r"(?<=\d) (?=(?:%|k?Hz|dB\w*|LU\w*|phon|sone)(?!\w))")


def rows(head: Sequence[str], body: Sequence[Sequence[str]], *, right: str = "") -> list[str]:
    """Return lines of aligned columns, indented by two spaces.

    Parameters
    ----------
    head : sequence of str
        Column titles; all empty for no title line.
    body : sequence of sequence of str
        Cells; a row may be shorter than the head. All but the last column are cut at 60 characters.
    right : str
        Which columns are flush right, as digits: ``"134"``.
    """
    if not body:
        return []
    table = [list(head), *(list(row) + [""] * (len(head) - len(row)) for row in body)]
    table = [[*(_cut(cell) for cell in row[:-1]), row[-1]] for row in table]
    widths = [max(_width(row[i]) for row in table) for i in range(len(head))]
    lines = []
    for row in table if any(head) else table[1:]:
        cells = [
            " " * (widths[i] - _width(cell)) + cell if str(i) in right else cell + " " * (widths[i] - _width(cell))
            for i, cell in enumerate(row)
        ]
        lines.append("  " + "  ".join(cells).rstrip())
    return lines


def wrapped(sentence: str, first: str = "", then: str = "") -> list[str]:
    """Return a sentence on lines of at most 100 characters, indented by `first`, the further ones by `then`.

    Figures stay with their units, ids and other words whole, even where they are longer than a line.
    """
    held = _IN_FIGURE.sub("\0", sentence)
    lines = textwrap.wrap(
        held, _LINE, initial_indent=first, subsequent_indent=then, break_on_hyphens=False, break_long_words=False
    )
    return [line.replace("\0", " ") for line in lines]


def _cut(cell: str) -> str:
    """Cut a cell to the widest allowed."""
    if _width(cell) <= _WIDEST:
        return cell
    while _width(cell) > _WIDEST - 1:
        cell = cell[:-1]
    return cell + "…"


def _width(text: str) -> int:
    """Return the columns that a text takes on a terminal."""
    if text.isascii():
        return len(text)
    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)
