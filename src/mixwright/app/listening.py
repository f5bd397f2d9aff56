# SPDX-License-Identifier: Apache-2.0
"""The layers of a song, heard stretch by stretch and kept: what did not change is not heard again."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import astuple, dataclass, field
from pathlib import Path

import numpy as np

from mixwright.app.keys import RENDERED_BY
from mixwright.app.session import Session
from mixwright.engine.graph import MixGraph, bus
from mixwright.engine.render import render
from mixwright.engine.returns import fed_by, feeding_tracks, return_alone, without_sends
from mixwright.errors import StateError
from mixwright.hearing.attribution import Taken
from mixwright.hearing.fader import FRAMES
from mixwright.hearing.feed import SOFTEST, Source
from mixwright.hearing.hear import Ear, hear_stretch
from mixwright.hearing.heard import Alone, HeardStretch, Hearing, Stretch, heard_of, stretches_of
from mixwright.hearing.heard_from import cells_of, chunks_of, heard_span
from mixwright.hearing.packed import pack, unpack, unpack_alone
from mixwright.hearing.places import calibration_db
from mixwright.hearing.rise import rise_curve
from mixwright.io.kept import read_kept, write_kept
from mixwright.jobs.array_file import write_array
from mixwright.jobs.cache import code_hash
from mixwright.jobs.pool import Team, in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.model.hearing import Calibration, KeptStretch, Listening, Pin
from mixwright.model.record import Record
from mixwright.model.results import StartResult
from mixwright.model.song import Song, sounding_tracks, source_of, targets_of, used_tracks
from mixwright.model.words import VOICE_ROLES, Place, first_place

#: A calibration holds until the loudness of the mix has moved by so much, in LU.
DRIFT_LU = 0.5
HEARD_BY = ("mixwright.hearing", "mixwright.app.listening", "mixwright.core.resample")


@dataclass(frozen=True)
class Row:
    """One layer: its tracks through the graph given, or a return where there are none."""

    id: str
    name: str
    place: Place
    tracks: tuple[str, ...]
    graph: MixGraph


class _Digests(Record, frozen=True, kw_only=True):
    """SHA-256 of the audio that each stretch hears of a layer, "" where that is silence."""

    sha256: tuple[str, ...]


class _Latest(Record, frozen=True, kw_only=True):
    """The key of a stretch as it was heard last, and the digests of the layers there, in their order."""

    stretch: str
    sha256: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class _Stretch:
    """A stretch as it is kept under its key, or as it was just heard, then with the digests of its layers."""

    key: str
    latest: str
    found: np.ndarray | tuple[dict[str, HeardStretch], Taken]
    sha256: Mapping[str, str] = field(default_factory=dict)


def hearing_of(
    session: Session,
    rows: Sequence[Row],
    *,
    calibrated_lufs: float,
    listening_level_db_spl: float,
    listening: Listening = "headphones",
    report: Report = silent,
    cancel: Cancel | None = None,
) -> tuple[Hearing, tuple[tuple[np.ndarray, ...], ...], tuple[KeptStretch, ...]]:
    """Hear the layers of a song; what was heard of every stretch is kept by the audio that it hears.

    Parameters
    ----------
    session : Session
    rows : sequence of Row
        from `layers_of`; they add up to the mix
    calibrated_lufs, listening_level_db_spl : float
        the integrated loudness, from `calibrated`, that plays at this level
    listening : {"headphones", "loudspeakers"}
    report, cancel
        progress and stop switch

    Returns
    -------
    hearing : Hearing
    curves : tuple of tuples of arrays
        `rise.rise_curve` of every stretch and in it of every layer, in the order of `rows`
    kept : tuple of KeptStretch
        by which key the cache holds what was heard of every stretch
    """
    song, rate_hz = session.song, session.graph.rate_hz
    edges_s = [edge for part in song.sections for edge in (part.start_s, part.end_s)]
    stretches = stretches_of(cells_of(session.graph.frames, rate_hz), edges_s, kept=True)
    audio = layer_audio(session, rows, report=report, cancel=cancel)
    digests = _digests(session, rows, audio, stretches, report, cancel)
    offset_db = calibration_db(calibrated_lufs, listening_level_db_spl, listening)
    voices, leads = voices_of(song, rows), followed(session)
    marks = [(row.id in voices, row.id in leads) for row in rows]
    names = [row.id for row in rows]
    setting = rate_hz, offset_db, listening, code_hash(*HEARD_BY)
    keys = [
        session.cache.key("stretch", [one[k] for one in digests], *astuple(stretch), marks, *setting)
        for k, stretch in enumerate(stretches)
    ]  # fmt: skip
    unheard = [stretch for stretch, key in zip(stretches, keys, strict=True) if not session.cache.holds(key)]
    job = Job("hearing layers", max(1, sum(map(chunks_of, unheard))), report, cancel)
    cache = session.cache
    with Team() as team:
        ear = Ear(rate_hz, offset_db, listening, team, job, cancel or Cancel())

        def heard(k: int) -> _Stretch:
            """Hear a stretch, or find it in the cache."""
            stretch, key = stretches[k], keys[k]
            latest = cache.key("latest", stretch.first, stretch.end, *setting)
            packed = cache.held(key)
            if packed is not None:
                return _Stretch(key, latest, packed)
            here = {name: one[k] for name, one in zip(names, digests, strict=True)}
            layers = {name: audio[name] if digest else _silence for name, digest in here.items()}
            alone = _known_alone(session, latest, here)
            return _Stretch(key, latest, hear_stretch(layers, None, stretch, ear, voices, leads, alone), here)

        def finished(one: _Stretch) -> tuple[dict[str, HeardStretch], Taken, np.ndarray]:
            """Keep what was heard, and work out the curves of all layers from it as it is kept."""
            found = one.found
            if not isinstance(found, np.ndarray):
                found = cache.array(one.key, lambda path: write_array(path, pack(*found)))
                cache.put(one.latest, _Latest(stretch=one.key, sha256=tuple(one.sha256.values())))
            layers, taken = unpack(found, names)

            def solve(path: Path) -> None:
                curves = in_order(lambda part: rise_curve(part.sketch.thinned(2 * FRAMES), cancel), layers.values())
                write_array(path, np.array(list(curves), dtype=np.float32))

            return layers, taken, cache.array(cache.key("rise", one.key), solve)

        # The longest first; a stretch is finished while the next is heard.
        order = sorted(range(len(stretches)), key=lambda k: -stretches[k].length_s)
        done = dict(zip(order, in_order(finished, map(heard, order)), strict=True))
    parts = [done[k] for k in range(len(stretches))]
    hearing = Hearing(
        layers={id_: heard_of([layers[id_] for layers, *_ in parts]) for id_ in names},
        stretches=stretches,
        taken=tuple(taken for _, taken, _ in parts),
    )
    kept = (KeptStretch(first=one.first, end=one.end, key=key) for one, key in zip(stretches, keys, strict=True))
    return hearing, tuple(tuple(curves) for *_, curves in parts), tuple(kept)


def calibrated(session: Session, integrated_lufs: float, listening_level_db_spl: float) -> float:
    """Return which loudness of the mix is taken to play at a listening level.

    It stays what `keep_calibration` kept until the mix has moved from it by DRIFT_LU, so that a small change of one
    layer is not a change of all that is heard.
    """
    pin = pinned(session, listening_level_db_spl)
    return integrated_lufs if pin is None or abs(pin - integrated_lufs) >= DRIFT_LU else pin


def pinned(session: Session, listening_level_db_spl: float) -> float | None:
    """Return which loudness of the mix was last taken to play at a listening level, None if none was."""
    pins = (pin for pin in _pins(session) if pin.listening_level_db_spl == listening_level_db_spl)
    return next((pin.integrated_lufs for pin in pins), None)


def keep_calibration(session: Session, integrated_lufs: float, listening_level_db_spl: float) -> None:
    """Keep in the song folder at which loudness of the mix it was heard at a listening level."""
    pins, pin = _pins(session), Pin(listening_level_db_spl=listening_level_db_spl, integrated_lufs=integrated_lufs)
    if pin not in pins:
        others = (one for one in pins if one.listening_level_db_spl != listening_level_db_spl)
        write_kept(session.folder, "calibration", Calibration(pins=(*others, pin)))


def _pins(session: Session) -> tuple[Pin, ...]:
    try:
        kept = read_kept(session.folder, "calibration", Calibration)
    except StateError:  # nothing but this stands on it
        kept = None
    return () if kept is None else kept.pins


def layers_of(song: Song, graph: MixGraph) -> tuple[Row, ...]:
    """Return what is heard as one each: the sources that sound, without sends, then the returns of what is sent."""
    names = {source.id: source.name for source in song.sources}
    sources: dict[str, list[str]] = {}
    tracks = {track.id: track for track in sounding_tracks(song)}
    for track in tracks.values():
        sources.setdefault(source_of(track), []).append(track.id)
    dry = without_sends(graph, frozenset(bus(send.id, "send") for send in song.sends)) if song.sends else graph
    rows = []
    for id_, members in sources.items():
        place = first_place(tracks[member].place for member in members)
        rows.append(Row(id_, names.get(id_, tracks[members[0]].name), place, tuple(members), dry))
    for send in song.sends:
        name = bus(send.id, "send")  # a send and a track may share an id
        if fed_by(graph, name):
            rows.append(Row(name, send.name, "bed", (), return_alone(graph, name)))
    return tuple(rows)


def layer_audio(
    session: Session,
    rows: Sequence[Row],
    *,
    workers: int | None = 1,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> Mapping[str, Source]:
    """Return the audio of layers, of which any part is rendered by whoever asks for it, by so many threads."""
    curves = session.curves(report=report, cancel=cancel)

    def source(row: Row) -> Source:
        return lambda start, end: render(
            row.graph,
            session.audio,
            tracks=row.tracks or None,
            curves=curves,
            span=(start, end),
            workers=workers,
            cache=session.cache,
            cancel=cancel,
        )

    return {row.id: source(row) for row in rows}


def leads_of(song: Song) -> frozenset[str]:
    """Return the layers that are the confirmed lead."""
    return frozenset(source_of(track) for lead in song.lead for track in targets_of(song, lead))


def guessed_lead(folder: Path, song: Song) -> str | None:
    """Return the track or source that intake takes for the lead, None without a guess that still holds."""
    intake = read_kept(folder, "intake", StartResult)
    guess = intake.lead_guess if intake is not None else None
    return guess if guess is not None and targets_of(song, guess) else None


def followed(session: Session) -> frozenset[str]:
    """Return the layers whose line is followed: the confirmed lead, or else what intake takes for it."""
    song = session.song
    if song.lead:
        return leads_of(song)
    guess = guessed_lead(session.folder, song)
    return frozenset() if guess is None else frozenset(source_of(track) for track in targets_of(song, guess))


def voices_of(song: Song, rows: Sequence[Row]) -> tuple[str, ...]:
    """Return the layers that sing."""
    singing = {track.id for track in used_tracks(song) if track.role in VOICE_ROLES}
    return tuple(row.id for row in rows if not singing.isdisjoint(row.tracks))


def _known_alone(session: Session, latest: str, digests: Mapping[str, str]) -> dict[str, Alone]:
    """Return the layers that sound as when the stretch was heard last; `latest`: key of its `_Latest`."""
    last = session.cache.known(latest, _Latest)
    packed = session.cache.held(last.stretch) if last is not None else None
    if last is None or packed is None:
        return {}
    rows = {digest: row for row, digest in enumerate(last.sha256) if digest}
    here = {name: rows[digest] for name, digest in digests.items() if digest in rows}
    return dict(zip(here, unpack_alone(packed, list(here.values())), strict=True))


def _silence(start: int, end: int) -> tuple[np.ndarray, ...]:  # noqa: ARG001
    """Read nothing of a layer of which a stretch hears nothing."""
    return ()


def _digests(
    session: Session,
    rows: Sequence[Row],
    audio: Mapping[str, Source],
    stretches: Sequence[Stretch],
    report: Report,
    cancel: Cancel | None,
) -> list[tuple[str, ...]]:
    """Return the digests of every layer, stretch by stretch, for which only those that changed are rendered."""
    rate_hz = session.graph.rate_hz
    spans = [heard_span(stretch, rate_hz) for stretch in stretches]
    code = code_hash(*RENDERED_BY, "mixwright.app.listening")
    job = Job("looking for changes", max(1, len(rows)), report, cancel)

    def digest(source: Source, span: tuple[int, int]) -> str:
        found, sounds = hashlib.sha256(), False
        for block in source(*span):
            heard = np.ascontiguousarray(block, dtype=np.float32)
            sounds = sounds or bool((np.abs(heard) > SOFTEST).any())
            found.update(heard.data)
        return found.hexdigest() if sounds else ""

    def of(row: Row) -> tuple[str, ...]:
        # Gains are those of the whole mix: what a row's own graph leaves out moves them too.
        fed = row.tracks or feeding_tracks(session.graph, row.id)
        moved_by = session.graph.identity(fed) if row.graph.dynamics else ()
        key = session.cache.key("digests", row.graph.identity(row.tracks or None), moved_by, spans, code)
        found = session.cache.record(
            key, _Digests, lambda: _Digests(sha256=tuple(digest(audio[row.id], span) for span in spans))
        )
        job.step()
        return found.sha256

    return list(in_order(of, rows))
