# SPDX-License-Identifier: Apache-2.0
"""What a move names: it has to exist, to be of the right sort, and not to hear itself."""

from __future__ import annotations

from mixwright.errors import SettingError, listed
from mixwright.model.derived import resolved
from mixwright.model.known import key_names, require_known, target_names
from mixwright.model.loops import check_duck, check_loops
from mixwright.model.move_inserts import feeds_moved, laid_over, moved_strips
from mixwright.model.move_settings import KEYED, MOVE_SETTINGS, check_settings, said
from mixwright.model.song import MASTER, Group, Move, Song, Track, changed, return_of


def check_moves(song: Song, whole: Song) -> None:
    """Check all moves of a song, as :func:`check_move`; `whole`: the song with every strip written out."""
    places = [(f"moves[{i}]", move) for i, move in enumerate(song.moves)]
    for place, move in places:
        _check_alone(song, move, place)
    for place, move in places:
        _check_circle(whole, move, place)


def check_move(song: Song, move: Move, place: str) -> None:
    """Check a move of a song, or one that may become one: its settings, and all that it names.

    Parameters
    ----------
    song : Song
        in itself without fault
    move : Move
    place : str
        where it stands, like ``moves[3]``

    Raises
    ------
    SettingError
        `where` is `place` and the path of the offending key from there
    """
    _check_alone(song, move, place)
    _check_circle(resolved(song), move, place)


def _check_alone(song: Song, move: Move, place: str) -> None:
    _check_target(song, move, place)
    check_settings(move, place)
    _check_rate(song, move, place)
    require_known(move.sections, {section.name for section in song.sections}, f"{place}.sections", "section")
    if move.kind == "send":
        _check_send(song, move, place)
    elif move.send:
        raise SettingError(f"{said(move.kind)} feeds no send", where=f"{place}.send", hint="take its send out")
    if move.kind in KEYED:
        _check_key(song, move, f"{place}.key")
    elif move.key:
        raise SettingError(f"{said(move.kind)} listens to nobody", where=f"{place}.key", hint="take its key out")


def _check_rate(song: Song, move: Move, place: str) -> None:
    for name, value in move.settings.items():
        if MOVE_SETTINGS[move.kind][name].unit == "Hz" and value >= song.rate_hz / 2:
            raise SettingError(
                f"{value:g} Hz does not fit a song of {song.rate_hz} Hz",
                where=f"{place}.settings.{name}",
                hint=f"set it below {song.rate_hz / 2:g}",
            )


def _check_target(song: Song, move: Move, place: str) -> None:
    known, returns = target_names(song), {return_of(send) for send in song.sends}
    where = f"{place}.target"
    if move.target == MASTER:
        if move.kind != "level":
            what = f"{said(move.kind)} is for layers, and the master takes levels alone"
            raise SettingError(what, where=where, hint="name a track, source or group")
        return
    if move.target in returns:
        if move.kind == "send":
            raise SettingError(f"{move.target} feeds no send", where=where, hint="name what feeds it")
        if "pan" in move.settings:
            raise SettingError("a return is stereo", where=f"{place}.settings.pan", hint="set left and right")
        return
    require_known([move.target], known | returns, where, "track, source, group or return")


def _check_send(song: Song, move: Move, place: str) -> None:
    if not move.send:
        raise SettingError("a send move names no send", where=f"{place}.send", hint="name the send that is fed")
    require_known([move.send], {send.id for send in song.sends}, f"{place}.send", "send")
    if not feeds_moved(song, move):
        owners: tuple[Track | Group, ...] = (*song.tracks, *song.groups)
        feeding = [owner.id for owner in owners if move.send in owner.sends or move.send in owner.pre_sends]
        hint = f"fed by {listed(feeding)}" if feeding else "nothing feeds it: write sends into a track or group"
        raise SettingError(f"{move.target} does not feed {move.send}", where=f"{place}.send", hint=hint)


def _check_key(song: Song, move: Move, place: str) -> None:
    if not move.key:
        hint = "name the track, source, group or send it shall make room for"
        raise SettingError(f"{said(move.kind)} names no key", where=place, hint=hint)
    require_known([move.key], key_names(song), place, "track, source, group or send")


def _check_circle(whole: Song, move: Move, place: str) -> None:
    """Refuse a key that comes, beside the accepted moves, from where the move goes."""
    if move.kind not in KEYED or move.state == "refused":
        return
    others = tuple(one for one in whole.moves if one.id != move.id and one.state == "accepted")
    with_it = changed(whole, moves=(*others, changed(move, state="accepted", strength=1.0)))
    try:
        for _, id_ in moved_strips(whole, move) if move.kind == "duck" else ():
            check_duck(whole, id_, move.key)
        check_loops(laid_over(with_it).song)
    except SettingError as error:
        raise SettingError(error.message, where=f"{place}.key", hint=error.hint) from error
