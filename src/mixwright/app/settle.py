# SPDX-License-Identifier: Apache-2.0
"""Settle: accepted moves become settings of the strips themselves, and the mix stays what it is."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from pathlib import Path

from mixwright.app.decide import counts_of, find_moves
from mixwright.app.page import write_page
from mixwright.errors import listed
from mixwright.io import song_file
from mixwright.io.kept import read_lanes
from mixwright.model.derived import resolved
from mixwright.model.lane import Lane
from mixwright.model.move_inserts import (
    AS_INSERTS,
    feeds_moved,
    insert_of,
    moved_strips,
    toward,
    with_feeds,
)
from mixwright.model.settled import SettleResult, Staying
from mixwright.model.song import Move, Song, changed, kept_target, strips_of, with_strip
from mixwright.model.strip import Strip

__all__ = ["settle"]

#: Sums of levels and positions are written with so many digits: what is cut off lies below -180 dB.
_DIGITS = 9
_LEVELS_DB = (-120.0, 24.0)
_MOST_INSERTS = 16


class _Stays(Exception):
    """Why a move cannot be settled."""


def settle(song: Path, moves: Sequence[str] = ()) -> SettleResult:
    """Write accepted moves into the strips that they are made on; the mix stays as it is, and `undo` takes it back.

    Levels go into faders, positions into pans, amounts into sends; all others become inserts, the last of their strip.
    What cannot be written there stays a move: a level or position for some sections alone, a chain that others take
    over, an insert that would come before a move that stays.

    Parameters
    ----------
    song : Path
        The song folder.
    moves : sequence of str
        Named as in `accept`; none: every accepted move.

    Raises
    ------
    SettingError
        when a move is not known, or the part of an id fits several
    """
    lanes = read_lanes(song, song_file.load_song(song).automation)
    settled: list[Move] = []
    stays: list[Staying] = []
    notes: list[str] = []

    def edit(before: Song) -> Song:
        named = {move.id for name in moves for move in find_moves(before, name, "accepted")}
        accepted = [move for move in before.moves if move.state == "accepted"]
        notes.extend(
            f"{move.id} is {move.state}: only accepted moves are settled."
            for move in before.moves
            if move.id in named and move.state != "accepted"
        )
        chosen = [move for move in accepted if not moves or move.id in named]
        now = before
        for move in sorted(chosen, key=lambda one: AS_INSERTS.index(one.kind) if one.kind in AS_INSERTS else -1):
            try:
                now = _settled(now, move, lanes)
                settled.append(move)
            except _Stays as why:
                stays.append(Staying(id=move.id, why=str(why)))
        return now

    after = song_file.edit_song(song, f"settle {', '.join(moves) or 'all accepted moves'}", edit)
    write_page(song)
    if not settled and not stays:
        notes.append("No moves are accepted.")
    return SettleResult(settled=tuple(settled), stays=tuple(stays), song_moves=counts_of(after), notes=tuple(notes))


def _settled(song: Song, move: Move, lanes: Sequence[Lane]) -> Song:
    """Return the song with a move in its strips in place of among its moves."""
    if move.kind in AS_INSERTS:
        new = _with_insert(song, move)
    elif move.sections:
        what = {"level": "a fader has", "pan": "a position has", "send": "a send has"}[move.kind]
        raise _Stays(f"it is for {listed(move.sections)} alone, and {what} one setting for the whole song")
    elif move.kind == "level":
        new = _with_level(song, move)
    elif move.kind == "pan":
        new = _with_position(song, move, lanes)
    else:
        new = _with_feed(song, move)
    return changed(new, moves=tuple(one for one in new.moves if one.id != move.id))


def _strips(song: Song, move: Move) -> list[tuple[str, str, Strip]]:
    wanted = set(moved_strips(song, move))
    return [(kind, id_, strip) for _, kind, id_, strip in strips_of(song) if (kind, id_) in wanted]


def _with_level(song: Song, move: Move) -> Song:
    for kind, id_, strip in _strips(song, move):
        fader_db = round(strip.fader_db + move.strength * move.settings["gain_db"], _DIGITS)
        _check_level(fader_db, f"the fader of {id_}")
        song = with_strip(song, kind, id_, changed(strip, fader_db=fader_db))
    return song


def _with_position(song: Song, move: Move, lanes: Sequence[Lane]) -> Song:
    for kind, id_, strip in _strips(song, move):
        _check_first(song, move, (kind, id_))
        moved = {}
        for name, wanted in move.settings.items():
            kept = kept_target(song, id_, kind)
            if any(lane.points and (lane.target, lane.parameter) == (kept, name) for lane in lanes):
                raise _Stays(f"kept automation moves {name} of {id_}, which its strip then does not say")
            moved[name] = round(toward(wanted, (getattr(strip, name), move.strength)), _DIGITS)
        song = with_strip(song, kind, id_, changed(strip, **moved))
    return song


def _with_feed(song: Song, move: Move) -> Song:
    gain_db = move.strength * move.settings["gain_db"]
    moved = set(feeds_moved(song, move))
    new = with_feeds(song, move, gain_db, _DIGITS)
    owners = [("track", owner) for owner in new.tracks] + [("group", owner) for owner in new.groups]
    for kind, owner in owners:
        for feeds in (owner.sends, owner.pre_sends) if (kind, owner.id) in moved else ():
            if move.send in feeds:
                _check_level(feeds[move.send], f"the send of {owner.id}")
    return new


def _with_insert(song: Song, move: Move) -> Song:
    insert = insert_of(move, song.rate_hz)
    if insert is None:
        return song
    whole = {(kind, id_): strip for _, kind, id_, strip in strips_of(resolved(song))}
    for kind, id_, strip in _strips(song, move):
        _check_first(song, move, (kind, id_))
        takers = _takers(song, kind, id_)
        if takers:
            takes = "takes over the chain" if len(takers) == 1 else "take over the chain"
            raise _Stays(f"{listed(takers)} {takes} of {id_}, and would get it too")
        if len(whole[kind, id_].inserts) >= _MOST_INSERTS:
            raise _Stays(f"{id_} has {_MOST_INSERTS} inserts, which is as many as a strip takes")
        song = with_strip(song, kind, id_, changed(strip, inserts=(*strip.inserts, insert)))
    return song


def _check_first(song: Song, move: Move, strip: tuple[str, str]) -> None:
    """Refuse what would come before a move of its sort that comes before it now."""
    sort = AS_INSERTS if move.kind in AS_INSERTS else (move.kind,)
    alike = [one for one in song.moves if one.kind in sort and one.state == "accepted" and one.strength > 0.0]
    ordered = sorted(alike, key=lambda one: sort.index(one.kind))
    for other in itertools.takewhile(lambda one: one.id != move.id, ordered):
        if strip in moved_strips(song, other):
            raise _Stays(f"{other.id} comes before it in {strip[1]}, and is not settled")


def _takers(song: Song, kind: str, id_: str) -> list[str]:
    """Return the strips that are as one of a kind; what an id names is the track, then the group, then the send."""
    first = next(k for _, k, i, _ in strips_of(song) if i == id_)
    return [one for _, _, one, strip in strips_of(song) if strip.as_ == id_ and first == kind]


def _check_level(db: float, what: str) -> None:
    low, high = _LEVELS_DB
    if not low <= db <= high:
        raise _Stays(f"{what} would stand at {db:g} dB, and goes from {low:g} to {high:g}")
