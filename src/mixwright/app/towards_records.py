# SPDX-License-Identifier: Apache-2.0
"""Where a mix lies outside of what its references were ticked for, and what a move towards them is called."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from mixwright.app.mix_profile import mix_profile
from mixwright.app.references import beside_mix
from mixwright.app.session import Session
from mixwright.jobs.progress import Cancel, Report, silent
from mixwright.model.comparison import ComparedRow
from mixwright.model.results import PlannedMove
from mixwright.model.song import Song, changed
from mixwright.planning.towards_records import MOST_TOWARDS_RECORDS, Nearer
from mixwright.reference.beside import rows_of
from mixwright.reference.contrast import told_sections
from mixwright.report.compared import amount, stretch_words


@dataclass(frozen=True)
class Records:
    """Where the mix stands in what references were ticked for.

    `contrast_lu`: by the name of each section that tells of contrast, its loudness beside that of the whole; `most`: so
    many moves may be made towards the records.
    """

    rows: tuple[ComparedRow, ...]
    contrast_lu: Mapping[str, float]
    most: int


def records_of(
    session: Session, earlier: Sequence[PlannedMove], *, report: Report = silent, cancel: Cancel | None = None
) -> Records | None:
    """Return where the mix stands beside what its references were ticked for; None where it is not outside of it.

    A reference that nobody ticked stands for everything where it is told of, and for nothing where moves are made.

    Parameters
    ----------
    session : Session
    earlier : sequence of PlannedMove
        of earlier plans; accepted ones that went towards the records count
    report, cancel
        progress and stop switch
    """
    song = session.song
    accepted = {move.id for move in song.moves if move.state == "accepted"}
    most = MOST_TOWARDS_RECORDS - sum(bool(one.towards) and one.id in accepted for one in earlier)
    if most <= 0 or not is_ticked(song):
        return None
    mix = mix_profile(session, report=report, cancel=cancel)
    beside = beside_mix(session, mix, report=report, cancel=cancel)
    rows = rows_of(mix, [one for one in beside if one.use_for])
    if not any(row.outside for row in rows):
        return None
    told = told_sections(mix.sections, mix.duration_s)
    return Records(rows, {one.name: one.energy_lu or 0.0 for one in told}, most)


def is_ticked(song: Song) -> bool:
    """Tell whether a reference was ticked for something."""
    return any(reference.use_for for reference in song.references)


def worded(planned: PlannedMove, nearer: Nearer) -> PlannedMove:
    """Return a move towards the records as it is proposed: which way, and how much of it the model expects."""
    row = changed(nearer.stretch.furthest, outside=nearer.before)
    before = abs(nearer.before)
    words = stretch_words(nearer.stretch._replace(furthest=row, least=before, most=before))
    span = "the record spans" if row.references == 1 else f"the {row.references} records span"
    far = amount(row, before)
    inside = f"{amount(row, before - abs(nearer.after))} of these {far}" if nearer.after else "all of it"
    unit = "lu" if row.unit == "lu" else "db"
    return changed(
        planned,
        reason=f"Towards the records: {words} than {span}; the model expects {inside} to come in.",
        without_it=f"Without it the mix stays {far} outside of what {span}.",
        measured={f"outside_{unit}": round(nearer.before, 2)},
        predicted={f"outside_{unit}": round(nearer.after, 2)},
        towards=row.figure,
    )
