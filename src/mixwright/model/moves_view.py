# SPDX-License-Identifier: Apache-2.0
"""What the page shows of moves: what each would do, was predicted to do, did, and costs."""

from __future__ import annotations

from typing import Literal

from mixwright.model.record import Record
from mixwright.model.words import MoveKind, MoveState


class ViewedSetting(Record, frozen=True, kw_only=True):
    """A setting of a move: as it is, None where it is left as usual; from where to where it goes, and in which unit."""

    key: str
    name: str
    value: float | None
    low: float
    high: float
    unit: str
    usual: float | None


class ViewedMove(Record, frozen=True, kw_only=True):
    """A move in sentences.

    `told`: what it does; `predicted`, `measured`: what it was to do, and what its receipt says, "" where nothing is
    known; `needed`: as in the receipt; `outdated`: the song sounds otherwise since. `start_s` to `end_s`: where it is
    needed most, at most 20 s.
    """

    id: str
    kind: MoveKind
    target: str
    name: str
    sections: tuple[str, ...]
    settings: tuple[ViewedSetting, ...]
    key: str
    send: str
    state: MoveState
    strength: float
    by: Literal["plan", "engineer"]
    told: str
    reason: str
    predicted: str
    measured: str
    costs: tuple[str, ...]
    without_it: str
    needed: bool | None
    outdated: bool
    start_s: float
    end_s: float


class MovesView(Record, frozen=True, kw_only=True):
    """All moves, those to decide on first, and what is told of all of them; `forms`: how a new one may be written."""

    moves: tuple[ViewedMove, ...]
    told: str
    forms: tuple[str, ...]
