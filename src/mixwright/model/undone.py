# SPDX-License-Identifier: Apache-2.0
"""What taking back a step of a song returns, and making it again."""

from __future__ import annotations

from mixwright.model.record import Record


class UndoResult(Record, frozen=True, kw_only=True):
    """What was undone, and how many steps remain."""

    undone: str
    remaining: int


class RedoResult(Record, frozen=True, kw_only=True):
    """What was made again, and how many more steps can be."""

    redone: str
    remaining: int
