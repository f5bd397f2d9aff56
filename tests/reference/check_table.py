# SPDX-License-Identifier: Apache-2.0
"""Tables of what is given beside what is found, and how far they lie apart."""

from __future__ import annotations

import numpy as np

from reference.line_sounds import agrees, half_unit


class Table:
    """Rows of cells, and how far all that was compared lies apart."""

    def __init__(self, *head: str) -> None:
        self._lines = [f"| {' | '.join(head)} |", "|" + " --- |" * len(head)]
        self._away: list[tuple[float, str]] = []
        self._outside: list[str] = []

    @property
    def rows(self) -> list[str]:
        """The table itself."""
        return self._lines

    def row(self, *cells: str) -> None:
        self._lines.append(f"| {' | '.join(cells)} |")

    def cell(self, where: str, given: str, ours: float, within: float) -> str:
        """Return a cell; `within` is a share of what is given."""
        if given in ("", "-"):
            return ""
        if float(given) != 0.0:
            beyond = max(0.0, abs(ours - float(given)) - half_unit(given))
            self._away.append((beyond / abs(float(given)), where))
        if not agrees(ours, given, within):
            self._outside.append(where)
        return f"{given} / {ours:.4g}"

    def difference(self, where: str, given: float, ours: float, within: float, unit: str = "dB") -> str:
        """Return a cell of levels; `within` in their unit."""
        if abs(ours - given) > within + 1e-9:
            self._outside.append(f"{where} ({ours - given:+.1f} {unit})")
        return f"{given:.1f} / {ours:.1f}"

    def lines(self, tolerance: str, why: str = "") -> list[str]:
        """Return the table and what it comes to; `why` for what lies outside."""
        found = [*self._lines, "", f"Tolerance: {tolerance}."]
        if self._away:
            most, where = max(self._away)
            mean = np.mean([away for away, _ in self._away])
            found.append(f"Beyond rounding: mean distance {100 * mean:.2f} %, largest {100 * most:.1f} % ({where}).")
        outside = ", ".join(self._outside)
        found.append(f"Outside: {outside}: {why}." if outside and why else f"Outside: {outside or 'none'}.")
        return found


def texts(table: str) -> list[list[str]]:
    """Return the words of a table's lines."""
    return [line.split() for line in table.strip().split("\n")]


def level_where(function, wanted: float, low_db: float, high_db: float) -> float:
    """Return the level at which a growing function of it reaches a value."""
    for _ in range(14):
        middle = (low_db + high_db) / 2.0
        low_db, high_db = (middle, high_db) if function(middle) < wanted else (low_db, middle)
    return (low_db + high_db) / 2.0
