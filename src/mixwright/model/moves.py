# SPDX-License-Identifier: Apache-2.0
"""Moves: what they are called, and how a new plan meets old decisions."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Mapping, Sequence

from mixwright.model.song import Lock, Move, Song, changed, targets_of
from mixwright.model.words import MoveKind


def move_id(kind: MoveKind, target: str, sections: Iterable[str], band_hz: float | None = None, other: str = "") -> str:
    """Return the id of a move: the same whenever the same thing is proposed, so that a refusal lasts.

    It is a hash of kind, target, sections, the third-octave band that `band_hz` lies in (band numbers of IEC 61260-1,
    ten to the decade), and who else is named, a key or a send; not of the amount.
    """
    band = "" if band_hz is None else str(round(10.0 * math.log10(band_hz)))
    parts = "\0".join([kind, target, band, *sorted(set(sections)), *(("", other) if other else ())])
    return f"{kind}-{target.replace(' ', '-')}-{hashlib.sha256(parts.encode('utf-8')).hexdigest()[:6]}"


def id_for(
    kind: MoveKind,
    target: str,
    sections: Iterable[str],
    settings: Mapping[str, float],
    *,
    key: str = "",
    send: str = "",
) -> str:
    """Return the id of a move with such settings: with its band where it has one, and whom it names."""
    band_hz = next((settings[name] for name in ("hz", "low_hz", "high_hz") if settings.get(name)), None)
    return move_id(kind, target, sections, band_hz, key or send)


def locks_on(song: Song, kind: MoveKind, target: str) -> tuple[Lock, ...]:
    """Return the locks that keep a plan from such a move: it would move a track whose `kind` is locked."""
    moved = {track.id for track in targets_of(song, target)}
    return tuple(
        lock
        for lock in song.locks
        if lock.parameter == kind
        and (lock.target == target or moved.intersection(track.id for track in targets_of(song, lock.target)))
    )


def is_locked(song: Song, kind: MoveKind, target: str) -> bool:
    """Tell whether a plan may not make such a move."""
    return bool(locks_on(song, kind, target))


def merge_plan(song: Song, proposed: Sequence[Move]) -> Song:
    """Return the song with a new plan in place of the old one.

    Proposed moves of the old plan go. What was decided stays untouched: accepted and refused moves
    and all of the engineer's. What was refused or decided is not proposed again, what is locked is
    not proposed at all.
    """
    new = (move for move in proposed if may_propose(song, move))
    return changed(song, moves=(*decided_moves(song), *new))


def decided_moves(song: Song) -> tuple[Move, ...]:
    """Return the moves that bind every later plan: accepted, refused, and all of the engineer's."""
    return tuple(move for move in song.moves if move.by == "engineer" or move.state != "proposed")


def may_propose(song: Song, move: Move) -> bool:
    """Tell whether a plan may propose a move: nothing was decided about it, and nothing it moves is locked."""
    decided = any(old.id == move.id for old in decided_moves(song))
    return not decided and not is_locked(song, move.kind, move.target)


def position_of(song: Song, id_: str, name: str, by_hand: float) -> float:
    """Return where a track or group stands: as set by hand, and by accepted moves over the whole song.

    `name`: which position, ``pan``, ``left`` or ``right``.
    """
    found = by_hand
    for move in song.moves:
        placed = move.kind == "pan" and move.state == "accepted" and not move.sections and name in move.settings
        if placed and (move.target == id_ or any(track.id == id_ for track in targets_of(song, move.target))):
            found += move.strength * (move.settings[name] - found)
    return found
