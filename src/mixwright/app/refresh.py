# SPDX-License-Identifier: Apache-2.0
"""Add what is new in the folders of the tracks; what the song has stays as it is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from mixwright.app.bounces import take_bounces
from mixwright.app.page import write_page
from mixwright.app.receiving import Delivery, check_space, find_delivery, listen_to_all
from mixwright.app.relink import is_there
from mixwright.app.waiting import OWN_FOLDERS
from mixwright.errors import InputError, listed
from mixwright.intake.ids import Ids, slug
from mixwright.intake.receive import Intake, ReceivedFile, receive
from mixwright.io.decode import Decoder
from mixwright.io.hashing import file_sha256
from mixwright.io.kept import read_kept, relative_to_song, song_path, write_kept
from mixwright.io.song_file import edit_song, load_song
from mixwright.io.stems import StemStore
from mixwright.jobs.cache import Cache
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.model.bounces import Bounce
from mixwright.model.files import files_of
from mixwright.model.results import RefreshResult, SourceIntake, StartResult, TrackFile, TrackIntake
from mixwright.model.song import RESERVED, Group, Song, Source, Track, changed, source_of
from mixwright.report.sentences import fault_sentence


@dataclass(frozen=True, eq=False)
class _Added:
    """A song with new tracks, and what intake tells of them."""

    song: Song
    tracks: tuple[TrackIntake, ...] = ()
    sources: tuple[SourceIntake, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class _Seen:
    """What lies in the folders: tracks whose file changed, copies, notes; what was understood, in order.

    Understood are the tracks of `old`, those of `untold` (both by their ids), and the new ones.
    """

    changed: Sequence[Track]
    copies: tuple[TrackFile, ...]
    notes: tuple[str, ...] = ()
    old: Sequence[str] = ()
    untold: Sequence[str] = ()
    understood: Intake | None = None


def refresh(song: Path, *, take: bool = False, report: Report = silent, cancel: Cancel | None = None) -> RefreshResult:
    """Read audio files that are new in the folders of the song's tracks, and add them as tracks.

    Looked at are the folders that hold a track, and folders in them one level deep. New files are understood beside
    the tracks that are there, as `start` does, and get ids of their own. Settings and decisions of existing tracks
    stay as they are; a file whose content changed is told, and taken only where that is asked for. Tracks of which
    nothing was told yet, because an earlier run was ended at the last moment, are told now.

    Parameters
    ----------
    song : Path
        The song folder.
    take : bool
        Take files that were written anew: bounces. What they held is kept until it is released, and what they changed
        is told beside the open moves (`app.bounces`).
    report, cancel
        Progress and the user's switch to stop; nothing is changed then.

    Raises
    ------
    StateError, SettingError
        when the song, or what was kept of its intake, cannot be read
    OutputError
        when the disk cannot hold the new tracks
    """
    song = Path(song)
    now = load_song(song)
    intake = read_kept(song, "intake", StartResult)
    there = [track for track in now.tracks if is_there(song, track.file)]
    seen = _look(song, now, there, _untold(there, intake), report, cancel)
    taken: tuple[Bounce, ...] = ()
    untaken: tuple[str, ...] = ()
    if take and seen.changed:
        try:
            taken, untaken = take_bounces(song, seen.changed, report=report, cancel=cancel)
        finally:  # some may be taken all the same
            intake = _without_taken(song, seen.changed)
        now = load_song(song)
        there = [track for track in now.tracks if is_there(song, track.file)]
        seen = _look(song, now, there, _untold(there, intake), report, cancel)
    added = _add(song, seen, intake) if seen.understood else _Added(now)
    known = {track.id for track in there}
    bounced = {bounce.track for bounce in taken}
    found = [track for track in added.tracks if track.id in bounced]
    faults = [f"{t.file}: {fault_sentence(one)}." for t in found for one in t.faults if one.severity != "note"]
    result = RefreshResult(
        added=tuple(track for track in added.tracks if track.id not in bounced),
        changed=tuple(TrackFile(id=track.id, file=track.file) for track in seen.changed),
        missing=tuple(TrackFile(id=track.id, file=track.file) for track in now.tracks if track.id not in known),
        copies=seen.copies,
        questions=_new_questions(seen.understood, intake),
        notes=(*added.notes, *seen.notes, *untaken, *faults),
        taken=taken,
    )
    if added.tracks:
        _keep(song, added, result.questions)
    write_page(song)  # in any case: an earlier run may have been ended before it did
    return result


def _untold(there: Sequence[Track], intake: StartResult | None) -> list[Track]:
    """Return the tracks of which no intake tells."""
    told = {track.id for track in intake.tracks} if intake else {track.id for track in there}
    return [track for track in there if track.use and track.id not in told]


def _without_taken(song: Path, differing: Sequence[Track]) -> StartResult | None:
    """Leave tracks whose new file was taken out of the intake, which tells of the old one; return what it tells now."""
    intake = read_kept(song, "intake", StartResult)
    held = {track.id: track.sha256 for track in load_song(song).tracks}
    taken = {track.id for track in differing if held.get(track.id) != track.sha256}
    if intake is None or not taken:
        return intake
    left = changed(intake, tracks=tuple(track for track in intake.tracks if track.id not in taken))
    write_kept(song, "intake", left)
    return left


def _keep(song: Path, added: _Added, questions: Sequence[str]) -> None:
    """Write what was found into the intake as it is by now: another run may have added to it."""
    intake = read_kept(song, "intake", StartResult)
    if intake is None:
        return
    order = {track.id: k for k, track in enumerate(added.song.tracks)}
    tracks, sources = {track.id for track in intake.tracks}, {source.id for source in intake.sources}
    told = (*intake.tracks, *(track for track in added.tracks if track.id not in tracks))
    kept = changed(
        intake,
        tracks=tuple(sorted(told, key=lambda track: order.get(track.id, len(order)))),
        sources=(*intake.sources, *(source for source in added.sources if source.id not in sources)),
        questions=(*intake.questions, *(question for question in questions if question not in intake.questions)),
    )
    write_kept(song, "intake", kept)


def _look(
    song: Path,
    now: Song,
    there: Sequence[Track],
    untold: Sequence[Track],
    report: Report,
    cancel: Cancel | None,
) -> _Seen:
    """Compare the files that are there with what was received, and listen to those that are new or untold."""
    kept = song / "cache"
    with Decoder(cancel=cancel) as decoder, Cache(kept, cancel) as cache, StemStore(cache, decoder, cancel) as store:
        delivery = _unknown(song, now, there, decoder)
        job = Job("comparing files", max(1, len(there) + len(delivery.files)), report, cancel)

        def digest(path: Path) -> str:
            job.step()
            try:
                return file_sha256(path, cache, cancel)
            except InputError:  # told below, or by intake
                return ""

        digests = in_order(digest, [song_path(song, track.file) for track in there])
        compared = list(zip(there, digests, strict=True))
        differ = [track for track, found in compared if track.sha256 and found and found != track.sha256]
        unread = [track.file for track, found in compared if not found]
        holders = {track.sha256: track.id for track in now.tracks if track.sha256}
        contents = in_order(digest, [path for path, _ in delivery.files])
        paired = list(zip(delivery.files, contents, strict=True))
        copies = tuple(
            TrackFile(id=holders[content], file=relative_to_song(song, path))
            for (path, _), content in paired
            if content in holders
        )
        new = replace(delivery, files=tuple(file for file, content in paired if content not in holders))
        notes = (*delivery.notes, *([f"{listed(unread)} cannot be read: see who may read it."] if unread else []))
        untold = [track for track in untold if track not in differ]
        if not new.files and not untold:
            return _Seen(differ, copies, notes)
        old = [track for track in there if track.use and track not in differ and track not in untold]
        known = [(song_path(song, track.file), Path(track.file).name) for track in (*old, *untold)]
        files = [*known, *new.files]
        check_space(song, store.outlook, (path for path, _ in files), report)
        heard = listen_to_all(store, cache, song, files, report, cancel)
        first, second = ([track.id for track in tracks] for tracks in (old, untold))
        return _Seen(differ, copies, notes, first, second, _understood(heard, now, cancel))


def _unknown(song: Path, now: Song, there: Sequence[Track], decoder: Decoder) -> Delivery:
    """Return the audio files in the folders of the tracks that the song does not name."""
    named = {song_path(song, file.file).resolve() for file in files_of(now) if is_there(song, file.file)}
    parents = {song_path(song, track.file).resolve().parent for track in there}
    folders = sorted(place for place in parents if place.parent not in parents)
    if not folders:
        return Delivery((), song)
    delivery = find_delivery(folders, sorted(named), decoder)
    own = [song.resolve() / name for name in OWN_FOLDERS]
    files = tuple(
        (path, label) for path, label in delivery.files if not any(place in path.resolve().parents for place in own)
    )
    return replace(delivery, files=files)


def _understood(heard: Sequence[ReceivedFile], now: Song, cancel: Cancel | None) -> Intake | None:
    """Return what intake makes of old and new tracks together; None when it can use none of them."""
    try:
        return receive(
            heard,
            title=now.title,
            rate_hz=now.rate_hz,
            tempo_bpm=now.tempo_bpm,
            as_mixed=now.tracks_are == "as mixed",
            cancel=cancel,
        )
    except InputError:
        return None


def _new_questions(understood: Intake | None, intake: StartResult | None) -> tuple[str, ...]:
    asked = intake.questions if intake else ()
    return tuple(question for question in understood.questions if question not in asked) if understood else ()


def _add(song: Path, seen: _Seen, intake: StartResult | None) -> _Added:
    """Write the new tracks into the song as it is by now."""
    assert seen.understood is not None
    done: list[_Added] = []

    def edit(now: Song) -> Song:
        done.append(_merged(now, seen, intake))
        return done[-1].song

    count = len(seen.understood.tracks) - len(seen.old) - len(seen.untold)
    edit_song(song, f"refresh: {count} new track{'s' if count > 1 else ''}", edit)
    return done[-1]


def _merged(now: Song, seen: _Seen, intake: StartResult | None) -> _Added:
    """Return the song with the tracks of an intake; the first of these are there already, by the ids of `old`.

    Of the others, those that were there untold are told and not added.
    """
    understood, old = seen.understood, seen.old
    assert understood is not None
    ids = Ids(_taken(now, intake))
    there = {track.file: track for track in now.tracks}
    pairs = list(zip(understood.song.tracks, understood.tracks, strict=True))[len(old) :]
    late = [(there[track.file], told) for track, told in pairs if track.file in there]
    late = [(track, told) for track, told in late if track.id in seen.untold]
    pairs = [(track, told) for track, told in pairs if track.file not in there]
    own = {track.id: ids.new(slug(track.name) or "track") for track, _ in pairs}
    own |= {track.id: id_ for track, id_ in zip(understood.song.tracks, old, strict=False)}
    own |= {track.id: there[track.file].id for track in understood.song.tracks if track.file in there}
    before = {track.id: track for track in now.tracks}
    groups, new_groups = _groups(now, understood, [track for track, _ in pairs], own, before, ids)
    sources, new_sources, notes = _sources(understood, {track.id for track, _ in pairs}, own, before, ids)
    tracks = []
    tellings = [changed(told, id=t.id, group=t.group, source=source_of(t)) for t, told in late]
    for track, told in pairs:
        fields = {"id": own[track.id], "source": sources.get(track.id, ""), "group": groups.get(track.group, "")}
        tracks.append(changed(track, **fields))
        tellings.append(changed(told, **{**fields, "source": fields["source"] or fields["id"]}))
    return _Added(
        song=changed(
            now,
            tracks=(*now.tracks, *tracks),
            sources=(*now.sources, *(Source(id=source.id, name=source.name) for source in new_sources)),
            groups=(*now.groups, *new_groups),
        ),
        tracks=tuple(tellings),
        sources=(*_late_sources(understood, [track for track, _ in late], own), *new_sources),
        notes=tuple(notes),
    )


def _late_sources(understood: Intake, late: Sequence[Track], own: Mapping[str, str]) -> Iterator[SourceIntake]:
    """Yield what is to be told of the sources that came with tracks which are told late."""
    homes = {track.id: track.source for track in late}
    for source in understood.sources:
        members = tuple(own[member] for member in source.tracks if own.get(member) in homes)
        if len(members) > 1 and len({homes[member] for member in members}) == 1 and homes[members[0]]:
            yield changed(source, id=homes[members[0]], tracks=members)


def _taken(now: Song, intake: StartResult | None) -> set[str]:
    """Return every id that means something, or did: an id is never given twice."""
    named = (now.tracks, now.sources, now.groups, now.sends, now.references)
    taken = {*RESERVED, *(record.id for records in named for record in records)}
    taken |= {track.source for track in now.tracks} | {move.target for move in now.moves}
    if intake is not None:
        taken |= {track.id for track in intake.tracks} | {source.id for source in intake.sources}
    return taken


def _groups(
    now: Song,
    understood: Intake,
    new: Sequence[Track],
    own: Mapping[str, str],
    before: Mapping[str, Track],
    ids: Ids,
) -> tuple[dict[str, str], list[Group]]:
    """Return the song's group for each group of the intake: where the tracks of its kind are now, else a new one."""
    chosen: dict[str, str] = {}
    made: list[Group] = []
    for group in understood.song.groups:
        if all(track.group != group.id for track in new):
            continue
        alike = [
            before[own[t.id]].group for t in understood.song.tracks if t.group == group.id and own.get(t.id) in before
        ]
        same = [known.id for known in now.groups if known.name == group.name]
        if alike:
            chosen[group.id] = Counter(alike).most_common(1)[0][0]
        elif same:
            chosen[group.id] = same[0]
        else:
            chosen[group.id] = ids.new(group.id, otherwise=f"{group.id}-group")
            made.append(changed(group, id=chosen[group.id]))
    return chosen, made


def _sources(
    understood: Intake, new: Collection[str], own: Mapping[str, str], before: Mapping[str, Track], ids: Ids
) -> tuple[dict[str, str], list[SourceIntake], list[str]]:
    """Return the source of each new track that reads as one with others, the new sources, and what a person decides.

    A new track joins the source of the old ones; old tracks that stand alone are not joined to anything.
    """
    chosen: dict[str, str] = {}
    made: list[SourceIntake] = []
    notes: list[str] = []
    for source in understood.sources:
        joining = [member for member in source.tracks if member in new]
        old = [own[member] for member in source.tracks if own.get(member) in before]
        homes = {before[member].source for member in old}
        if joining and not old and len(joining) > 1:
            id_ = ids.new(source.id)
            made.append(changed(source, id=id_, tracks=tuple(own[member] for member in joining)))
            chosen |= dict.fromkeys(joining, id_)
        elif len(homes) == 1 and "" not in homes:
            chosen |= dict.fromkeys(joining, homes.pop())
        elif joining and old:
            names = listed([own[member] for member in joining])
            notes.append(f"{names} may read as one layer with {listed(old)}: give them one source in song.toml if so.")
    return chosen, made, notes
