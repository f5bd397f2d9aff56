# SPDX-License-Identifier: Apache-2.0
"""What lies outside beside the references, neighbouring bands together, first what is far outside and heard."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from mixwright.model.comparison import ComparedRow

#: Neighbours are told together that lie outside by between this part and this multiple of the one that counts most:
#: bands that are hardly outside blur what is far, and what is far but not heard exaggerates what is.
_ALIKE = 0.4, 2.5


class Stretch(NamedTuple):
    """Neighbouring bands of a figure that lie about as far outside on the same side, or one figure alone.

    `furthest`: the one that counts most, of how far outside it is and how much is heard of it. `least`, `most`: how far
    outside the bands are, without a sign.
    """

    furthest: ComparedRow
    low_hz: float | None
    high_hz: float | None
    least: float
    most: float


def stretch_of(row: ComparedRow) -> Stretch:
    """Return one row as a stretch of its own."""
    return Stretch(row, row.low_hz, row.high_hz, abs(row.outside), abs(row.outside))


def stretches(told: Sequence[ComparedRow]) -> list[Stretch]:
    """Return what lies outside, neighbouring bands together, first what is far outside and heard."""
    runs: list[list[ComparedRow]] = []
    last: ComparedRow | None = None
    for row in told:
        if row.outside and last is not None and _goes_on(last, row):
            runs[-1].append(row)
        elif row.outside:
            runs.append([row])
        last = row if row.outside else None
    found = [one for run in runs for one in _parted(run)]
    return sorted(found, key=lambda one: -one.furthest.weight)


def _parted(run: Sequence[ComparedRow]) -> Iterator[Stretch]:
    """Yield the parts of neighbours on one side that are about as far outside as the one that counts most of them."""
    if not run:
        return
    far = [abs(row.outside) for row in run]
    at = max(range(len(run)), key=lambda k: run[k].weight)
    low, high = (far[at] * part for part in _ALIKE)
    first, last = at, at
    while first > 0 and low <= far[first - 1] <= high:
        first -= 1
    while last < len(run) - 1 and low <= far[last + 1] <= high:
        last += 1
    inside = far[first : last + 1]
    yield Stretch(run[at], run[first].low_hz, run[last].high_hz, min(inside), max(inside))
    yield from _parted(run[:first])
    yield from _parted(run[last + 1 :])


def _goes_on(last: ComparedRow, row: ComparedRow) -> bool:
    same = (last.figure, last.section) == (row.figure, row.section)
    # A band that could not be compared may lie between them.
    meets = last.high_hz is not None and row.low_hz is not None and row.low_hz < 1.01 * last.high_hz
    return same and meets and last.outside * row.outside > 0.0
