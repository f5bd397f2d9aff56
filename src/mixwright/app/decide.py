# SPDX-License-Identifier: Apache-2.0
"""Decide about moves: accept, refuse, change, add one's own, undo."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

from mixwright.app.move_words import move_of, nearest, number
from mixwright.app.page import write_page
from mixwright.errors import SettingError, StateError, listed, printable
from mixwright.io import song_file
from mixwright.io.kept import read_kept
from mixwright.model.moves import is_locked
from mixwright.model.results import DecideResult, PlannedMove, PlanResult, StartResult, UndoResult
from mixwright.model.song import Move, Song, changed, replace_in, targets_of
from mixwright.model.words import MoveState

__all__ = ["accept", "add", "change", "refuse", "undo"]


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
    """Change settings of a move, or its ``strength`` (0 to 1). It is the engineer's own from then on.

    Its state stays: a proposed move still waits to be accepted.

    Raises
    ------
    SettingError
        when the move, a setting or a value is not known or allowed
    """
    name = move
    touched: list[str] = []

    def edit(before: Song) -> Song:
        found = _find(before, name)
        if len(found) > 1:
            raise SettingError(f"{printable(name)!r} fits several moves", hint=f"give one: {_ids(found)}")
        own = found[0]
        known = [*own.settings, "strength"]
        for key in settings:
            if key not in known:
                raise SettingError(f"{own.id} has no setting {printable(key)!r}", hint=nearest(key, known))
        values = {key: number(key, word) for key, word in settings.items()}
        strength = values.pop("strength", own.strength)
        touched.append(own.id)
        new = changed(own, settings={**own.settings, **values}, strength=strength)
        return before if new == own else changed(before, moves=replace_in(before.moves, changed(new, by="engineer")))

    if not settings:
        raise SettingError("nothing to change", hint="give a setting and its value, such as gain_db=-1.5")
    pairs = " ".join(f"{key}={word}" for key, word in settings.items())
    after = song_file.edit_song(song, f"change {name} {pairs}", edit)
    return _result(song, after, touched)


def add(song: Path, sentence: str) -> DecideResult:
    """Add a move of the engineer's own, accepted at once; it takes the place of a move for the same thing.

    See :func:`mixwright.app.move_words.move_of` for the sentence. Locks bind plans only: a locked
    target is moved, and a note says so.
    """
    before = song_file.load_song(song)
    move = move_of(before, sentence)
    notes = [*_position_notes(song, before, move)]
    after = song_file.edit_song(
        song, f"add: {sentence.strip()}", lambda now: changed(now, moves=replace_in(now.moves, move_of(now, sentence)))
    )
    if is_locked(after, move.kind, move.target):
        notes.append(f"The {move.kind} of {move.target} is locked against plans; your own move applies all the same.")
    replaced = next((old for old in before.moves if old.id == move.id), None)
    if replaced is not None and replaced != move:
        whose = "your earlier move" if replaced.by == "engineer" else f"the plan's {replaced.state} move"
        notes.append(f"It takes the place of {whose} for the same thing, {_settings(replaced)}; the two do not add up.")
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


def _decide(song: Path, names: Sequence[str], state: MoveState, *, everything: bool) -> DecideResult:
    touched: list[str] = []
    notes: list[str] = []
    if not names and not everything:
        raise SettingError("no move is named", hint="give ids of moves, or a track, source or group")

    def edit(before: Song) -> Song:
        chosen = {move.id for name in names for move in _find(before, name)}
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


def _find(song: Song, name: str) -> list[Move]:
    """Return the moves that a name means: an id, else a target, else a part of one id."""
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
    proposed = [move for move in song.moves if move.state == "proposed"]
    listed = f"proposed: {_ids(proposed)}" if proposed else "no moves are proposed"
    hint = nearest(word, (move.id for move in song.moves))
    raise SettingError(
        f"no move is called {printable(name)!r}", hint=f"{hint} {listed}" if hint.startswith("did") else listed
    )


def _settings(move: Move) -> str:
    return " ".join(f"{key}={value:g}" for key, value in move.settings.items())


def _ids(moves: Sequence[Move]) -> str:
    return listed([move.id for move in moves])


def _position_notes(folder: Path, song: Song, move: Move) -> list[str]:
    """Check that a pan move has the form that its tracks need; say which of them it does not move.

    Tracks whose channels intake does not know pass.
    """
    if move.kind != "pan":
        return []
    intake = read_kept(folder, "intake", StartResult)
    channels = {track.id: track.channels for track in intake.tracks} if intake else {}
    tracks = targets_of(song, move.target)
    if "pan" in move.settings:
        wrong, form = 2, f"pan {move.target} left -1 right 1"
    elif any(group.id == move.target for group in song.groups):
        return []  # the group itself is stereo, whatever feeds it
    else:
        wrong, form = 1, f"pan {move.target} 0.4"
    still = [track.id for track in tracks if channels.get(track.id) == wrong]
    what = "mono" if wrong == 1 else "stereo"
    if len(still) == len(tracks):
        raise SettingError(f"{move.target} is {what}", hint=f"write: {form}")
    return [f"It does not move the {what} tracks {', '.join(still)}."] if still else []


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
    counts = {state: sum(move.state == state for move in song.moves) for state in ("proposed", "accepted", "refused")}
    moves = tuple(_with_evidence(move, planned.get(move.id)) for move in song.moves if move.id in ids)
    return DecideResult(moves=moves, song_moves=counts, notes=tuple(notes))


def _with_evidence(move: Move, planned: PlannedMove | None) -> PlannedMove:
    fields = {name: getattr(move, name) for name in move.__struct_fields__}
    if planned is None:
        return PlannedMove(**fields)
    if move.settings != planned.settings or move.strength != planned.strength:
        # What was predicted, what it costs and the figures of its reason were of other settings.
        if move.reason and move.reason == planned.reason:
            fields["reason"] = f"Changed since it was planned. Then: {move.reason}"
        return changed(planned, **fields, predicted={}, costs=(), without_it="")
    return changed(planned, **fields)
