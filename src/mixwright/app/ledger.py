# SPDX-License-Identifier: Apache-2.0
"""What the ledger finds in a song, section by section and kept, and the line that is followed."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Sequence

import numpy as np

from mixwright.app.listening import Row
from mixwright.app.session import Session
from mixwright.hearing.heard import Hearing
from mixwright.jobs.cache import code_hash
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.ledger.findings import LedgerRow, only_covered, section_findings, whole_song
from mixwright.ledger.voice_line import Followed, followed, heard_phrases, in_time
from mixwright.model.ledger import Finding, VoicePhrase
from mixwright.model.record import Record
from mixwright.model.song import Section, Song, used_tracks
from mixwright.model.words import Place, first_place

_LEDGER_BY = ("mixwright.ledger", "mixwright.hearing")


class _Findings(Record, frozen=True, kw_only=True):
    findings: tuple[Finding, ...]


class _Line(Record, frozen=True, kw_only=True):
    phrases: tuple[VoicePhrase, ...]


def ledger_rows(song: Song, rows: Sequence[Row], follows: Collection[str]) -> tuple[LedgerRow, ...]:
    """Return what the song says of each layer: the first place among those of its tracks, what is followed leads."""
    tracks = {track.id: track for track in used_tracks(song)}
    made = []
    for row in rows:
        members = [tracks[id_] for id_ in row.tracks]
        place: Place = "lead" if row.id in follows else row.place
        named = {section for track in members for section in track.place_in}
        place_in = {
            section: first_place(track.place_in.get(section, track.place) for track in members) for section in named
        }
        made.append(LedgerRow(row.id, place, place_in, is_return=not row.tracks))
    return tuple(made)


def findings_of(
    session: Session,
    hearing: Hearing,
    rows: Sequence[LedgerRow],
    listening_level_db_spl: float,
    *,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> tuple[Finding, ...]:
    """Return the findings of a song in order of its sections; those of a section are kept by what is heard of it."""
    sections = session.song.sections or whole_song(hearing.stretches[-1].end_s)
    job = Job("looking for what is covered", len(sections), report, cancel)
    facts = [(row.id, row.place, sorted(row.place_in.items()), row.is_return) for row in rows]
    found = list(only_covered(hearing, rows))
    digests = _digests(hearing)
    for section in sections:
        where = section.name, section.start_s, section.end_s
        heard = [digests[k] for k in hearing.inside(section.start_s, section.end_s)]
        key = session.cache.key("findings", heard, *where, facts, listening_level_db_spl, code_hash(*_LEDGER_BY))

        def make(section: Section = section) -> _Findings:
            return _Findings(
                findings=section_findings(hearing, rows, section, listening_level_db_spl=listening_level_db_spl)
            )

        found += session.cache.record(key, _Findings, make).findings
        job.step()
    return tuple(found)


def line_of(session: Session, hearing: Hearing, follows: Collection[str]) -> tuple[VoicePhrase, ...]:
    """Return the phrases of the layers that are followed; those that lie in the same stretches are kept by these."""
    sections = session.song.sections
    parts = [(part.name, part.start_s, part.end_s) for part in sections]
    heard = _digests(hearing)
    groups: dict[tuple[int, ...], list[tuple[str, Followed]]] = {}
    for lead in sorted(follows & hearing.layers.keys()):
        for phrase in followed(hearing, lead, sections):
            start_s, end_s = phrase if isinstance(phrase, tuple) else (phrase.start_s, phrase.end_s)
            inside = (k for k, one in enumerate(hearing.stretches) if one.start_s < end_s and one.end_s > start_s)
            groups.setdefault(tuple(inside), []).append((lead, phrase))
    found: list[VoicePhrase] = []
    for stretches, phrases in groups.items():
        key = session.cache.key("phrases", [heard[k] for k in stretches], phrases, parts, code_hash(*_LEDGER_BY))

        def make(phrases: Sequence[tuple[str, Followed]] = phrases) -> _Line:
            return _Line(phrases=heard_phrases(hearing, phrases, sections))

        found += session.cache.record(key, _Line, make).phrases
    return in_time(found)


def _digests(hearing: Hearing) -> list[str]:
    """Return a digest of what was heard in each stretch."""

    def digest(k: int) -> str:
        found = hashlib.sha256(repr((list(hearing.layers), hearing.stretches[k])).encode())
        found.update(np.ascontiguousarray(hearing.taken[k].cued).data)
        for heard in hearing.layers.values():
            part = heard.stretches[k]
            lyric = part.lyric.rows if part.lyric is not None else ()
            for array in (part.total, part.bands, part.patterns, part.sketched_s, *lyric):
                found.update(np.ascontiguousarray(array).data)
        return found.hexdigest()

    return list(in_order(digest, range(len(hearing.stretches))))
