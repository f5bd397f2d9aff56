# SPDX-License-Identifier: Apache-2.0
"""What lies outside beside the references, neighbouring bands together, first what is far outside and heard."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from mixwright.model.comparison import ComparedRow


class Stretch(NamedTuple):
    """Neighbouring bands of a figure that lie outside on the same side, or one figure: told by the furthest of them."""

    furthest: ComparedRow
    low_hz: float | None
    high_hz: float | None


def stretches(told: Sequence[ComparedRow]) -> list[Stretch]:
    """Return what lies outside, neighbouring bands together, first what is far outside and heard."""
    found: list[Stretch] = []
    last: ComparedRow | None = None
    for row in told:
        if row.outside and last is not None and found and _goes_on(last, row):
            before = found.pop()
            furthest = max(before.furthest, row, key=lambda one: one.weight)
            found.append(Stretch(furthest, before.low_hz, row.high_hz))
        elif row.outside:
            found.append(Stretch(row, row.low_hz, row.high_hz))
        last = row if row.outside else None
    return sorted(found, key=lambda one: -one.furthest.weight)


def _goes_on(last: ComparedRow, row: ComparedRow) -> bool:
    same = (last.figure, last.section) == (row.figure, row.section)
    # A band that could not be compared may lie between them.
    meets = last.high_hz is not None and row.low_hz is not None and row.low_hz < 1.01 * last.high_hz
    return same and meets and last.outside * row.outside > 0.0
