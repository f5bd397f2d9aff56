# SPDX-License-Identifier: Apache-2.0
"""Propose the few moves that matter: a static balance and starting pans, then room for what is covered."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from mixwright.app.listening import guessed_lead
from mixwright.app.move_words import nearest
from mixwright.app.page import write_page
from mixwright.app.references import corridor_of, finished_files, not_used, profiles_of
from mixwright.app.room import make_room
from mixwright.app.scene import WHOLE, Contribution, contributions, scene_of, sounding_hash
from mixwright.app.session import Session, open_song
from mixwright.app.space import Making
from mixwright.app.towards_records import is_ticked, records_of
from mixwright.errors import SettingError, StateError, listed, printable
from mixwright.io.kept import read_kept, write_kept
from mixwright.io.song_file import edit_song, load_song
from mixwright.jobs.progress import Cancel, Report, silent
from mixwright.model.known import names_of
from mixwright.model.moves import decided_moves, may_propose, merge_plan, position_of
from mixwright.model.results import PlannedMove, PlanResult
from mixwright.model.song import MASTER, Move, Song, Track, changed, source_of, targets_of, used_tracks
from mixwright.planning.elements import Layer, bound_tracks
from mixwright.planning.headroom import lowered, propose_headroom
from mixwright.planning.level_moves import Proposal, propose_balance
from mixwright.planning.pans import placing_db, propose_pans
from mixwright.planning.places import Placed
from mixwright.planning.scene import Scene
from mixwright.reference.corridor import Corridor
from mixwright.reference.spectrum import band_power

AUTO = "auto"
_PASSES = 4
#: Pans that change the levels of layers by less than this need no new balance.
_SETTLED_DB = 0.05
#: Where the balance moves a level by more, room is made once that is decided.
_BALANCE_DB = 3.0


def plan(
    song: Path,
    *,
    lead: str | None = None,
    strength: float = 1.0,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> PlanResult:
    """Propose moves for a song folder; they wait in `song.toml` until they are accepted, changed or refused.

    Proposed moves of an earlier plan are replaced. What the engineer moved, accepted, refused or locked binds: it is
    neither altered nor proposed again. The result is kept in the song folder.

    Parameters
    ----------
    song : Path
        The song folder.
    lead : str, optional
        Confirms who carries the song: the id or name of a track, source or group, or ``auto`` for the guess of
        `start`. Several with commas. Needed once.
    strength : float
        0 to 1: scales every move; at 0 nothing is heard.
    report, cancel
        Progress and the user's switch to stop.

    Raises
    ------
    StateError
        when the lead is not confirmed, or never sounds
    SettingError
        when no such lead is known, or the strength is out of range
    InputError
        when a file cannot be used
    """
    folder = Path(song)
    if not 0.0 <= strength <= 1.0:
        raise SettingError(f"a strength of {strength:g} is out of range", where="strength", hint="allowed: 0 to 1")
    names = _lead(folder, lead)
    before = load_song(folder)
    making = Making(renders=(None,) if is_ticked(before) else (), finished=finished_files(before), mixes=2)
    with open_song(folder, making, report=report, cancel=cancel) as opened:
        session = replace(opened, song=changed(opened.song, lead=names))
        result = (
            _as_mixed(session) if session.song.tracks_are == "as mixed" else _balance(session, strength, report, cancel)
        )
        result = _with_room(session, result, strength, _earlier(folder), report, cancel)
    moves = [_move(planned) for planned in result.moves]
    merged = edit_song(folder, "plan", lambda now: merge_plan(changed(now, lead=names), moves))
    taken = {move.id for move in merged.moves if move.state == "proposed" and move.by == "plan"}
    result = changed(result, moves=tuple(planned for planned in result.moves if planned.id in taken))
    decided = {move.id for move in merged.moves} - taken
    earlier = tuple(planned for planned in _earlier(folder) if planned.id in decided)
    write_kept(folder, "plan", changed(result, moves=(*earlier, *result.moves)))
    write_page(folder)
    return result


def _earlier(folder: Path) -> tuple[PlannedMove, ...]:
    """Return the moves of the last plan with their evidence, none where it cannot be read."""
    try:
        kept = read_kept(folder, "plan", PlanResult)
    except StateError:
        return ()
    return () if kept is None else kept.moves


def _lead(folder: Path, lead: str | None) -> tuple[str, ...]:
    """Return who carries the song, as named now or earlier; refuse to go on while nobody has confirmed one."""
    song = load_song(folder)
    guess = guessed_lead(folder, song)
    if lead is None:
        if song.lead:
            return song.lead
        guessed = f"the guess is {guess}" if guess else "there is no guess"
        both = f"confirm it with --lead {AUTO}, or name another with --lead ID" if guess else "name it with --lead ID"
        raise StateError(f"the lead is not confirmed; {guessed}", where=printable(folder), hint=both)
    if lead == AUTO:
        if song.lead:
            return song.lead
        if guess is None:
            raise StateError("there is no guess of the lead", where=printable(folder), hint="name it with --lead ID")
        return (guess,)
    names = tuple(dict.fromkeys(_target(song, word.strip()) for word in lead.split(",") if word.strip()))
    if not names:
        raise SettingError("no lead is named", where="lead", hint=f"give an id, or {AUTO}")
    return names


def _target(song: Song, word: str) -> str:
    """Return the id that a word names: an id, or the name of a track, source or group."""
    if targets_of(song, word):
        return word
    named = [(track.id, track.name) for track in song.tracks]
    named += [(source.id, source.name) for source in song.sources]
    named += [(group.id, group.name) for group in song.groups]
    found = sorted({id_ for id_, name in named if name.lower() == word.lower() and targets_of(song, id_)})
    if len(found) == 1:
        return found[0]
    if found:
        raise SettingError(f"{printable(word)!r} names several", where="lead", hint=f"give one: {', '.join(found)}")
    known = [name for pair in named for name in pair if targets_of(song, pair[0])]
    raise SettingError(
        f"no track, source or group is called {printable(word)!r}", where="lead", hint=nearest(word, known)
    )


def _as_mixed(session: Session) -> PlanResult:
    text = "The tracks are as mixed: their balance is made already, so no levels or pans are proposed for its sake."
    return PlanResult(
        lead=session.song.lead,
        moves=(),
        left_as_is=(text,),
        sounding=sounding_hash(session.song, session.lanes),
    )


def _with_room(
    session: Session,
    result: PlanResult,
    strength: float,
    earlier: Sequence[PlannedMove],
    report: Report,
    cancel: Cancel | None,
) -> PlanResult:
    """Return a plan with the moves that make room, unless the balance has to be decided first.

    Who covers whom is another question once levels have moved: such moves are made for the mix as it stands.
    """
    levels = {move.target: move.settings["gain_db"] * move.strength for move in result.moves if move.kind == "level"}
    levels.pop(MASTER, None)
    far = [target for target, gain_db in levels.items() if abs(gain_db) > _BALANCE_DB]
    if far:
        names = names_of(session.song)
        named = listed([names.get(target, target) for target in far], 3)
        note = (
            f"The balance comes first: levels move by more than {_BALANCE_DB:g} dB ({named}). Accept or refuse them, "
            "then plan again to make room for what is still covered."
        )
        return changed(result, notes=(*result.notes, note))
    # Where a mix stands beside records that is about to be balanced is no matter.
    settled = all(move.target == MASTER for move in result.moves)
    records = records_of(session, earlier, report=report, cancel=cancel) if settled else None
    kept = {track.id: gain_db for target, gain_db in levels.items() for track in targets_of(session.song, target)}
    room = make_room(
        session,
        strength=strength,
        kept_db=kept,
        taken=[move.id for move in result.moves],
        refused=_left_findings(earlier, session.song),
        records=records,
        report=report,
        cancel=cancel,
    )
    return changed(
        result,
        moves=(*result.moves, *room.moves),
        findings=room.findings,
        names={one.track: room.names.get(one.track, one.track) for one in room.findings},
        notes=(*result.notes, *room.notes),
    )


def _left_findings(earlier: Sequence[PlannedMove], song: Song) -> frozenset[str]:
    """Return the findings whose move was refused, and none other accepted: they stay as they are."""
    answered = {planned.id: planned.finding for planned in earlier if planned.finding}
    states = {move.id: move.state for move in song.moves}
    refused, accepted = (
        {finding for id_, finding in answered.items() if states.get(id_) == state} for state in ("refused", "accepted")
    )
    return frozenset(refused - accepted)


def _balance(session: Session, strength: float, report: Report, cancel: Cancel | None) -> PlanResult:
    song = session.song
    scene = scene_of(session, report=report, cancel=cancel)
    if not scene.judged().any():
        raise StateError(
            f"the lead ({', '.join(song.lead)}) is silent or muted",
            where="song.toml",
            hint="name another with --lead ID",
        )
    profiles = profiles_of(session, report=report, cancel=cancel)
    corridor = corridor_of(song, profiles)
    tracks = [track for track in used_tracks(song) if any(track.id in layer.tracks for layer in scene.layers())]
    alone = contributions(
        session, [frozenset([t.id]) for t in tracks], name="measuring tracks", report=report, cancel=cancel
    )
    by_track = {track.id: alone[frozenset([track.id])] for track in tracks}
    placing: dict[str, float] = {}
    for _ in range(_PASSES):  # pans follow levels, and levels what pans change
        levels = propose_balance(scene, corridor, strength=strength, placing_db=placing)
        pans = _pans(session, scene, tracks, by_track, levels, corridor, strength)
        before, placing = placing, _placing_db(song, scene, by_track, pans)
        if all(abs(gain - before.get(id_, 0.0)) < _SETTLED_DB for id_, gain in placing.items()):
            break
    headroom = _headroom(session, (*levels.moves, *pans), report, cancel) if strength > 0.0 else ()
    master_db = sum(move.settings["gain_db"] for move in headroom)
    return PlanResult(
        lead=song.lead,
        moves=(*lowered(levels.moves, master_db, limited=song.master.limiter is not None), *pans, *headroom),
        left_as_is=(*levels.left_as_is, *_left_unplaced(song, tracks)),
        notes=(*_other_leads(song, scene), *levels.notes, *not_used(song, profiles)),
        sounding=sounding_hash(song, session.lanes),
    )


def _headroom(
    session: Session, moves: Sequence[PlannedMove], report: Report, cancel: Cancel | None
) -> tuple[PlannedMove, ...]:
    """Propose a level of the master from the peak of the mix rendered with the moves: peaks do not add as powers do.

    Room is looked for before a limiter: behind it there always is.
    """
    limited = session.song.master.limiter is not None
    song = changed(session.song, master=changed(session.song.master, limiter=None))
    accepted = tuple(changed(_move(move), state="accepted") for move in moves)
    tried = changed(song, moves=(*decided_moves(song), *accepted))
    now, then = (
        contributions(replace(session, song=one), [WHOLE], name="rendering the mix", report=report, cancel=cancel)[
            WHOLE
        ].levels.true_peak_dbtp
        for one in (song, tried)
    )
    needed = propose_headroom(now, then, limited=limited)
    return (needed,) if needed is not None and may_propose(session.song, _move(needed)) else ()


def _pans(
    session: Session,
    scene: Scene,
    tracks: Sequence[Track],
    by_track: Mapping[str, Contribution],
    levels: Proposal,
    corridor: Corridor,
    strength: float,
) -> tuple[PlannedMove, ...]:
    """Propose pans, given what the tracks will be at the new levels."""
    bound = bound_tracks(session.song, "pan")
    parts = {id_: layer.part for layer in scene.layers() for id_ in layer.tracks}
    placed = []
    for track in tracks:
        measured = by_track[track.id].levels
        bands = band_power(measured.third_octave_db) * 10.0 ** (levels.gains_db.get(track.id, 0.0) / 10.0)
        ratio = measured.side_to_mid_db
        side = 0.0 if ratio is None else 1.0 / (1.0 + 10.0 ** (-ratio / 10.0))
        placed.append(
            Placed(
                id=track.id,
                name=track.name,
                role=track.role,
                place=track.place,
                part=parts[track.id],
                source=source_of(track),
                channels=session.audio[track.id].shape[1],
                pan=position_of(session.song, track.id, "pan", track.strip.pan),
                bands=bands,
                side_share=side,
                bound=bound.get(track.id, ""),
            )
        )
    common = {}
    for layer in _centred(session.song, scene, by_track):
        gain = 10.0 ** (levels.gains_db[layer.tracks[0]] / 10.0)
        alone = np.sum([by_track[id_].sound().bands for id_ in layer.tracks], axis=0)
        common[layer.tracks] = (scene.sounds[layer.id].bands - alone) * gain
    law = session.song.pan_law_db / 3.0
    now_db = contributions(session, [WHOLE])[WHOLE].levels.side_to_mid_db
    return propose_pans(placed, scene.hz, corridor, law=law, strength=strength, common=common, now_db=now_db)


def _centred(song: Song, scene: Scene, by_track: Mapping[str, Contribution]) -> Iterator[Layer]:
    """Return the layers of several tracks that all stand in the centre, where what they have in common adds up."""
    position = {track.id: position_of(song, track.id, "pan", track.strip.pan) for track in used_tracks(song)}
    for layer in scene.layers():
        mono = all(by_track[id_].levels.side_to_mid_db is None for id_ in layer.tracks)
        if mono and len(layer.tracks) > 1 and not any(position[id_] for id_ in layer.tracks):
            yield layer


def _placing_db(
    song: Song, scene: Scene, by_track: Mapping[str, Contribution], pans: Sequence[PlannedMove]
) -> dict[str, float]:
    """Return how much louder each layer gets when its tracks are placed."""
    reached = {move.target: (move.measured["pan"] or 0.0, move.predicted["pan"] or 0.0) for move in pans}
    centred = {layer.id for layer in _centred(song, scene, by_track)}
    placing = {}
    for layer in scene.layers():
        power = {id_: float(by_track[id_].sound().blocks.mean()) for id_ in layer.tracks}
        together = float(scene.sounds[layer.id].blocks.mean())
        common = together - sum(power.values()) if layer.id in centred else 0.0
        own = {id_: reached[id_] for id_ in layer.tracks if id_ in reached}
        placing[layer.id] = placing_db(power, common, own, song.pan_law_db / 3.0) if own else 0.0
    return placing


def _other_leads(song: Song, scene: Scene) -> tuple[str, ...]:
    """Name the layers that have the place of a lead and were not confirmed as one."""
    others = [
        layer.id
        for element in scene.elements
        if element.pool != "lead"
        for layer in element.layers
        if layer.place == "lead" and scene.sounds[layer.id].loudness() is not None
    ]
    if not others:
        return ()
    named = ", ".join(others)
    verb = "has" if len(others) == 1 else "have"
    both = ",".join((*song.lead, *others))
    return (f"{named} {verb} the place of a lead but was not confirmed as one; to follow all of them: --lead {both}.",)


def _left_unplaced(song: Song, tracks: Sequence[Track]) -> tuple[str, ...]:
    bound = bound_tracks(song, "pan")
    return tuple(f"{track.name}: position left, {bound[track.id]}." for track in tracks if track.id in bound)


def _move(planned: PlannedMove) -> Move:
    return Move(
        id=planned.id,
        kind=planned.kind,
        target=planned.target,
        sections=planned.sections,
        settings=planned.settings,
        key=planned.key,
        send=planned.send,
        state=planned.state,
        strength=planned.strength,
        by=planned.by,
        reason=planned.reason,
    )
