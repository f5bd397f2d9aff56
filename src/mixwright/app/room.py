# SPDX-License-Identifier: Apache-2.0
"""Room for what is covered: findings of the ledger, and the few moves that mend them."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from mixwright.app.hearing import heard
from mixwright.app.known_song import known_song
from mixwright.app.ledger import ledger_rows
from mixwright.app.listening import followed, hearing_of, layers_of
from mixwright.app.session import Session
from mixwright.app.towards_records import Records, worded
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.ledger.findings import LedgerRow, whole_song
from mixwright.model.known import names_of
from mixwright.model.ledger import Finding
from mixwright.model.results import PlannedMove
from mixwright.model.song import Section, changed
from mixwright.planning.candidates import candidates_for, essentials_of
from mixwright.planning.essentials import STATIC_SHAPES, essential
from mixwright.planning.excited import Excited, excited_of
from mixwright.planning.foretold import foretold
from mixwright.planning.known import KnownSong
from mixwright.planning.known_section import Essential
from mixwright.planning.limits import ESSENTIAL_DB
from mixwright.planning.objective import Objective, State
from mixwright.planning.questions import questions_of
from mixwright.planning.record_figures import RecordFigures, band_energy
from mixwright.planning.room_words import planned_move
from mixwright.planning.search import MOST_MOVES, Search
from mixwright.planning.terms import worth
from mixwright.planning.towards_records import Nearer, nearer_records

#: So many findings are planned for at once, those first that count most; a later plan sees to the others.
MOST_FINDINGS = 12


@dataclass(frozen=True)
class Room:
    """What makes room: moves, what was found and what becomes of it, names of layers, and what is to be said."""

    moves: tuple[PlannedMove, ...] = ()
    findings: tuple[Finding, ...] = ()
    names: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def make_room(
    session: Session,
    *,
    strength: float = 1.0,
    kept_db: Mapping[str, float] | None = None,
    taken: Collection[str] = (),
    refused: Collection[str] = (),
    records: Records | None = None,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> Room:
    """Propose the few moves that mend what lies outside tolerance in a mix as it stands.

    Parameters
    ----------
    session : Session
        of the mix with its accepted moves
    strength : float
        that all moves have
    kept_db : mapping
        by track, what moves that are already proposed add to its level: nothing is proposed that they do
    taken : collection of str
        ids of these moves
    refused : collection of str
        ids of findings whose moves were refused: they stay as they are
    records : Records, optional
        where the mix lies outside of what references were ticked for: one or two small moves may bring it nearer
    report, cancel
        progress and stop switch
    """
    song = session.song
    result = heard(session, report=report, cancel=cancel)
    findings = tuple(changed(one, verdict="left as is") if one.id in refused else one for one in result.findings)
    asked = [one for one in findings if one.verdict == "outside"]
    rows = layers_of(song, session.graph)
    names = names_of(song) | {row.id: row.name for row in rows}
    if result.calibrated_lufs is None:
        return Room(
            findings=findings, names=names, notes=("The mix is silent or shorter than 0.4 s: nothing is heard of it.",)
        )
    if not asked and records is None:
        return Room(findings=findings, names=names, notes=(_nothing(findings),))
    hearing, _, _ = hearing_of(
        session,
        rows,
        calibrated_lufs=result.calibrated_lufs,
        listening_level_db_spl=result.listening_level_db_spl,
        listening=result.listening,
        report=report,
        cancel=cancel,
    )
    facts = ledger_rows(song, rows, followed(session))
    sections = song.sections or whole_song(hearing.stretches[-1].end_s)
    job = Job("making room", len(sections) + MOST_MOVES, report, cancel)

    energy: dict[str, np.ndarray] = {}

    def excited(section: Section) -> Excited:
        moments = hearing.moments(section.start_s, section.end_s)
        if records is not None:
            energy[section.name] = band_energy(moments)
        made = excited_of(moments, section)
        job.step()
        return made

    parts = list(in_order(excited, sections))
    active_s = np.sum([part.active_s for part in parts], axis=0)
    known = known_song(session, rows, facts, active_s.tolist(), report=report, cancel=cancel)
    known = replace(known, decided=known.decided | frozenset(taken))
    planned = _first(asked)
    candidates = candidates_for(planned, known, parts)
    shaped = {row for one in candidates if one.kind in STATIC_SHAPES for row in one.rows}
    shaped |= set() if records is None else set(range(len(rows)))
    objective = Objective(
        parts,
        facts,
        planned,
        kept=_by_row(known, kept_db or {}),
        energy=_energy(session, sections, cancel),
        essential=_essential(parts, facts, shaped),
    )
    search = Search(objective, candidates, cancel=cancel, step=job.step)
    found = search.found()
    nearer: list[Nearer] = []
    if records is not None:
        ordered = {section.name: energy[section.name] for section in sections}
        side_share = [row.side_share for row in known.rows]
        figures = RecordFigures(records.rows, parts, ordered, side_share, records.contrast_lu)
        held = essentials_of(known, parts)
        nearer = nearer_records(objective, found.picks, known, parts, figures, held, most=records.most, cancel=cancel)
        found = replace(found, picks=(*found.picks, *(one.pick for one in nearer)))
    told = foretold(objective, search, found, {row.id: k for k, row in enumerate(rows)})
    by_id = {one.id: one for one in planned}
    ids = [row.id for row in rows]
    moves = tuple(
        planned_move(pick, one, by_id, ids, names, strength, objective.stands_apart_db(pick.candidate))
        for pick, one in zip(found.picks, told, strict=True)
    )
    roomy = len(moves) - len(nearer)
    towards = [worded(move, one) for move, one in zip(moves[roomy:], nearer, strict=True)]
    moves = (*moves[:roomy], *towards)
    inside = search.outside(State(objective, [(one.candidate, one.values) for one in found.picks]))
    judged = tuple(
        changed(one, verdict="mended") if moves and inside.get(one.id, 1.0) <= 0.0 else one for one in findings
    )
    if not asked:
        return Room(moves, findings, names, (_nothing(findings, bool(moves)),))
    questions = questions_of(findings, result.arrangement, known, parts)
    return Room(moves, judged, names, (*_summary(judged, moves[:roomy], known, bool(nearer)), *questions))


def _first(findings: Sequence[Finding]) -> list[Finding]:
    """Return the findings that are planned for: those that count most, in the order in which they are told."""
    counted = sorted(findings, key=lambda one: (-worth(one) * (one.excess_db / one.tolerance_db), one.id))
    chosen = {one.id for one in counted[:MOST_FINDINGS]}
    return [one for one in findings if one.id in chosen]


def _by_row(known: KnownSong, kept_db: Mapping[str, float]) -> dict[int, float]:
    """Return what tracks are moved by as of their rows: the mean of those of each that are moved."""
    found = {}
    for k, row in enumerate(known.rows):
        moved = [kept_db[id_] for id_ in row.tracks if kept_db.get(id_)]
        if moved:
            found[k] = sum(moved) / len(moved)
    return found


def _energy(session: Session, sections: Sequence[Section], cancel: Cancel | None) -> dict[str, float]:
    """Return the energy of the mix in each section: loudness times length."""
    loudness = session.measured(cancel=cancel)[1]
    found = {}
    for section in sections:
        lufs = loudness.integrated_lufs(section.start_s, section.end_s)
        length_s = section.end_s - section.start_s
        found[section.name] = 0.0 if lufs is None else length_s * 10.0 ** (lufs / 10.0)
    return found


def _essential(
    parts: Sequence[Excited], facts: Sequence[LedgerRow], shaped: Collection[int]
) -> dict[tuple[str, int], Essential]:
    """Return what is essential to the leads and supports that static shapes could move."""
    return {
        (part.section.name, row): Essential(essential(part, row), ESSENTIAL_DB.value)
        for part in parts
        for row in sorted(shaped)
        if facts[row].place_at(part.section.name) != "bed" and part.active_s[row] > 0.0
    }


def _nothing(findings: Sequence[Finding], towards: bool = False) -> str:
    if towards:
        return "Nothing lies outside tolerance: the moves go towards the records alone."
    if findings:
        return "Nothing lies outside tolerance but what is left as it is: no moves are needed to make room."
    return "Nothing lies outside tolerance: this mix needs no moves to make room."


def _summary(
    findings: Sequence[Finding], moves: Sequence[PlannedMove], known: KnownSong, towards: bool = False
) -> list[str]:
    outside = [one for one in findings if one.verdict == "outside"]
    mended = [one for one in findings if one.verdict == "mended"]
    told = []
    if known.levels_only:
        told.append("With two layers nothing but levels can be moved.")
    if not moves and towards:
        told.append("What lies outside tolerance is not worth a move; what is proposed goes towards the records alone.")
    elif not moves:
        told.append("What lies outside tolerance is not worth a move: each would cost more than it mends.")
    elif outside and mended:
        told.append(f"The moves bring {len(mended)} of {len(mended) + len(outside)} places inside their tolerance.")
    elif outside:
        told.append("The moves help, but bring no place inside its tolerance.")
    return told
