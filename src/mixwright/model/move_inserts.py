# SPDX-License-Identifier: Apache-2.0
"""Accepted moves as what a person would set by hand: inserts at the end of a strip, and other amounts in its sends."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from mixwright.model.colour_inserts import BassHarmonics, Saturation, Width
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.filter_inserts import Filters
from mixwright.model.filters import EqBand, Pass
from mixwright.model.inserts import AnyInsert
from mixwright.model.keyed_inserts import Dip, DipBand, Duck, DuckRule
from mixwright.model.move_settings import check_settings, settings_of
from mixwright.model.song import (
    MASTER,
    Group,
    Move,
    Song,
    Track,
    changed,
    homes_of,
    return_of,
    strips_of,
    targets_of,
    with_strip,
)
from mixwright.model.words import MoveKind

#: Kinds that become inserts, in the order in which these stand in a strip, after its own and before its fader.
AS_INSERTS: tuple[MoveKind, ...] = ("band_limit", "shape", "tilt", "even_out", "colour", "dip", "duck", "width")
#: Where the edges of a band-limit of no strength lie, and how near to the rate the upper one goes.
_LOWEST_HZ, _LOWER_STILL_HZ, _HIGHEST_HZ, _MOST_OF_RATE = 20.0, 10.0, 20000.0, 0.45
#: Edges between are rounded, so that they are the same on every machine.
_DIGITS = 2


class Laid(NamedTuple):
    """A song with its accepted moves laid over it, as far as strips and feeds can say them.

    `song` keeps the other moves: levels and positions, and feeds of a send that change in sections. `added`: by kind
    and id of a strip, the ids of the moves that its last inserts are.
    """

    song: Song
    added: Mapping[tuple[str, str], tuple[str, ...]]


def moved_strips(song: Song, move: Move) -> tuple[tuple[str, str], ...]:
    """Return kind and id of the strips that a move is made on.

    The master's, that of the return of a send, a group's own where the group is what is named, or that of each track
    of what is named. A mono position is each track's own.
    """
    if move.target == MASTER:
        return ((MASTER, MASTER),)
    returns = tuple(("send", send.id) for send in song.sends if return_of(send) == move.target)
    if returns:
        return returns
    tracks = targets_of(song, move.target)
    whole = any(group.id == move.target for group in song.groups) and all(
        move.target in homes_of(song, track.group) for track in tracks
    )
    if whole and (move.kind != "pan" or "left" in move.settings):
        return (("group", move.target),)
    return tuple(("track", track.id) for track in tracks)


def feeds_moved(song: Song, move: Move) -> tuple[tuple[str, str], ...]:
    """Return kind and id of all that feed the send of a `send` move and are part of what it names."""
    tracks = targets_of(song, move.target)
    found = [("track", track.id) for track in tracks if _feeds(track, move.send)]
    inside = (group for group in song.groups if move.target in homes_of(song, group.id))
    return (*found, *(("group", group.id) for group in inside if _feeds(group, move.send)))


def toward(wanted: float, values: Sequence[float]) -> float:
    """Return where a share of the way from a position leads: all of it, to the very position that is wanted."""
    here, share = values
    return wanted if share == 1.0 else here + share * (wanted - here)


def insert_of(move: Move, rate_hz: int) -> AnyInsert | None:
    """Return the insert that a move of one of :data:`AS_INSERTS` is at its strength; None at a strength of 0."""
    if move.strength == 0.0:
        return None
    insert = _insert(move, settings_of(move), rate_hz)
    return changed(insert, sections=move.sections)


def laid_over(song: Song) -> Laid:
    """Lay the accepted moves of a song over it, of which every strip is written out (`model.derived.resolved`).

    Raises
    ------
    SettingError
        where a move sets what does not fit
    """
    accepted = [move for move in song.moves if move.state == "accepted"]
    for move in accepted:
        check_settings(move, f"move {move.id}")
    inserts: dict[tuple[str, str], list[tuple[int, str, AnyInsert]]] = {}
    for move in accepted:
        insert = insert_of(move, song.rate_hz) if move.kind in AS_INSERTS else None
        if insert is not None:
            for place in moved_strips(song, move):
                inserts.setdefault(place, []).append((AS_INSERTS.index(move.kind), move.id, insert))
    rest = tuple(m for m in song.moves if m.state != "accepted" or not (m.kind in AS_INSERTS or _whole_feed(m)))
    laid = changed(song, moves=rest)
    for _, kind, id_, strip in strips_of(song):
        if (kind, id_) in inserts:
            found = inserts[kind, id_] = sorted(inserts[kind, id_], key=lambda one: one[0])
            laid = with_strip(laid, kind, id_, changed(strip, inserts=(*strip.inserts, *(one[2] for one in found))))
    for move in filter(_whole_feed, accepted):
        laid = with_feeds(laid, move, move.strength * move.settings["gain_db"])
    return Laid(laid, {strip: tuple(id_ for _, id_, _ in found) for strip, found in inserts.items()})


def with_feeds(song: Song, move: Move, gain_db: float, digits: int | None = None) -> Song:
    """Return the song with more or less of the target of a move fed into its send, rounded where digits are given."""
    moved = set(feeds_moved(song, move))

    def amounts(feeds: Mapping[str, float]) -> dict[str, float]:
        def to(db: float) -> float:
            return db + gain_db if digits is None else round(db + gain_db, digits)

        return {name: to(db) if name == move.send else db for name, db in feeds.items()}

    return changed(
        song,
        tracks=tuple(
            changed(t, sends=amounts(t.sends), pre_sends=amounts(t.pre_sends)) if ("track", t.id) in moved else t
            for t in song.tracks
        ),
        groups=tuple(
            changed(g, sends=amounts(g.sends), pre_sends=amounts(g.pre_sends)) if ("group", g.id) in moved else g
            for g in song.groups
        ),
    )


def _whole_feed(move: Move) -> bool:
    return move.kind == "send" and not move.sections


def _feeds(owner: Track | Group, send: str) -> bool:
    return send in owner.sends or send in owner.pre_sends


def _insert(move: Move, at: Mapping[str, float], rate_hz: int) -> AnyInsert:
    part = move.strength
    match move.kind:
        case "band_limit":
            return _limited(at, part, rate_hz)
        case "shape":
            return Filters(bands=(EqBand(hz=at["hz"], gain_db=at["gain_db"] * part, q=at["q"]),))
        case "tilt":
            return Filters(bands=(EqBand(kind="tilt", hz=at["hz"], gain_db=at["gain_db"] * part),))
        case "even_out":
            # Of every dB that it takes off, as many parts as it has strength.
            ratio = at["ratio"] if part == 1.0 else 1.0 / (1.0 - part * (1.0 - 1.0 / at["ratio"]))
            return Compressor(
                threshold_db=at["threshold_db"],
                ratio=ratio,
                attack_ms=at["attack_ms"],
                release_ms=at["release_ms"],
                gain_db=at["gain_db"] * part,
            )
        case "colour":
            mix, drive_db = at["mix"] * part, at["drive_db"]
            if "low_hz" in at:
                return BassHarmonics(low_hz=at["low_hz"], high_hz=at["high_hz"], drive_db=drive_db, mix=mix)
            return Saturation(drive_db=drive_db, mix=mix)
        case "dip":
            band = DipBand(
                hz=at["hz"],
                q=at["q"],
                most_db=at["most_db"] * part,
                attack_ms=at.get("attack_ms"),
                hold_ms=at.get("hold_ms"),
                release_ms=at.get("release_ms"),
            )
            return Dip(key=move.key, bands=(band,), margin_db=at["margin_db"])
        case "duck":
            rule = DuckRule(
                by="hits" if at["by_hits"] else "level",
                low_hz=at["low_hz"] or None,
                high_hz=at["high_hz"] or None,
                depth_db=at["depth_db"] * part,
                attack_ms=at["attack_ms"],
                hold_ms=at["hold_ms"],
                release_ms=at["release_ms"],
            )
            return Duck(key=move.key, rules=(rule,))
        case "width":
            return Width(widths=(1.0 + (at["width"] - 1.0) * part if part != 1.0 else at["width"],))
        case _:
            raise AssertionError(move.kind)


def _limited(at: Mapping[str, float], part: float, rate_hz: int) -> Filters:
    """Return passes whose edges go, in octaves, so far from where they do nothing to where they are set."""

    def edge(start_hz: float, hz: float) -> float:
        return hz if part == 1.0 else round(start_hz * (hz / start_hz) ** part, _DIGITS)

    slope = int(at["slope_db_oct"])
    low_hz, high_hz = at.get("low_hz"), at.get("high_hz")
    high = low = None
    if low_hz is not None:
        high = Pass(hz=edge(_LOWEST_HZ if low_hz >= _LOWEST_HZ else _LOWER_STILL_HZ, low_hz), slope_db_oct=slope)  # type: ignore[arg-type]
    if high_hz is not None:
        open_hz = max(high_hz, min(_HIGHEST_HZ, _MOST_OF_RATE * rate_hz))
        low = Pass(hz=edge(open_hz, high_hz), slope_db_oct=slope)  # type: ignore[arg-type]
    return Filters(high_pass=high, low_pass=low)
