# SPDX-License-Identifier: Apache-2.0
"""Aligned rows of plain text."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

_WIDEST = 60


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
