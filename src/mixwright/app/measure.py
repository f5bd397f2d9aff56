# SPDX-License-Identifier: Apache-2.0
"""Measure the mix as it stands, and every layer as it contributes to it."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np

from mixwright.app.growth import since_the_last
from mixwright.app.hearing import as_fields, heard
from mixwright.app.listening import followed
from mixwright.app.page import write_page
from mixwright.app.references import corridor_of, finished_files, not_used, profiles_of
from mixwright.app.returns import send_levels
from mixwright.app.scene import WHOLE, Contribution, contributions, scene_of, sounding_hash
from mixwright.app.session import Session, open_song
from mixwright.app.space import Making
from mixwright.app.voice_level import beside_the_mix, with_what_is_asked
from mixwright.core.align import fit_gain, lag_and_polarity
from mixwright.errors import InputError, printable
from mixwright.hearing.places import WORKING_DB_SPL
from mixwright.io.kept import song_path, write_kept
from mixwright.io.song_file import load_song
from mixwright.jobs.progress import Cancel, Report, blocks, silent
from mixwright.meter.loudness import SUB_BLOCKS_PER_S
from mixwright.model.hearing import HeardLayer, LayerLoudness, Listening
from mixwright.model.results import MeasureResult, PrintFit, SectionLevel, SpectrumSpread, Spread, TrackLevels
from mixwright.model.song import Section, Song, Track, source_of, used_tracks
from mixwright.planning.level_moves import spreads_of
from mixwright.reference.corridor import Corridor
from mixwright.units import db_from_power, db_from_ratio

#: Pauses shorter than this do not end a stretch in which a layer sounds.
_PAUSE_S = 0.5
_HOP_S = 0.1
#: How far a print of the mix may start before or after the layers.
_PRINT_SEARCH_S = 1.0
#: What is left over is told down to here: the resolution of the fit.
_LEAST_RESIDUAL_DB = -150.0
_BLOCK_FRAMES = 1 << 16


def measure(
    song: Path,
    *,
    listening_level_db_spl: float = WORKING_DB_SPL,
    listening: Listening = "headphones",
    report: Report = silent,
    cancel: Cancel | None = None,
) -> MeasureResult:
    """Measure a song folder: the mix with its accepted moves, and every used track as it stands in it and is heard.

    What did not change since the last time comes from the cache. The result is kept in the song folder.

    Parameters
    ----------
    song : Path
        The song folder.
    listening_level_db_spl : float
        Level at which the integrated loudness of the mix is taken to play, 60 to 90.
    listening : {"headphones", "loudspeakers"}
        How it reaches the ears.
    report, cancel
        Progress and the user's switch to stop.

    Raises
    ------
    InputError, SettingError, StateError
        when the song or a file in it cannot be used
    """
    folder = Path(song)
    with open_song(folder, _making(load_song(folder)), report=report, cancel=cancel) as session:
        tracks = used_tracks(session.song)
        wanted = {WHOLE, *(frozenset([track.id]) for track in tracks)}
        found = contributions(session, wanted, report=report, cancel=cancel)
        profiles = profiles_of(session, report=report, cancel=cancel)
        corridor = corridor_of(session.song, profiles)
        loudness = {track.id: found[frozenset([track.id])].levels.integrated_lufs for track in tracks}
        spreads = _spreads(session, corridor, loudness, report, cancel)
        mix = found[WHOLE]
        sends = send_levels(session, report=report, cancel=cancel)
        print_fit = _print_fit(session, report, cancel)  # a print that is missing is told before the longest part
        hearing = heard(
            session,
            listening_level_db_spl=listening_level_db_spl,
            listening=listening,
            report=report,
            cancel=cancel,
        )
        hearing = beside_the_mix(session, hearing, corridor.lead_re_mix_lu, cancel)
        hearing = with_what_is_asked(session, hearing, followed(session), cancel)
        hearing = since_the_last(session, hearing, cancel)
        layers = {track: layer for layer in hearing.layers for track in layer.tracks}
        result = MeasureResult(
            mix=mix.levels,
            tracks=tuple(
                _track(
                    session.song, track, found[frozenset([track.id])], mix, spreads.get(track.id), layers.get(track.id)
                )
                for track in tracks
            ),
            sections=session.song.sections,
            print_fit=print_fit,
            moves=tuple(move.id for move in session.song.moves if move.state == "accepted"),
            sends=sends,
            hearing=hearing,
            reference_spectrum=_spectrum(corridor, [reference.file for reference in session.song.references]),
            dynamics=session.dynamics(),
            notes=not_used(session.song, profiles),
            sounding=sounding_hash(session.song, session.lanes),
        )
    write_kept(folder, "measure", result)
    write_page(folder)
    return result


def _making(song: Song) -> Making:
    return Making(
        renders=(None,) if song.mix_print else (),
        finished=finished_files(song),
        at_rate=(song.mix_print,) if song.mix_print else (),
        ledgers=1,
    )


def _track(
    song: Song,
    track: Track,
    own: Contribution,
    mix: Contribution,
    spread: Spread | None,
    layer: HeardLayer | None,
) -> TrackLevels:
    sounds = _stretches(own)
    loudness = own.levels.integrated_lufs
    return TrackLevels(
        id=track.id,
        name=track.name,
        role=track.role,
        place=track.place,
        source=source_of(track),
        group=track.group,
        integrated_lufs=loudness,
        re_mix_lu=_difference(loudness, mix.levels.integrated_lufs),
        active_s=round(sum(end - start for start, end in sounds), 3),
        levels=own.levels,
        sections=tuple(
            _section(section, own, mix, as_heard)
            for section, as_heard in itertools.zip_longest(song.sections, layer.sections if layer else ())
        ),
        sounds=sounds,
        spread=spread,
        not_heard=layer.why if layer else "muted",
        **as_fields(layer or LayerLoudness()),
    )


def _section(section: Section, own: Contribution, mix: Contribution, as_heard: LayerLoudness | None) -> SectionLevel:
    loudness = own.loudness.integrated_lufs(section.start_s, section.end_s)
    whole = mix.loudness.integrated_lufs(section.start_s, section.end_s)
    return SectionLevel(
        name=section.name,
        integrated_lufs=loudness,
        re_mix_lu=_difference(loudness, whole),
        **as_fields(as_heard or LayerLoudness()),
    )


def _difference(own: float | None, whole: float | None) -> float | None:
    return None if own is None or whole is None else own - whole


def _stretches(own: Contribution) -> tuple[tuple[float, float], ...]:
    """Return when a layer sounds: blocks of 400 ms that sound, each standing for the 100 ms in its middle."""
    active = own.sound().active()
    starts = np.flatnonzero(np.diff(active.astype(np.int8), prepend=0) == 1)
    ends = np.flatnonzero(np.diff(active.astype(np.int8), append=0) == -1) + 1
    duration = len(own.loudness.energy) / SUB_BLOCKS_PER_S
    stretches: list[tuple[float, float]] = []
    for first, last in zip(starts.tolist(), ends.tolist(), strict=True):
        start = 0.0 if first == 0 else first * _HOP_S + 0.15
        end = duration if last == len(active) else last * _HOP_S + 0.15
        if stretches and start - stretches[-1][1] < _PAUSE_S:
            start = stretches.pop()[0]
        stretches.append((round(start, 3), round(end, 3)))
    return tuple(stretches)


def _spreads(
    session: Session,
    corridor: Corridor,
    loudness: Mapping[str, float | None],
    report: Report,
    cancel: Cancel | None,
) -> dict[str, Spread]:
    """Return where engineers hold the tracks; nothing before the lead is known."""
    if not session.song.lead:
        return {}
    scene = scene_of(session, report=report, cancel=cancel)
    return spreads_of(scene, corridor, loudness) if scene.judged().any() else {}


def _spectrum(corridor: Corridor, references: Sequence[str]) -> SpectrumSpread | None:
    if not corridor.third_octave_hz:
        return None
    return SpectrumSpread(
        third_octave_hz=corridor.third_octave_hz,
        low_db=tuple(None if band is None else band.low for band in corridor.third_octave_db),
        high_db=tuple(None if band is None else band.high for band in corridor.third_octave_db),
        references=tuple(references),
    )


def _print_fit(session: Session, report: Report, cancel: Cancel | None) -> PrintFit | None:
    """Stand the sum of the layers beside the print of the mix that came with them."""
    file = session.song.mix_print
    if not file:
        return None
    path = song_path(session.folder, file)
    if not path.is_file():
        raise InputError(
            "the print of the mix is missing", where=printable(file), hint="correct mix_print in song.toml"
        )
    given = session.store.open(path, session.song.rate_hz).audio
    if given.shape[1] > 2:
        raise InputError("the print of the mix has more than two channels", where=printable(file))
    summed = session.rendered(report=report, cancel=cancel)
    look = (cancel or Cancel()).check
    aligned = lag_and_polarity(summed, given, session.song.rate_hz, search_s=_PRINT_SEARCH_S, look=look)
    lag = 0 if aligned is None else round(aligned.lag_frames)
    first, second = max(0, -lag), max(0, lag)
    frames = max(0, min(len(summed) - first, len(given) - second))
    part = np.broadcast_to(given[second : second + frames], (frames, 2))
    ours = summed[first : first + frames]
    gain, residual = fit_gain(ours, part, look=look)
    # What only one of them holds, before or after the other, is left over too.
    own, theirs = _energy(ours, cancel), _energy(part, cancel)
    all_theirs = _energy(given, cancel) * (2 / given.shape[1])
    all_own = gain**2 * _energy(summed, cancel)
    left = residual * theirs + max(0.0, all_theirs - theirs) + max(0.0, all_own - gain**2 * own)
    over = max(all_own, all_theirs)
    known = own > 0.0 and theirs > 0.0
    return PrintFit(
        file=file,
        residual_db=max(_LEAST_RESIDUAL_DB, db_from_power(left / over) or _LEAST_RESIDUAL_DB) if known else None,
        gain_db=db_from_ratio(abs(gain)) or 0.0,
        polarity="inverted" if gain < 0.0 else "normal",
        lag_frames=lag,
    )


def _energy(audio: np.ndarray, cancel: Cancel | None) -> float:
    pieces = (np.asarray(block, dtype=np.float64) for block in blocks(audio, _BLOCK_FRAMES, cancel))
    return sum(float(np.vdot(piece, piece)) for piece in pieces)
