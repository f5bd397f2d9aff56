# SPDX-License-Identifier: Apache-2.0
"""What the page shows of a song, read from `song.toml` and the results that commands kept; nothing is measured."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path

from mixwright.app.decide import counts_of
from mixwright.app.heard_view import Kept, heard_view
from mixwright.errors import StateError, listed
from mixwright.io.kept import read_kept, song_path, write_kept
from mixwright.io.song_file import history, redo_name, require_song
from mixwright.model.hearing import HeardLayer, HearingResult
from mixwright.model.song import Song, Track, return_of, source_of, targets_of, used_tracks
from mixwright.model.song_view import Question, SongView, ViewedName, ViewedRow, ViewedTrack, Walk
from mixwright.model.words import PLACES, Place, first_place
from mixwright.report.findings import outside_tolerance
from mixwright.report.heard import equivalent_words
from mixwright.report.sentences import fault_sentence

#: A role that intake is less sure of is asked for; so many questions are put at once.
UNSURE, MOST_QUESTIONS = 0.5, 5
_ORDER = (*PLACES, "return")
_WALK = "walk"


def song_view(folder: Path) -> SongView:
    """Return everything that the first view of a song shows.

    Raises
    ------
    SettingError, StateError
        where `song.toml` is wrong or not there
    """
    kept = Kept(folder)
    song = kept.song
    rows = rows_of(song, kept.measure.hearing if kept.measure else None)
    return SongView(
        version=kept.version,
        folder=str(folder),
        title=song.title,
        artist=song.artist,
        rate_hz=song.rate_hz,
        duration_s=_duration_s(kept),
        tempo_bpm=song.tempo_bpm,
        beats_per_bar=song.beats_per_bar,
        first_bar_s=song.first_bar_s,
        lead=song.lead,
        lead_guess=_guess(kept),
        tracks=_tracks(kept),
        sources=tuple(ViewedName(id=one.id, name=one.name) for one in song.sources),
        groups=tuple(ViewedName(id=one.id, name=one.name) for one in song.groups),
        sections=song.sections,
        rows=rows,
        references=tuple(ViewedName(id=one.id, name=Path(one.file).name) for one in song.references),
        rough=song.rough,
        moves=counts_of(song),
        questions=_questions(song),
        for_the_artist=kept.intake.questions if kept.intake else (),
        planned=kept.plan is not None,
        undo=_last_step(kept),
        redo=redo_name(folder),
        walk=_walk_waits(folder),
        heard=heard_view(kept, [(row.id, row.place) for row in rows]),
        problems=(*kept.problems, *_missing(kept)),
    )


def set_walk(folder: Path, *, waits: bool) -> None:
    """Remember with a song whether the walk through its page is due.

    Raises
    ------
    StateError
        when there is no song
    """
    require_song(folder)
    write_kept(folder, _WALK, Walk(waits=waits))


def _walk_waits(folder: Path) -> bool:
    try:
        kept = read_kept(folder, _WALK, Walk)
    except StateError:  # it is damaged: nothing is lost with it
        return False
    return kept is not None and kept.waits


def rows_of(song: Song, hearing: HearingResult | None) -> tuple[ViewedRow, ...]:
    """Return the layers of a song and the returns that were heard, by place."""
    layers = {layer.id: layer for layer in hearing.layers} if hearing else {}
    found: dict[str, list[str]] = {}
    for finding in outside_tolerance(hearing) if hearing else ():
        found.setdefault(finding.track, []).append(finding.id)
    members: dict[str, list[Track]] = {}
    for track in used_tracks(song):
        members.setdefault(source_of(track), []).append(track)
    sources = {source.id: source.name for source in song.sources}
    rows = []
    for id_, tracks in members.items():
        named = dict.fromkeys(section for track in tracks for section in track.place_in)
        place_in = {section: first_place(t.place_in.get(section, t.place) for t in tracks) for section in named}
        place = first_place(track.place for track in tracks)
        name = sources.get(id_) or tracks[0].name
        ids = tuple(track.id for track in tracks)
        rows.append(_row(id_, name, place, place_in, ids, layers.get(id_), found.get(id_, [])))
    returns = {return_of(send): send.name for send in song.sends}
    rows += [
        _row(id_, name, "return", {}, (), layers[id_], found.get(id_, []))
        for id_, name in returns.items()
        if id_ in layers
    ]
    return tuple(sorted(rows, key=lambda row: _ORDER.index(row.place)))


def _row(
    id_: str,
    name: str,
    place: str,
    place_in: Mapping[str, Place],
    tracks: tuple[str, ...],
    layer: HeardLayer | None,
    findings: Sequence[str],
) -> ViewedRow:
    told = ""
    if layer is not None:
        told = layer.why or equivalent_words(layer)
    return ViewedRow(
        id=id_,
        name=name,
        place=place,
        place_in=dict(place_in),
        tracks=tracks,
        kept=() if layer is None else layer.kept,
        fader_equivalent_db=None if layer is None else layer.fader_equivalent_db,
        told=told,
        findings=tuple(findings),
    )


def _tracks(kept: Kept) -> tuple[ViewedTrack, ...]:
    found = {track.id: track.faults for track in kept.intake.tracks} if kept.intake else {}
    return tuple(
        ViewedTrack(
            id=track.id,
            name=track.name,
            file=track.file,
            role=track.role,
            role_confidence=track.role_confidence,
            place=track.place,
            place_in=track.place_in,
            source=track.source,
            group=track.group,
            use=track.use,
            why=track.why,
            mute=track.mute,
            look=tuple(fault_sentence(fault) for fault in found.get(track.id, ()) if fault.severity != "note"),
        )
        for track in kept.song.tracks
    )


def _questions(song: Song) -> tuple[Question, ...]:
    """Return the tracks whose role is least sure, one question each."""
    unsure = [track for track in used_tracks(song) if track.role == "unknown" or track.role_confidence < UNSURE]
    unsure.sort(key=lambda track: (track.role != "unknown", track.role_confidence))
    return tuple(
        Question(track=track.id, told=f"What is {track.name}?", guess=track.role) for track in unsure[:MOST_QUESTIONS]
    )


def _guess(kept: Kept) -> str | None:
    guess = kept.intake.lead_guess if kept.intake else None
    return guess if guess is not None and targets_of(kept.song, guess) else None


def _duration_s(kept: Kept) -> float:
    if kept.measure is not None:
        return kept.measure.mix.duration_s
    ends = [section.end_s for section in kept.song.sections]
    return max([kept.intake.duration_s if kept.intake else 0.0, *ends])


def _last_step(kept: Kept) -> str:
    steps = history(kept.folder, limit=2)
    return steps[-1].name if len(steps) > 1 else ""


def _missing(kept: Kept) -> tuple[str, ...]:
    gone = [t.name for t in used_tracks(kept.song) if not os.path.isfile(song_path(kept.folder, t.file))]  # noqa: PTH113
    if not gone:
        return ()
    many = "The file of a track is" if len(gone) == 1 else f"The files of {len(gone)} tracks are"
    return (f"{many} not there: {listed(gone, 4)}. Find them with `mixwright relink SONG FOLDER`.",)
