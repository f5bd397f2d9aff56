# SPDX-License-Identifier: Apache-2.0
"""What of a song no single field can check: names that must exist or differ, order of sections."""

from __future__ import annotations

from collections.abc import Sequence
from typing import get_args

from mixwright.errors import SettingError, printable
from mixwright.model.derived import resolved
from mixwright.model.insert import KeyedInsert
from mixwright.model.known import key_names, require_known, target_names
from mixwright.model.loops import check_loops
from mixwright.model.move_checks import check_moves
from mixwright.model.song import MASTER, RESERVED, SCHEMA, Named, Section, Song, strips_of
from mixwright.model.tags import checked_isrc, is_date, key_parts, tag_text
from mixwright.model.words import PRINT_RATES_HZ, PrintKind


def check_song(song: Song) -> None:
    """Check what no single field can: ids that must differ, names that must exist, order of sections.

    Raises
    ------
    SettingError
        `where` is the path of the offending key, like ``tracks[3].group``.
    """
    _check_schema(song)
    _check_tags(song)
    _check_ids(song)
    _check_sections(song.sections, "sections")
    for i, reference in enumerate(song.references):
        _check_sections(reference.sections, f"references[{i}].sections")
    _check_names(song)
    _check_reverbs(song)
    _check_prints(song)
    whole = resolved(song)
    _check_inserts(whole)
    check_loops(whole)
    check_moves(song, whole)


def _check_names(song: Song) -> None:
    groups = {group.id for group in song.groups}
    sends = {send.id for send in song.sends}
    sections = {section.name for section in song.sections}
    targets = target_names(song)
    for i, track in enumerate(song.tracks):
        if track.group:
            require_known([track.group], groups, f"tracks[{i}].group", "group")
        require_known(track.sends, sends, f"tracks[{i}].sends", "send")
        require_known(track.pre_sends, sends, f"tracks[{i}].pre_sends", "send")
        require_known(track.place_in, sections, f"tracks[{i}].place_in", "section")
    for i, reference in enumerate(song.references):
        require_known(reference.beside, sections, f"references[{i}].beside", "section")
    for i, group in enumerate(song.groups):
        if group.group:
            require_known([group.group], groups, f"groups[{i}].group", "group")
        require_known(group.sends, sends, f"groups[{i}].sends", "send")
        require_known(group.pre_sends, sends, f"groups[{i}].pre_sends", "send")
    require_known(song.lead, targets, "lead", "track, source or group")
    for i, lock in enumerate(song.locks):
        require_known([lock.target], targets | {MASTER}, f"locks[{i}].target", "track, source or group")


def _check_reverbs(song: Song) -> None:
    for i, send in enumerate(song.sends):
        if send.reverb is not None and send.reverb.low_hz >= send.reverb.high_hz:
            raise SettingError(
                f"a tail from {send.reverb.low_hz:g} to {send.reverb.high_hz:g} Hz keeps nothing",
                where=f"sends[{i}].reverb.low_hz",
                hint="set it below high_hz",
            )


def _check_prints(song: Song) -> None:
    for i, words in enumerate(song.muted_words):
        if words.end_s <= words.start_s:
            raise SettingError("muted words must end after they start", where=f"muted_words[{i}].end_s")
    for rate_hz in () if song.agreement is None else song.agreement.rates_hz:
        if rate_hz not in (*PRINT_RATES_HZ, song.rate_hz):
            raise SettingError(
                f"prints at {rate_hz} Hz are not made",
                where="agreement.rates_hz",
                hint=f"known: {', '.join(map(str, PRINT_RATES_HZ))}, and the song's own",
            )


def _check_schema(song: Song) -> None:
    if song.schema > SCHEMA:
        raise SettingError(
            f"written by a newer version (schema {song.schema}, this program knows {SCHEMA})",
            where="schema",
            hint="update mixwright",
        )


def _check_tags(song: Song) -> None:
    if not is_date(song.date):
        raise SettingError(
            f"{printable(song.date)!r} is no date", where="date", hint='write it as "2026-07-01" or "2026"'
        )
    if song.key and key_parts(song.key) is None:
        raise SettingError(
            f"{printable(song.key)!r} is no key", where="key", hint='write it as "E minor", "F# minor" or "Bb major"'
        )
    require_known(song.isrc, set(get_args(PrintKind)), "isrc", "kind of print")
    for kind, code in song.isrc.items():
        checked_isrc(code, f"isrc.{kind}")
    for i, credit in enumerate(song.credits):
        for field, value in (("role", credit.role), ("name", credit.name)):
            if not tag_text(value):
                raise SettingError("nothing can be read there", where=f"credits[{i}].{field}", hint="say who did what")


def _check_ids(song: Song) -> None:
    named: tuple[tuple[str, Sequence[Named]], ...] = (
        ("tracks", song.tracks),
        ("sources", song.sources),
        ("groups", song.groups),
        ("sends", song.sends),
        ("references", song.references),
        ("moves", song.moves),
    )
    for field, records in named:
        seen: set[str] = set()
        for i, record in enumerate(records):
            if record.id in RESERVED:
                raise SettingError(
                    f"the id {record.id!r} is that of {RESERVED[record.id]}",
                    where=f"{field}[{i}].id",
                    hint="give it another",
                )
            if record.id in seen:
                raise SettingError(
                    f"the id {record.id!r} is used twice",
                    where=f"{field}[{i}].id",
                    hint="give each its own id",
                )
            seen.add(record.id)
            if not getattr(record, "file", True):
                raise SettingError(
                    "no file is named", where=f"{field}[{i}].file", hint="give its path, as seen from the song folder"
                )


def _check_sections(sections: Sequence[Section], field: str) -> None:
    end = 0.0
    seen: set[str] = set()
    for i, section in enumerate(sections):
        if section.name in seen:
            raise SettingError(f"two sections are named {section.name!r}", where=f"{field}[{i}].name")
        seen.add(section.name)
        if section.end_s <= section.start_s:
            raise SettingError("a section must end after it starts", where=f"{field}[{i}].end_s")
        if section.start_s < end:
            raise SettingError(
                f"section {section.name!r} starts before the one above it ends",
                where=f"{field}[{i}].start_s",
                hint="sections stand in order and do not overlap",
            )
        end = section.end_s


def _check_inserts(song: Song) -> None:
    sections = {section.name for section in song.sections}
    keys = key_names(song)
    for path, _, _, strip in strips_of(song):
        for i, insert in enumerate(strip.inserts):
            require_known(insert.sections, sections, f"{path}.inserts[{i}].sections", "section")
            if isinstance(insert, KeyedInsert):
                require_known(insert.keys, keys, f"{path}.inserts[{i}].key", "track, source, group or send")
