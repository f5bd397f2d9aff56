# SPDX-License-Identifier: Apache-2.0
"""What of a song no single field can check: names that must exist or differ, order of sections, loops of keys."""

from __future__ import annotations

import difflib
import itertools
from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import TypeAlias

from mixwright.errors import SettingError
from mixwright.model.derived import resolved
from mixwright.model.insert import KeyedInsert
from mixwright.model.song import (
    LEVEL_SETTINGS,
    MASTER,
    POSITION_SETTINGS,
    RESERVED,
    SCHEMA,
    Group,
    Move,
    Named,
    Song,
    Track,
    keyed_by,
    source_of,
    strips_of,
)

#: Kind and id of a strip; from strip to strip, with the path in the song that says so.
_Strip: TypeAlias = tuple[str, str]
_Leads: TypeAlias = dict[_Strip, dict[_Strip, str]]


def check_song(song: Song) -> None:
    """Check what no single field can: ids that must differ, names that must exist, order of sections.

    Raises
    ------
    SettingError
        `where` is the path of the offending key, like ``tracks[3].group``.
    """
    _check_schema(song)
    _check_ids(song)
    _check_sections(song)
    _check_names(song)
    for i, move in enumerate(song.moves):
        check_move(move, f"moves[{i}]")
    _check_reverbs(song)
    whole = resolved(song)
    _check_inserts(whole)
    _check_loops(whole)


def _check_names(song: Song) -> None:
    groups = {group.id for group in song.groups}
    sends = {send.id for send in song.sends}
    sections = {section.name for section in song.sections}
    targets = {t.id for t in song.tracks} | {source_of(t) for t in song.tracks} | groups
    for i, track in enumerate(song.tracks):
        if track.group:
            _require([track.group], groups, f"tracks[{i}].group", "group")
        _require(track.sends, sends, f"tracks[{i}].sends", "send")
        _require(track.pre_sends, sends, f"tracks[{i}].pre_sends", "send")
        _require(track.place_in, sections, f"tracks[{i}].place_in", "section")
    for i, group in enumerate(song.groups):
        if group.group:
            _require([group.group], groups, f"groups[{i}].group", "group")
        _require(group.sends, sends, f"groups[{i}].sends", "send")
        _require(group.pre_sends, sends, f"groups[{i}].pre_sends", "send")
    _require(song.lead, targets, "lead", "track, source or group")
    for i, lock in enumerate(song.locks):
        _require([lock.target], targets | {MASTER}, f"locks[{i}].target", "track, source or group")
    for i, move in enumerate(song.moves):
        whole = {MASTER} if move.kind == "level" else set()
        _require([move.target], targets | whole, f"moves[{i}].target", "track, source or group")
        _require(move.sections, sections, f"moves[{i}].sections", "section")


def check_move(move: Move, place: str) -> None:
    """Check what a move of each kind sets: `level` the gain, `pan` any of the positions.

    Raises
    ------
    SettingError
        `where` is `place` and the path of the offending key from there
    """
    known = LEVEL_SETTINGS if move.kind == "level" else POSITION_SETTINGS
    hint = "allowed: " + ", ".join(f"{key} ({low:g} to {high:g})" for key, (low, high) in known.items())
    if not move.settings:
        raise SettingError(f"this {move.kind} move sets nothing", where=f"{place}.settings", hint=hint)
    for key, value in move.settings.items():
        if key not in known:
            raise SettingError(f"a {move.kind} move has no setting {key!r}", where=f"{place}.settings", hint=hint)
        low, high = known[key]
        if not low <= value <= high:
            raise SettingError(f"{value:g} does not fit", where=f"{place}.settings.{key}", hint=hint)


def _check_reverbs(song: Song) -> None:
    for i, send in enumerate(song.sends):
        if send.reverb is not None and send.reverb.low_hz >= send.reverb.high_hz:
            raise SettingError(
                f"a tail from {send.reverb.low_hz:g} to {send.reverb.high_hz:g} Hz keeps nothing",
                where=f"sends[{i}].reverb.low_hz",
                hint="set it below high_hz",
            )


def _check_schema(song: Song) -> None:
    if song.schema > SCHEMA:
        raise SettingError(
            f"written by a newer version (schema {song.schema}, this program knows {SCHEMA})",
            where="schema",
            hint="update mixwright",
        )


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


def _check_sections(song: Song) -> None:
    end = 0.0
    seen: set[str] = set()
    for i, section in enumerate(song.sections):
        if section.name in seen:
            raise SettingError(f"two sections are named {section.name!r}", where=f"sections[{i}].name")
        seen.add(section.name)
        if section.end_s <= section.start_s:
            raise SettingError("a section must end after it starts", where=f"sections[{i}].end_s")
        if section.start_s < end:
            raise SettingError(
                f"section {section.name!r} starts before the one above it ends",
                where=f"sections[{i}].start_s",
                hint="sections stand in order and do not overlap",
            )
        end = section.end_s


def _check_inserts(song: Song) -> None:
    sections = {section.name for section in song.sections}
    keys = {record.id for records in (song.tracks, song.groups, song.sends) for record in records}
    keys |= {track.source for track in song.tracks if track.source}
    for path, _, _, strip in strips_of(song):
        for i, insert in enumerate(strip.inserts):
            _require(insert.sections, sections, f"{path}.inserts[{i}].sections", "section")
            if isinstance(insert, KeyedInsert):
                _require(insert.keys, keys, f"{path}.inserts[{i}].key", "track, source, group or send")


def _check_loops(song: Song) -> None:
    """Refuse what would have to hear itself: groups inside each other, keys that come from where they go."""
    leads = _leads(song)
    done: set[_Strip] = set()
    for start in leads:
        way, open_ = [start], [iter(leads[start].items())]
        while open_ and start not in done:
            end, _ = next(open_[-1], (None, ""))
            if end is None:
                done.add(way.pop())
                open_.pop()
            elif end in way:
                _refuse_loop(leads, [*way[way.index(end) :], end])
            elif end not in done:
                way.append(end)
                open_.append(iter(leads.get(end, {}).items()))


def _leads(song: Song) -> _Leads:
    leads: _Leads = {}
    for path, here, record in _feeding(song):
        home = ("group", record.group) if record.group else (MASTER, MASTER)
        leads.setdefault(here, {})[home] = f"{path}.group"
        for send in (*record.sends, *record.pre_sends):
            leads[here][("send", send)] = f"{path}.sends"
    for path, kind, id_, strip in strips_of(song):
        for i, insert in enumerate(strip.inserts):
            for key in insert.keys if isinstance(insert, KeyedInsert) else ():
                for one in keyed_by(song, key):
                    leads.setdefault(one, {}).setdefault((kind, id_), f"{path}.inserts[{i}].key")
    return leads


def _feeding(song: Song) -> Iterator[tuple[str, _Strip, Track | Group]]:
    for i, track in enumerate(song.tracks):
        yield f"tracks[{i}]", ("track", track.id), track
    for i, group in enumerate(song.groups):
        yield f"groups[{i}]", ("group", group.id), group


def _refuse_loop(leads: _Leads, loop: Sequence[_Strip]) -> None:
    paths = [leads[start][end] for start, end in itertools.pairwise(loop)]
    keys = [path for path in paths if path.endswith(".key")]
    raise SettingError(
        f"this runs in a circle: {' > '.join(id_ for _, id_ in loop)}",
        where=keys[-1] if keys else paths[-1],
        hint="take its key from elsewhere" if keys else "a group cannot lie inside itself",
    )


def _require(names: Iterable[str], known: Collection[str], where: str, what: str) -> None:
    for name in names:
        if name not in known:
            raise SettingError(f"no {what} is called {name!r}", where=where, hint=_known(name, known, what))


def _known(name: str, known: Collection[str], what: str) -> str:
    if not known:
        return f"the song has no {what} yet"
    near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    return f"{f'did you mean {near[0]}? ' if near else ''}known: {', '.join(sorted(known))}"
