# SPDX-License-Identifier: Apache-2.0
"""Edit what a song says of its layers: names, roles, places, sources, groups, sections, who is followed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TypeVar

from msgspec import UNSET

from mixwright.app.page import write_page
from mixwright.errors import SettingError, count, listed, printable
from mixwright.intake.ids import Ids, slug
from mixwright.io.song_file import edit_song
from mixwright.model.moves import id_for
from mixwright.model.song import RESERVED, Group, Move, Section, Song, Source, Track, changed, strips_of, with_strip
from mixwright.model.song_edit import SectionEdit, SongEdit, TrackEdit

N = TypeVar("N", Source, Group)


def edit(song: Path, wanted: SongEdit) -> Song:
    """Edit a song in one step, which `undo` takes back; return the song as it is then.

    A role that a person gives is certain. A section that gets another name keeps what was said of it; of one that is
    taken away only places are forgotten.

    Parameters
    ----------
    song : Path
        The song folder.
    wanted : SongEdit

    Raises
    ------
    SettingError
        where a track, source, group or section is not known, a name is empty, or sections overlap
    ChangedError
        within `io.song_file.unchanged_since`
    """
    after = edit_song(song, _told(wanted), lambda before: edited(before, wanted))
    write_page(song)
    return after


def edited(before: Song, wanted: SongEdit) -> Song:
    """Return a song after an edit; see :func:`edit`."""
    _check_known(wanted.tracks, before.tracks, "track")
    _check_known(wanted.source_names, before.sources, "source")
    _check_known(wanted.group_names, before.groups, "group")
    song = before if wanted.sections is UNSET else _with_sections(before, wanted.sections)
    sources = [_renamed(source, wanted.source_names) for source in song.sources]
    groups = [_renamed(group, wanted.group_names) for group in song.groups]
    taken = set(RESERVED) | {one.id for many in (song.tracks, sources, groups, song.sends) for one in many}
    ids = Ids(taken)
    tracks: list[Track] = []
    for track in song.tracks:
        one = wanted.tracks.get(track.id)
        if one is None:
            tracks.append(track)
            continue
        fields = _plain_fields(track, one)
        if one.source is not UNSET:
            fields["source"] = _id_of(one.source, sources, ids, Source)
        if one.group is not UNSET:
            fields["group"] = _id_of(one.group, groups, ids, Group)
        tracks.append(changed(track, **fields))
    # A source without tracks says nothing, and one that a lead or a lock names stays.
    held = {t.source for t in tracks} | {*song.lead, *(lock.target for lock in song.locks)}
    held |= {name for move in song.moves for name in (move.target, move.key)}
    return changed(
        song,
        tracks=tuple(tracks),
        sources=tuple(source for source in sources if source.id in held),
        groups=tuple(groups),
        lead=song.lead if wanted.lead is UNSET else tuple(dict.fromkeys(wanted.lead)),
    )


def _plain_fields(track: Track, one: TrackEdit) -> dict[str, object]:
    fields: dict[str, object] = {
        name: getattr(one, name) for name in ("role", "place", "use") if getattr(one, name) is not UNSET
    }
    if one.name is not UNSET:
        fields["name"] = _stripped(one.name)
    if one.role is not UNSET:
        fields["role_confidence"] = 1.0
    if one.use is not UNSET and one.use:
        fields["why"] = ""
    if one.place_in is not UNSET:
        places = {**track.place_in, **one.place_in}
        fields["place_in"] = {section: place for section, place in places.items() if place is not None}
    return fields


def _id_of(word: str, known: list[N], ids: Ids, kind: Callable[..., N]) -> str:
    """Return the id of the source or group that a word means, a new one where none is called so; "" for none."""
    found = _found(word, known)
    if found is None:
        found = ids.new(slug(word) or kind.__name__.lower())
        known.append(kind(id=found, name=_stripped(word)))
    return found


def _found(word: str, known: Sequence[Source | Group]) -> str | None:
    word = word.strip()
    if not word:
        return ""
    by_id = next((one.id for one in known if one.id == word), None)
    return by_id or next((one.id for one in known if one.name.casefold() == word.casefold()), None)


def _with_sections(song: Song, wanted: Sequence[SectionEdit]) -> Song:
    """Return the song with other sections: what is said of those that have another name now is carried along."""
    known = {section.name for section in song.sections}
    for one in wanted:
        if one.was and one.was not in known:
            raise SettingError(f"no section is called {printable(one.was)!r}", hint=f"known: {listed(sorted(known))}")
    now = {one.was: _stripped(one.name) for one in wanted if one.was}

    def named(names: Iterable[str]) -> tuple[str, ...]:
        return tuple(now.get(name, name) for name in names)

    tracks = tuple(
        changed(t, place_in={now[name]: place for name, place in t.place_in.items() if name in now})
        for t in song.tracks
    )
    left = (changed(one, section=now.get(one.section, one.section)) for one in song.left_as_is)
    after = changed(
        song,
        sections=tuple(Section(name=_stripped(s.name), start_s=s.start_s, end_s=s.end_s) for s in wanted),
        tracks=tracks,
        moves=tuple(_moved(move, named(move.sections)) for move in song.moves),
        left_as_is=tuple(left),
    )
    for _, kind, id_, strip in strips_of(song):
        if any(insert.sections for insert in strip.inserts):
            inserts = tuple(changed(insert, sections=named(insert.sections)) for insert in strip.inserts)
            after = with_strip(after, kind, id_, changed(strip, inserts=inserts))
    return after


def _moved(move: Move, sections: tuple[str, ...]) -> Move:
    """Return a move in other sections, with the id that a plan would give it there: a refusal lasts."""
    if sections == move.sections:
        return move
    before, now = (
        id_for(move.kind, move.target, names, move.settings, key=move.key, send=move.send)
        for names in (move.sections, sections)
    )
    return changed(move, sections=sections, id=now if move.id == before else move.id)


def _renamed(record: N, names: Mapping[str, str]) -> N:
    return changed(record, name=_stripped(names[record.id])) if record.id in names else record


def _check_known(ids: Iterable[str], known: Sequence[Track | Source | Group], what: str) -> None:
    there = [one.id for one in known]
    for id_ in ids:
        if id_ not in there:
            raise SettingError(f"no {what} has the id {printable(id_)!r}", hint=f"known: {listed(there, 12)}")


def _stripped(name: str) -> str:
    name = name.strip()
    if not name:
        raise SettingError("the name is empty", hint="give one, or leave it as it is")
    return name


def _told(wanted: SongEdit) -> str:
    """Return what the step is called in the journal."""
    parts = [f"edit {listed(list(wanted.tracks), 3)}"] if wanted.tracks else []
    names = {**wanted.source_names, **wanted.group_names}
    parts += [f"rename {listed(list(names), 3)}"] if names else []
    parts += [count(len(wanted.sections), "section")] if wanted.sections is not UNSET else []
    parts += [f"follow {listed(wanted.lead, 3)}"] if wanted.lead is not UNSET else []
    return "; ".join(parts) or "edit"
