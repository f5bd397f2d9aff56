# SPDX-License-Identifier: Apache-2.0
"""Decide about moves: accept, refuse, change, add one's own, undo, redo."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

from mixwright.app.move_words import key_of, move_of, nearest, number, send_of
from mixwright.app.opposed import opposed_notes, told
from mixwright.app.page import write_page
from mixwright.errors import SettingError, StateError, listed, printable
from mixwright.io import song_file
from mixwright.io.kept import read_kept
from mixwright.model.move_checks import check_move
from mixwright.model.move_inserts import moved_strips
from mixwright.model.move_settings import MOVE_SETTINGS
from mixwright.model.moves import is_locked
from mixwright.model.results import DecideResult, PlannedMove, PlanResult, StartResult
from mixwright.model.song import Move, Song, changed, replace_in
from mixwright.model.undone import RedoResult, UndoResult
from mixwright.model.words import MoveState

__all__ = ["accept", "add", "change", "redo", "refuse", "undo"]


def accept(song: Path, moves: Sequence[str] = (), *, everything: bool = False) -> DecideResult:
    """Accept moves: they sound in the mix and bind every later plan.

    Parameters
    ----------
    song : Path
        The song folder.
    moves : sequence of str
        Each an id, a part of an id that only one move has, or a target: all of its moves.
    everything : bool
        Accept all proposed moves.

    Raises
    ------
    SettingError
        when a move is not known, or the part of an id fits several
    """
    return _decide(song, moves, "accepted", everything=everything)


def refuse(song: Path, moves: Sequence[str]) -> DecideResult:
    """Refuse moves, named as in :func:`accept`: they do not sound and are not proposed again."""
    return _decide(song, moves, "refused", everything=False)


def change(song: Path, move: str, settings: Mapping[str, str]) -> DecideResult:
    """Change settings of a move, its ``strength`` (0 to 1), its ``key`` or ``send``. It is the engineer's own then.

    Settings are those of its kind (`model.move_settings`), with or without a unit. Its state stays: a proposed move
    still waits to be accepted.

    Raises
    ------
    SettingError
        when the move, a setting or a value is not known or allowed
    """
    name = move
    touched: list[str] = []

    def edit(before: Song) -> Song:
        found = find_moves(before, name)
        if len(found) > 1:
            raise SettingError(f"{printable(name)!r} fits several moves", hint=f"give one: {_ids(found)}")
        own = found[0]
        new = changed_move(before, own, settings)
        touched.append(own.id)
        return before if new == own else changed(before, moves=replace_in(before.moves, changed(new, by="engineer")))

    if not settings:
        raise SettingError("nothing to change", hint="give a setting and its value, such as gain_db=-1.5")
    pairs = " ".join(f"{key}={word}" for key, word in settings.items())
    after = song_file.edit_song(song, f"change {name} {pairs}", edit)
    own = next(one for one in after.moves if one.id in touched)
    return _result(song, after, touched, opposed_notes(after, own) if own.state == "accepted" else ())


def changed_move(song: Song, move: Move, words: Mapping[str, str]) -> Move:
    """Return a move with other settings, by their words, if all of it still fits.

    Raises
    ------
    SettingError
        where a setting or a value is not known or allowed
    """
    named = [name for name in ("key", "send") if getattr(move, name)]
    known = [*MOVE_SETTINGS[move.kind], "strength", *named]
    settings, fields = dict(move.settings), dict[str, object]()
    for name, word in words.items():
        if name not in known:
            raise SettingError(f"{move.id} has no setting {printable(name)!r}", hint=nearest(name, known))
        if name in named:
            fields[name] = key_of(song, word) if name == "key" else send_of(song, word)
        elif name == "strength":
            fields[name] = number(move.kind, name, word)
        else:
            settings[name] = number(move.kind, name, word)
    new = changed(move, settings=settings, **fields)
    check_move(song, new, move.id)
    return new


def add(song: Path, sentence: str) -> DecideResult:
    """Add a move of the engineer's own, accepted at once; it takes the place of a move for the same thing.

    See :func:`mixwright.app.move_words.move_of` for the sentence. Locks bind plans only: a locked
    target is moved, and a note says so.
    """
    before = song_file.load_song(song)
    move = move_of(before, sentence)
    notes = [*_channel_notes(song, before, move), *opposed_notes(before, move)]
    after = song_file.edit_song(
        song, f"add: {sentence.strip()}", lambda now: changed(now, moves=replace_in(now.moves, move_of(now, sentence)))
    )
    if is_locked(after, move.kind, move.target):
        notes.append(f"The {move.kind} of {move.target} is locked against plans; your own move applies all the same.")
    replaced = next((old for old in before.moves if old.id == move.id), None)
    if replaced is not None and replaced != move:
        whose = "your earlier move" if replaced.by == "engineer" else f"the plan's {replaced.state} move"
        notes.append(f"It takes the place of {whose} for the same thing, {told(replaced)}; the two do not add up.")
    return _result(song, after, [move.id], notes)


def undo(song: Path) -> UndoResult:
    """Take back the last change of the song, whoever made it; again for the one before it.

    Raises
    ------
    StateError
        when there is nothing to undo
    """
    undone = song_file.undo(song)
    write_page(song)
    return undone


def redo(song: Path) -> RedoResult:
    """Make the change again that `undo` took back last; again for the one after it.

    Raises
    ------
    StateError
        when there is nothing to redo: none was undone, or the song was changed since
    """
    redone = song_file.redo(song)
    write_page(song)
    return redone


def _decide(song: Path, names: Sequence[str], state: MoveState, *, everything: bool) -> DecideResult:
    touched: list[str] = []
    notes: list[str] = []
    if not names and not everything:
        raise SettingError("no move is named", hint="give ids of moves, or a track, source or group")

    def edit(before: Song) -> Song:
        chosen = {move.id for name in names for move in find_moves(before, name)}
        if everything:
            chosen |= {move.id for move in before.moves if move.state == "proposed"}
        touched.extend(move.id for move in before.moves if move.id in chosen)
        same = [move.id for move in before.moves if move.id in chosen and move.state == state]
        notes.extend(f"{id_} was {state} already." for id_ in same)
        moves = (changed(move, state=state) if move.id in chosen else move for move in before.moves)
        return changed(before, moves=tuple(moves))

    word = "accept" if state == "accepted" else "refuse"
    after = song_file.edit_song(song, f"{word} {'all proposed moves' if everything else ', '.join(names)}", edit)
    if not touched:
        notes.append("No moves are proposed.")
    return _result(song, after, touched, notes)


def find_moves(song: Song, name: str, wanted: MoveState = "proposed") -> list[Move]:
    """Return the moves that a name means: an id, else a target, else a part of one id; in any state.

    `wanted`: of which state those are that an error names.

    Raises
    ------
    SettingError
        where it means none, or a part of several ids
    """
    word = name.strip().lower()
    by_id = [move for move in song.moves if move.id.lower() == word]
    found = by_id or [move for move in song.moves if move.target.lower() == word]
    if found:
        return found
    found = [move for move in song.moves if word and word in move.id.lower()]
    if len(found) == 1:
        return found
    if found:
        raise SettingError(f"{printable(name)!r} fits several moves", hint=f"give one: {_ids(found)}")
    known = [move for move in song.moves if move.state == wanted]
    told = f"{wanted}: {_ids(known)}" if known else f"no moves are {wanted}"
    hint = nearest(word, (move.id for move in song.moves))
    raise SettingError(
        f"no move is called {printable(name)!r}", hint=f"{hint} {told}" if hint.startswith("did") else told
    )


def _ids(moves: Sequence[Move]) -> str:
    return listed([move.id for move in moves])


def _channel_notes(folder: Path, song: Song, move: Move) -> list[str]:
    """Check that a pan or width move has the form that its tracks need; say which of them it does not change.

    Tracks whose channels intake does not know pass.
    """
    if move.kind not in ("pan", "width"):
        return []
    strips = moved_strips(song, move)
    tracks = [id_ for kind, id_ in strips if kind == "track"]
    intake = read_kept(folder, "intake", StartResult)
    channels = {track.id: track.channels for track in intake.tracks} if intake else {}
    wrong = 2 if "pan" in move.settings else 1
    still = [track for track in tracks if channels.get(track) == wrong]
    what = "mono" if wrong == 1 else "stereo"
    if still and len(still) == len(strips):
        form = f"pan {move.target} left -1 right 1" if wrong == 2 else f"pan {move.target} 0.4"
        raise SettingError(f"{move.target} is {what}", hint=f"{'write' if move.kind == 'pan' else 'place it'}: {form}")
    does = "move" if move.kind == "pan" else "change"
    return [f"It does not {does} the {what} tracks {', '.join(still)}."] if still else []


def _result(folder: Path, song: Song, ids: Collection[str], notes: Sequence[str] = ()) -> DecideResult:
    """Return the moves with the evidence of the last plan, as far as it still speaks of them."""
    notes = list(notes)
    planned: dict[str, PlannedMove] = {}
    try:
        plan = read_kept(folder, "plan", PlanResult)
        planned = {move.id: move for move in plan.moves} if plan else {}
    except StateError as error:
        notes.append(f"Without the evidence of the plan: {error}.")
    write_page(folder)
    moves = tuple(with_evidence(move, planned.get(move.id)) for move in song.moves if move.id in ids)
    return DecideResult(moves=moves, song_moves=counts_of(song), notes=tuple(notes))


def counts_of(song: Song) -> dict[str, int]:
    """Return how many moves of a song there are in each state."""
    return {state: sum(move.state == state for move in song.moves) for state in ("proposed", "accepted", "refused")}


def with_evidence(move: Move, planned: PlannedMove | None) -> PlannedMove:
    """Return a move with what the plan knew of it, as far as that still speaks of it."""
    fields = {name: getattr(move, name) for name in move.__struct_fields__}
    if planned is None:
        return PlannedMove(**fields)
    if move.settings != planned.settings or move.strength != planned.strength:
        # What was predicted, what it costs and the figures of its reason were of other settings.
        if move.reason and move.reason == planned.reason:
            fields["reason"] = f"Changed since it was planned. Then: {move.reason}"
        return changed(planned, **fields, predicted={}, costs=(), without_it="")
    return changed(planned, **fields)
