# SPDX-License-Identifier: Apache-2.0
"""What lies outside beside the references, neighbouring bands together, first what is far outside and heard."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from mixwright.model.comparison import ComparedRow

#: A neighbour that lies outside by less than this part of the furthest is told by itself, or not where others come
#: first: bands that are hardly outside blur what is far.
_ALIKE = 0.5


class Stretch(NamedTuple):
    """Neighbouring bands of a figure that lie about as far outside on the same side, or one figure alone.

    `furthest`: what it is told by; none of the others lies further outside.
    """

    furthest: ComparedRow
    low_hz: float | None
    high_hz: float | None

    @property
    def has_many(self) -> bool:
        """Whether it is more than one band."""
        return (self.low_hz, self.high_hz) != (self.furthest.low_hz, self.furthest.high_hz)


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
    at = max(range(len(run)), key=lambda k: run[k].weight)
    far = abs(run[at].outside)
    first, last = at, at
    while first > 0 and _ALIKE * far <= abs(run[first - 1].outside) <= far:
        first -= 1
    while last < len(run) - 1 and _ALIKE * far <= abs(run[last + 1].outside) <= far:
        last += 1
    yield Stretch(run[at], run[first].low_hz, run[last].high_hz)
    yield from _parted(run[:first])
    yield from _parted(run[last + 1 :])


def _goes_on(last: ComparedRow, row: ComparedRow) -> bool:
    same = (last.figure, last.section) == (row.figure, row.section)
    # A band that could not be compared may lie between them.
    meets = last.high_hz is not None and row.low_hz is not None and row.low_hz < 1.01 * last.high_hz
    return same and meets and last.outside * row.outside > 0.0
