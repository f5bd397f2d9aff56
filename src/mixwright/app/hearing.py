# SPDX-License-Identifier: Apache-2.0
"""Every layer of a song as it is heard: alone, and in the mix."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from mixwright.app.arrangement import WHOLE, arrangement, renamed
from mixwright.app.keys import MEASURED_BY, RENDERED_BY
from mixwright.app.session import Session
from mixwright.engine.graph import MixGraph, bus
from mixwright.engine.render import render
from mixwright.engine.returns import fed_by, return_alone, without_sends
from mixwright.errors import SettingError
from mixwright.hearing.constants import CUED_DB, STRICT_DB
from mixwright.hearing.fader import SONG_FRAMES, Fader, loudness
from mixwright.hearing.feed import Source
from mixwright.hearing.hear import hear
from mixwright.hearing.heard import ALONE, CELL_S, CUED, STRICT, Heard, Hearing
from mixwright.hearing.lyric import phrases_of
from mixwright.hearing.phon import phon_from_sone
from mixwright.hearing.places import HIGHEST_DB_SPL, LOWEST_DB_SPL, WORKING_DB_SPL, calibration_db
from mixwright.hearing.statistics import (
    active,
    bands_of,
    correlated,
    kept_by_second,
    loudness_of,
    most_long_term_sone,
    peak_sone,
    taken_by,
)
from mixwright.jobs.cache import code_hash
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.model.arrangement import Arrangement
from mixwright.model.hearing import HeardLayer, HeardSection, HearingResult, LayerLoudness, Listening, Phrase, Range
from mixwright.model.song import Song, changed, source_of, targets_of, used_tracks
from mixwright.model.words import VOICE_ROLES, Place

#: Said of layers without figures.
SILENT_MIX, NEVER_SOUNDS = "the mix is silent", "never louder than 0.05 sone"


@dataclass(frozen=True)
class _Row:
    """One layer: its tracks through the graph given, or a return where there are none."""

    id: str
    name: str
    place: Place
    tracks: tuple[str, ...]
    graph: MixGraph


def heard(
    session: Session,
    *,
    listening_level_db_spl: float = WORKING_DB_SPL,
    listening: Listening = "headphones",
    report: Report = silent,
    cancel: Cancel | None = None,
) -> HearingResult:
    """Hear every source of the mix, and the return of every send that is fed, alone and in the mix; kept in the cache.

    Each is heard as it stands in the mix: after strip, fader, position and group, with the logged gains of bus
    compressors and the limiter. A source is heard without its sends: their returns are layers of their own. All of them
    add up to the mix. What is muted is no layer.

    Parameters
    ----------
    session : Session
    listening_level_db_spl : float
        at which the integrated loudness of the mix plays
    listening : {"headphones", "loudspeakers"}
    report, cancel
        progress and stop switch

    Raises
    ------
    SettingError
        where the listening level is out of range
    """
    if not LOWEST_DB_SPL <= listening_level_db_spl <= HIGHEST_DB_SPL:
        raise SettingError(
            f"a listening level of {listening_level_db_spl:g} dB SPL",
            hint=f"allowed: {LOWEST_DB_SPL:g} to {HIGHEST_DB_SPL:g}",
        )
    song = session.song
    rows = layers_of(song, session.graph)
    # Names, places and the lead are set afterwards: to change one takes no new hearing.
    voices = _voices(song, rows)
    parts = [(row.id, row.tracks) for row in rows], [(part.start_s, part.end_s) for part in song.sections]
    leads = sorted(leads_of(song))
    code = code_hash(
        "mixwright.hearing", "mixwright.ledger", "mixwright.app.hearing", "mixwright.app.arrangement", *RENDERED_BY,
        *MEASURED_BY,
    )  # fmt: skip
    key = session.cache.key(
        "heard", session.graph.identity(), *parts, voices, leads, float(listening_level_db_spl), listening, code
    )  # fmt: skip

    def make() -> HearingResult:
        layers, phrases, arranged = _heard_layers(
            session, rows, voices, listening_level_db_spl, listening, report, cancel
        )
        return HearingResult(
            layers=layers,
            listening_level_db_spl=float(listening_level_db_spl),
            listening=listening,
            k_offset_db=Range(cued=CUED_DB, strict=STRICT_DB),
            phrases=phrases,
            arrangement=arranged,
        )

    return _named(session.cache.record(key, HearingResult, make), rows, song)


def layers_of(song: Song, graph: MixGraph) -> tuple[_Row, ...]:
    """Return what is heard as one each: the sources that sound, without sends, then the returns of what is sent."""
    names = {source.id: source.name for source in song.sources}
    muted = {group.id for group in song.groups if group.mute}
    sources: dict[str, list[str]] = {}
    tracks = {track.id: track for track in used_tracks(song) if not track.mute and track.group not in muted}
    for track in tracks.values():
        sources.setdefault(source_of(track), []).append(track.id)
    dry = without_sends(graph, frozenset(bus(send.id, "send") for send in song.sends)) if song.sends else graph
    rows = []
    for id_, members in sources.items():
        places = {tracks[member].place for member in members}
        place: Place = "lead" if "lead" in places else "support" if "support" in places else "bed"
        rows.append(_Row(id_, names.get(id_, tracks[members[0]].name), place, tuple(members), dry))
    for send in song.sends:
        name = bus(send.id, "send")  # a send and a track may share an id
        if fed_by(graph, name):
            rows.append(_Row(name, send.name, "bed", (), return_alone(graph, name)))
    return tuple(rows)


def layer_audio(
    session: Session, rows: Sequence[_Row], *, report: Report = silent, cancel: Cancel | None = None
) -> Mapping[str, Source]:
    """Return the audio of layers, of which any part is rendered by whoever asks for it."""
    curves = session.curves(report=report, cancel=cancel)

    def source(row: _Row) -> Source:
        return lambda start, end: render(
            row.graph,
            session.audio,
            tracks=row.tracks or None,
            curves=curves,
            span=(start, end),
            workers=1,
            cache=session.cache,
            cancel=cancel,
        )

    return {row.id: source(row) for row in rows}


def leads_of(song: Song) -> frozenset[str]:
    """Return the layers that are the confirmed lead."""
    return frozenset(source_of(track) for lead in song.lead for track in targets_of(song, lead))


def _voices(song: Song, rows: tuple[_Row, ...]) -> tuple[str, ...]:
    """Return the layers that sing."""
    singing = {track.id for track in used_tracks(song) if track.role in VOICE_ROLES}
    return tuple(row.id for row in rows if not singing.isdisjoint(row.tracks))


def _heard_layers(
    session: Session,
    rows: tuple[_Row, ...],
    voices: tuple[str, ...],
    listening_level_db_spl: float,
    listening: Listening,
    report: Report,
    cancel: Cancel | None,
) -> tuple[tuple[HeardLayer, ...], tuple[Phrase, ...], Arrangement]:
    levels, _ = session.measured(cancel=cancel)
    if levels.integrated_lufs is None or not rows:
        return tuple(_without(row, SILENT_MIX) for row in rows), (), Arrangement()
    song = session.song
    whole = _Row(WHOLE, "", "bed", (), session.graph)
    hearing = hear(
        layer_audio(session, rows, report=report, cancel=cancel),
        rate_hz=song.rate_hz,
        frames=session.graph.frames,
        offset_db=calibration_db(levels.integrated_lufs, listening_level_db_spl, listening),
        listening=listening,
        edges_s=[edge for part in song.sections for edge in (part.start_s, part.end_s)],
        voices=voices,
        leads=leads_of(song),
        report=report,
        cancel=cancel,
    )
    longest = most_long_term_sone([hearing.layers[row.id] for row in rows])
    job = Job("finding fader equivalents", len(rows), report, cancel)

    def equivalent(row: _Row) -> Range | None:
        found = _fader_equivalent(hearing.layers[row.id])
        job.step()
        return found

    layers = tuple(
        _layer(song, row, k, hearing, float(longest[k]), found)
        for k, (row, found) in enumerate(zip(rows, in_order(equivalent, rows), strict=True))
    )
    lyrics = ((voice, hearing.layers[voice].lyric) for voice in voices)
    phrases = (phrase for voice, lyric in lyrics if lyric is not None for phrase in phrases_of(lyric, voice, CELL_S))
    arranged = arrangement(song, hearing.layers, layer_audio(session, [whole, *rows], cancel=cancel), cancel)
    return layers, tuple(sorted(phrases, key=lambda phrase: phrase.start_s)), arranged


def _layer(
    song: Song,
    row: _Row,
    index: int,
    hearing: Hearing,
    phrase_sone: float,
    equivalent: Range | None,
) -> HeardLayer:
    one = hearing.layers[row.id]
    whole = loudness_of(one)
    if whole.alone_sone is None:
        return _without(row, NEVER_SOUNDS)
    lengths = [stretch.length_s for stretch in hearing.stretches]
    sections = []
    for part in song.sections:
        cells = slice(round(part.start_s / CELL_S), round(part.end_s / CELL_S))
        inside = hearing.inside(part.start_s, part.end_s)
        taken = [hearing.taken[k] for k in inside], [lengths[k] for k in inside], index
        sections.append(
            HeardSection(
                name=part.name,
                active_s=_seconds(one, cells),
                taken_by=taken_by(*taken),
                bands=bands_of(one, *taken, cells),
                **as_fields(loudness_of(one, cells)),
            )
        )
    return HeardLayer(
        id=row.id,
        name=row.name,
        place=row.place,
        tracks=row.tracks,
        active_s=_seconds(one, slice(None)),
        peak_phon=float(phon_from_sone(peak_sone(one))),
        phrase_phon=float(phon_from_sone(phrase_sone)),
        fader_equivalent_db=equivalent,
        taken_by=taken_by(hearing.taken, lengths, index),
        correlated=correlated(hearing.taken, lengths, index),
        sections=tuple(sections),
        bands=bands_of(one, hearing.taken, lengths, index),
        kept=kept_by_second(one),
        **as_fields(whole),
    )


def _fader_equivalent(one: Heard) -> Range | None:
    """Return by how many dB a layer would have to rise to be heard as loud as it is alone."""
    sketch = one.sketch.thinned(SONG_FRAMES)
    wanted = float(sketch.mean(loudness(sketch)[ALONE].astype(np.float64)))
    if wanted <= 0.0:
        return None
    fader = Fader(sketch)
    found = [fader.equivalent_db(wanted, row) for row in (CUED, STRICT)]
    # A layer without anything beside it may be heard a trace louder through the filters of the mix.
    cued, strict = (None if one_db is None else max(one_db, 0.0) for one_db in found)
    return Range(cued=cued, strict=strict)


def as_fields(loudness: LayerLoudness) -> dict[str, Any]:
    """Return the figures of a loudness by name, for a record that holds them among others."""
    return {name: getattr(loudness, name) for name in LayerLoudness.__struct_fields__}


def _seconds(one: Heard, cells: slice) -> float:
    return round(float(np.count_nonzero(active(one, cells))) * CELL_S, 3)


def _without(row: _Row, why: str) -> HeardLayer:
    return HeardLayer(id=row.id, name=row.name, place=row.place, tracks=row.tracks, active_s=0.0, why=why)


def _named(result: HearingResult, rows: tuple[_Row, ...], song: Song) -> HearingResult:
    """Return the result with the names and places of now, and the phrases of the lead of now."""

    def named(layer: HeardLayer, row: _Row) -> HeardLayer:
        sections = zip(layer.sections, song.sections, strict=False)  # none where the layer never sounds
        return changed(
            layer,
            name=row.name,
            place=row.place,
            sections=tuple(changed(heard_there, name=part.name) for heard_there, part in sections),
        )

    layers = tuple(named(layer, row) for layer, row in zip(result.layers, rows, strict=True))
    leads = leads_of(song)
    phrases = tuple(phrase for phrase in result.phrases if phrase.layer in leads)
    why = "" if phrases else _why_no_phrases(song, rows)
    arranged = renamed(result.arrangement, song.sections)
    return changed(result, layers=layers, phrases=phrases, why_no_phrases=why, arrangement=arranged)


def _why_no_phrases(song: Song, rows: tuple[_Row, ...]) -> str:
    if not song.lead:
        return "the lead is not confirmed"
    leads = leads_of(song)
    if leads.isdisjoint(row.id for row in rows):
        return "the lead is muted"
    if leads.isdisjoint(_voices(song, rows)):
        return "the lead is no voice by its role"
    return "the voice of the lead never sounds for as long as a phrase"
