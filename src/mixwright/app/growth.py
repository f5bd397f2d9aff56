# SPDX-License-Identifier: Apache-2.0
"""What was buried since the last measure: what was kept of it then beside what is kept now, where they differ."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence

from mixwright.app.ledger import ledger_rows
from mixwright.app.listening import followed, layers_of
from mixwright.app.session import Session
from mixwright.errors import StateError
from mixwright.hearing.heard import CELL_S, Hearing, Stretch, heard_of
from mixwright.hearing.packed import unpack
from mixwright.io.kept import read_kept
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel
from mixwright.ledger.findings import LedgerRow, whole_song
from mixwright.ledger.growth import growth
from mixwright.model.hearing import HearingResult, KeptStretch
from mixwright.model.ledger import Growth
from mixwright.model.results import MeasureResult
from mixwright.model.song import Section, changed


def since_the_last(session: Session, hearing: HearingResult, cancel: Cancel | None = None) -> HearingResult:
    """Return the hearing with what grew since the last measure, whose result the song folder keeps still.

    Only sections that sound different are compared. Where nothing differs, what was told then is told again, unless of
    what is a bed by now. Nothing is compared where the last measure was heard in another way, where sections were cut
    otherwise, or where the cache no longer holds what was heard then.
    """
    before = _last(session)
    if before is None or not before.stretches or _way(before) != _way(hearing):
        return hearing
    rows = ledger_rows(session.song, layers_of(session.song, session.graph), followed(session))
    if before.stretches == hearing.stretches:
        return changed(hearing, grew=tuple(_still_told(before.grew, rows, session.song.sections)))
    sections = session.song.sections or whole_song(hearing.stretches[-1].end * CELL_S)
    compared = tuple(part for part in sections if _differs(part, before, hearing))
    parts = {part for section in compared for part in _inside(section, hearing)}
    others = {part for section in compared for part in _inside(section, before)}
    then, now = in_order(lambda one: _heard(session, *one), [(before, others), (hearing, parts)])
    if then is None or now is None:
        return hearing
    if cancel is not None:
        cancel.check()
    return changed(hearing, grew=growth(then, now, rows, compared))


def _still_told(grew: Iterable[Growth], rows: Sequence[LedgerRow], sections: Sequence[Section]) -> Iterator[Growth]:
    """Yield what was told by the names that sections have now, but nothing of what is a bed now."""
    known = {row.id: row for row in rows}
    for one in grew:
        middle_s = (one.start_s + one.end_s) / 2.0
        section = next((part.name for part in sections if part.start_s <= middle_s < part.end_s), one.section)
        if one.track in known and known[one.track].place_at(section) != "bed":
            yield changed(one, section=section)


def _last(session: Session) -> HearingResult | None:
    try:
        kept = read_kept(session.folder, "measure", MeasureResult)
    except StateError:  # it is about to be written anew
        return None
    return None if kept is None else kept.hearing


def _way(hearing: HearingResult) -> tuple[object, ...]:
    """Return how a song was heard."""
    return hearing.heard_by, hearing.listening, hearing.listening_level_db_spl


def _differs(section: Section, then: HearingResult, now: HearingResult) -> bool:
    """Tell whether a section is cut as it was then and sounds different."""
    parts, before = _inside(section, now), _inside(section, then)
    same_cut = [(part.first, part.end) for part in parts] == [(part.first, part.end) for part in before]
    return same_cut and parts != before


def _inside(section: Section, hearing: HearingResult) -> list[KeptStretch]:
    return [
        part for part in hearing.stretches if section.start_s <= (part.first + part.end) * CELL_S / 2.0 < section.end_s
    ]


def _heard(session: Session, hearing: HearingResult, parts: Collection[KeptStretch]) -> Hearing | None:
    """Return what was heard of some stretches as far as the cache holds it; None without any."""
    ids = [layer.id for layer in hearing.layers]
    ordered = sorted(parts, key=lambda part: part.first)
    held = [(part, session.cache.held(part.key)) for part in ordered]
    found = [(part, packed) for part, packed in held if packed is not None]
    if not found:
        return None
    unpacked = [unpack(packed, ids) for _, packed in found]
    return Hearing(
        layers={id_: heard_of([layers[id_] for layers, _ in unpacked]) for id_ in ids},
        stretches=tuple(Stretch(part.first, part.end) for part, _ in found),
        taken=tuple(taken for _, taken in unpacked),
    )
