# SPDX-License-Identifier: Apache-2.0
"""What a plan knows of a song beside what is heard: who runs where, how loud and how wide it is, what binds."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence

from mixwright.app.listening import Row
from mixwright.app.scene import contributions
from mixwright.app.session import Session
from mixwright.jobs.progress import Cancel, Report, silent
from mixwright.ledger.findings import LedgerRow
from mixwright.model.levels import Levels
from mixwright.model.moves import decided_moves, locks_on, position_of
from mixwright.model.song import Group, Move, Song, Track, homes_of, targets_of, used_tracks
from mixwright.model.words import MoveKind
from mixwright.planning.known import KnownGroup, KnownRow, KnownSong

#: The kinds that a lock or a decision may keep a plan from.
_KINDS: tuple[MoveKind, ...] = (
    "level", "pan", "band_limit", "shape", "tilt", "dip", "duck", "width", "send", "even_out", "colour",
)  # fmt: skip
#: A song of so many tracks or fewer is one of two files: a voice and the rest.
_TWO_FILES = 2
#: Power over both sides from the mean of the two.
_BOTH_SIDES_DB = 10.0 * math.log10(2.0)


def known_song(
    session: Session,
    rows: Sequence[Row],
    facts: Sequence[LedgerRow],
    active_s: Sequence[float],
    *,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> KnownSong:
    """Return what is known of the rows of a song.

    Parameters
    ----------
    session : Session
        of the mix as it stands
    rows : sequence of Row
        as of `listening.layers_of`
    facts : sequence of LedgerRow
        of each of them
    active_s : sequence of float
        for how long each sounds
    report, cancel
        progress of measuring tracks, which `measure` did already
    """
    song = session.song
    tracks = {track.id: track for track in used_tracks(song)}
    wanted = [frozenset([id_]) for row in rows for id_ in row.tracks]
    found = contributions(session, wanted, name="measuring tracks", report=report, cancel=cancel)
    levels = {next(iter(one)): contribution.levels for one, contribution in found.items()}
    accepted = [move for move in song.moves if move.state == "accepted" and not move.sections]
    known = tuple(
        _row(song, row, fact, [tracks[id_] for id_ in row.tracks], levels, seconds, accepted)
        for row, fact, seconds in zip(rows, facts, active_s, strict=True)
    )
    groups = tuple(
        _group(song, group, [row for row in known if group.id in row.groups], levels, accepted) for group in song.groups
    )
    return KnownSong(
        rows=known,
        groups=groups,
        decided=frozenset(move.id for move in decided_moves(song)),
        law=song.pan_law_db / 3.0,
        split=split_groups(song, known),
        levels_only=sum(not row.is_return for row in known) <= _TWO_FILES,
    )


def split_groups(song: Song, rows: Sequence[KnownRow]) -> frozenset[str]:
    """Return the groups through which a part of a row runs, and not all of it: what they do to that is not known."""
    homes = {track.id: frozenset(homes_of(song, track.group)) for track in used_tracks(song)}
    return frozenset(group for row in rows for id_ in row.tracks for group in homes[id_] if group not in row.groups)


def bound_kinds(song: Song, target: str) -> frozenset[MoveKind]:
    """Return the kinds of moves that a plan may not make: locked, refused over the whole song, the engineer's own."""
    moved = {track.id for track in targets_of(song, target)} or {target}
    kinds: set[MoveKind] = {kind for kind in _KINDS if locks_on(song, kind, target)}
    for move in decided_moves(song):
        same = move.target == target or not moved.isdisjoint(track.id for track in targets_of(song, move.target))
        own = move.by == "engineer" or move.state == "refused"
        if same and own and not move.sections and move.kind in ("level", "pan", "width"):
            kinds.add(move.kind)
    return frozenset(kinds)


def _row(
    song: Song,
    row: Row,
    fact: LedgerRow,
    tracks: Sequence[Track],
    levels: Mapping[str, Levels],
    active_s: float,
    accepted: Sequence[Move],
) -> KnownRow:
    send = next((send for send in song.sends if not tracks and row.id == f"send {send.id}"), None)
    if send is not None:
        output_db = send.strip.fader_db
        return KnownRow(
            row.id, row.name, "return", fact.place, fact.place_in, send=send.id, side_share=0.5, output_db=output_db,
            bound=bound_kinds(song, row.id),
        )  # fmt: skip
    powers = {track.id: _power(levels.get(track.id)) for track in tracks}
    loudest = max(tracks, key=lambda track: (powers[track.id], track.id))
    homes = [homes_of(song, track.group) for track in tracks]
    groups = tuple(group for group in homes[0] if all(group in one for one in homes))
    whole = sum(powers.values())
    one = tracks[0] if len(tracks) == 1 else None
    mono = one is not None and levels[one.id].side_to_mid_db is None
    output_db = _output_db(song, loudest, accepted)
    duration_s = max((levels[track.id].duration_s for track in tracks), default=0.0)
    level_db = None
    if whole > 0.0 and active_s > 0.0 and duration_s > 0.0:
        level_db = 10.0 * math.log10(whole * max(duration_s / active_s, 1.0)) + _BOTH_SIDES_DB - output_db
    return KnownRow(
        id=row.id,
        name=row.name,
        role=loudest.role,
        place=fact.place,
        place_in=fact.place_in,
        tracks=row.tracks,
        groups=groups,
        sends=_sends(tracks, powers),
        channels=1 if mono else 2,
        pan=position_of(song, loudest.id, "pan", loudest.strip.pan),
        left=position_of(song, loudest.id, "left", loudest.strip.left),
        right=position_of(song, loudest.id, "right", loudest.strip.right),
        side_share=_side_share(tracks, powers, levels),
        output_db=output_db,
        level_db=level_db,
        bound=frozenset().union(*(bound_kinds(song, id_) for id_ in {row.id, *row.tracks})),
    )


def _group(
    song: Song, group: Group, rows: Sequence[KnownRow], levels: Mapping[str, Levels], accepted: Sequence[Move]
) -> KnownGroup:
    """Return what is known of a group: powers of what is in it add up."""
    output_db = group.strip.fader_db + _level_db(group.id, accepted)
    output_db += sum(
        above.strip.fader_db + _level_db(above.id, accepted)
        for above in song.groups
        if above.id != group.id and above.id in homes_of(song, group.id)
    )
    members = [id_ for row in rows for id_ in row.tracks]
    powers = {id_: _power(levels.get(id_)) for id_ in members}
    whole = sum(powers.values())
    by_id = {track.id: track for track in used_tracks(song)}
    return KnownGroup(
        id=group.id,
        name=group.name,
        left=position_of(song, group.id, "left", group.strip.left),
        right=position_of(song, group.id, "right", group.strip.right),
        side_share=_side_share([by_id[id_] for id_ in members], powers, levels),
        output_db=output_db,
        level_db=10.0 * math.log10(whole) + _BOTH_SIDES_DB - output_db if whole > 0.0 else None,
        bound=bound_kinds(song, group.id),
    )


def _power(levels: Levels | None) -> float:
    return 0.0 if levels is None or levels.rms_dbfs is None else 10.0 ** (levels.rms_dbfs / 10.0)


def _side_share(tracks: Collection[Track], powers: Mapping[str, float], levels: Mapping[str, Levels]) -> float:
    """Return the power of the sides over that of middle and sides, of several tracks together."""
    whole, side = sum(powers.values()), 0.0
    for track in tracks:
        ratio = levels[track.id].side_to_mid_db
        if ratio is not None:
            side += powers[track.id] / (1.0 + 10.0 ** (-ratio / 10.0))
    return side / whole if whole > 0.0 else 0.0


def _sends(tracks: Sequence[Track], powers: Mapping[str, float]) -> dict[str, float]:
    """Return the sends that tracks feed, as of the layer as a whole: means of what they send, by power."""
    whole = max(sum(powers.values()), 1e-30)
    found: dict[str, float] = {}
    for track in tracks:
        for name, db in (*track.pre_sends.items(), *track.sends.items()):
            found[name] = found.get(name, 0.0) + powers[track.id] / whole * 10.0 ** (db / 10.0)
    return {name: 10.0 * math.log10(power) for name, power in found.items() if power > 0.0}


def _output_db(song: Song, track: Track, accepted: Sequence[Move]) -> float:
    """Return the gain from after a track's inserts to the mix, in power over both sides."""
    db = track.strip.fader_db + _level_db(track.id, accepted)
    if track.source:
        db += _level_db(track.source, accepted)
    for group in song.groups:
        if group.id in homes_of(song, track.group):
            db += group.strip.fader_db + _level_db(group.id, accepted)
    return db


def _level_db(target: str, accepted: Sequence[Move]) -> float:
    return sum(
        move.settings["gain_db"] * move.strength for move in accepted if (move.kind, move.target) == ("level", target)
    )
