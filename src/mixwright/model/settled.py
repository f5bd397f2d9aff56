# SPDX-License-Identifier: Apache-2.0
"""Moves that were written into strips."""

from __future__ import annotations

from mixwright.model.record import Record
from mixwright.model.song import Move


class Staying(Record, frozen=True, kw_only=True):
    """A move that stays as it is, and why it cannot be written into a strip."""

    id: str
    why: str


class SettleResult(Record, frozen=True, kw_only=True):
    """Moves as they were before they were written into strips, and those that stay; counts as in DecideResult."""

    settled: tuple[Move, ...]
    stays: tuple[Staying, ...]
    song_moves: dict[str, int]
    notes: tuple[str, ...] = ()
