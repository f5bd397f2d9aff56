# SPDX-License-Identifier: Apache-2.0
"""A temporary master for the client: as loud as asked, its ceiling kept after coding, and told what it costs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import get_args

from mixwright.app.beside import beside
from mixwright.app.keys import MEASURED_BY
from mixwright.app.limiting import Limiting, limiting, tracks_of_parts
from mixwright.app.mastering import MOST_REDUCTION_DB, Master, Mastering
from mixwright.app.page import write_page
from mixwright.app.preview_files import FileMaker, FileNames, FileSpec, file_spec
from mixwright.app.references import finished_files, profiles_of
from mixwright.app.scene import sounding_hash
from mixwright.app.session import Session, open_song
from mixwright.app.space import Making
from mixwright.errors import InputError, SettingError, StateError, count, listed, printable, where, with_and
from mixwright.io.coded import check_codec
from mixwright.io.kept import relative_to_song, song_path, write_kept
from mixwright.io.replace import numbered_folder
from mixwright.io.song_file import edit_song, load_song
from mixwright.io.stems import DECODED_BY
from mixwright.jobs.cache import code_hash
from mixwright.jobs.progress import Cancel, Report, silent
from mixwright.meter.measure import measure
from mixwright.model.levels import Levels
from mixwright.model.preview import (
    BusCompressor,
    PreviewFormat,
    PreviewResult,
    TargetOf,
)
from mixwright.model.song import Song, changed, sounding_tracks, used_tracks
from mixwright.planning.restoring import MOST_DB, with_moves
from mixwright.version import __version__

FOLDER = "previews"
FORMATS: tuple[PreviewFormat, ...] = get_args(PreviewFormat)
DEFAULT_FORMATS: tuple[PreviewFormat, ...] = ("wav", "mp3")
#: The ceiling that AES TD1008 asks for at the input of a codec.
CEILING_DBTP = -1.0
#: The loudness to which most services play music: common practice, no source.
USUAL_LUFS = -14.0
TARGETS_LUFS = (-40.0, -3.0)
CEILINGS_DBTP = (-9.0, 0.0)
REDUCTIONS_DB = (0.0, 24.0)
RATES_HZ = (8000, 192000)

#: Bytes of a frame of a stereo file, at most.
_BYTES: dict[PreviewFormat, int] = {"wav": 6, "flac": 7, "mp3": 4, "opus": 2, "aac": 2}


def preview(
    song: Path,
    *,
    target_lufs: float | None = None,
    target_of: TargetOf | None = None,
    most_reduction_db: float = MOST_REDUCTION_DB,
    formats: Sequence[PreviewFormat] = DEFAULT_FORMATS,
    rate_hz: int | None = None,
    ceiling_dbtp: float = CEILING_DBTP,
    compress: bool = True,
    propose: bool = False,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> PreviewResult:
    """Write a preview of the mix as it stands: as loud as the client expects, and neither the mix nor a master.

    Gain comes first, the limiter takes what is too much for it; a bus compressor is used only where the bound on the
    limiter would keep the preview below its target, and it helps. Every file is decoded again: where coding raises its
    peaks above the ceiling the limiter is lowered for that file, at the same loudness. The files go into a new folder
    ``previews/001``, ``002``, ... that appears when they are complete.

    Parameters
    ----------
    song : Path
        The song folder.
    target_lufs : float, optional
        Integrated loudness, -40 to -3 LUFS.
    target_of : {"rough", "references", "usual"}, optional
        As loud as the rough mix, as the softest reference, or -14 LUFS. Without either: the first of these that is
        there.
    most_reduction_db : float
        What the limiter may take off at the highest peak, 0 to 24 dB. Where that is too little for the target the
        preview is softer, and says so.
    formats : sequence of {"wav", "flac", "mp3", "opus", "aac"}
        WAV and FLAC have 24 bits.
    rate_hz : int, optional
        Of the files, 8000 to 192000; that of the song if not given. Codecs that do not know it take the nearest.
    ceiling_dbtp : float
        Of every file as decoded, -9 to 0.
    compress : bool
        Whether a bus compressor may be used.
    propose : bool
        Write the moves that restore what limiting changed into the song, to be decided.
    report, cancel
        Progress and stop switch.

    Raises
    ------
    SettingError
        when an option is not allowed
    StateError
        when the mix is silent, or there is no rough or reference that is asked for
    InputError, SettingError
        as from `open_song`
    OutputError
        when the disk is full or cannot be written
    """
    song = Path(song)
    said = load_song(song)
    formats = tuple(dict.fromkeys(formats))
    _check(said, target_lufs, target_of, most_reduction_db, formats, rate_hz, ceiling_dbtp)
    specs = [file_spec(one, rate_hz or said.rate_hz) for one in formats]
    with open_song(song, _making(said, specs, target_lufs, target_of), report=report, cancel=cancel) as session:
        mix = session.rendered(report=report, cancel=cancel)
        levels = session.levels(report=report, cancel=cancel)
        wanted_of = _target_of(said, target_lufs, target_of)
        rough_lufs = _rough_lufs(session, wanted_of == "rough", cancel) if said.rough else None
        wanted_lufs = _target_lufs(session, wanted_of, target_lufs, rough_lufs, cancel)
        mastering = Mastering(
            session,
            mix,
            wanted_lufs,
            ceiling_dbtp,
            most_reduction_db=most_reduction_db,
            compress=compress,
            report=report,
            cancel=cancel,
        )
        names = FileNames(session.song, specs)
        with numbered_folder(song / FOLDER, names.take) as folder:
            maker = FileMaker(session, mix, mastering, wanted_lufs, ceiling_dbtp, report, cancel)
            made = [maker.file(folder.building / names.now[k], spec) for k, spec in enumerate(specs)]
            most = max(range(len(made)), key=lambda k: made[k][0].limiter.mean_db)
            found = limiting(session, mix, made[most][1], mastering, report=report, cancel=cancel)
        compressed = made[most][1]
        result = PreviewResult(
            folder=relative_to_song(song, folder.path),
            files=tuple(changed(file, file=name) for (file, _), name in zip(made, names.now, strict=True)),
            target_lufs=wanted_lufs,
            target_of=wanted_of,
            ceiling_dbtp=ceiling_dbtp,
            most_reduction_db=most_reduction_db,
            mix=levels,
            rough_lufs=rough_lufs,
            compressor=_compressor(compressed),
            limited_file=names.now[most] if found.limited else "",
            limited=found.limited,
            moves=found.moves,
            restored=found.restored,
            proposed=propose and bool(found.moves),
            song_moves=tuple(move.id for move in session.song.moves if move.state == "accepted"),
            notes=_notes(session, found),
            sounding=sounding_hash(session.song, session.lanes),
            engine=__version__,
        )
    with beside(f"{printable(result.folder)} is written and whole, but the song keeps nothing of it: "):
        if result.proposed:
            edit_song(song, "preview: what restores the balance", lambda now: with_moves(now, result.moves))
        write_kept(song, "preview", result)
    write_page(song)
    return result


def _check(
    song: Song,
    target_lufs: float | None,
    target_of: TargetOf | None,
    most_reduction_db: float,
    formats: Sequence[PreviewFormat],
    rate_hz: int | None,
    ceiling_dbtp: float,
) -> None:
    """Refuse what is not allowed, before any work is done."""
    for option, value, (low, high) in (
        ("target", target_lufs, TARGETS_LUFS),
        ("most-reduction", most_reduction_db, REDUCTIONS_DB),
        ("ceiling", ceiling_dbtp, CEILINGS_DBTP),
        ("rate", rate_hz, RATES_HZ),
    ):
        if value is not None and not low <= value <= high:
            raise SettingError(f"{value:g} is not from {low:g} to {high:g}", where=f"--{option}")
    if target_lufs is not None and target_of is not None:
        raise SettingError("two targets are given", where="--target-of", hint="give either --target or --target-of")
    unknown = [one for one in formats if one not in FORMATS]
    if unknown or not formats:
        shown = printable(unknown[0]) if unknown else "nothing"
        raise SettingError(f"{shown} is no format", where="--format", hint=f"known: {', '.join(FORMATS)}")
    for one in formats:
        if one != "wav":
            check_codec(one)
    if target_of == "rough" and not song.rough:
        raise StateError(
            "the song has no rough mix", where="--target-of rough", hint="name one in song.toml, or --target"
        )
    if target_of == "references" and not song.references:
        raise StateError("the song has no references", where="--target-of references", hint="or give --target")


def _making(song: Song, specs: Sequence[FileSpec], target_lufs: float | None, target_of: TargetOf | None) -> Making:
    """Return what a preview takes: mix, lead and drums as they stand in it, gains for every ceiling, and the files."""
    tracks = tracks_of_parts(song)
    size = sum(2 * _BYTES[spec.format] * spec.rate_hz / song.rate_hz for spec in specs)
    finished = [song.rough] if song.rough else []
    finished += finished_files(song) if _target_of(song, target_lufs, target_of) == "references" else []
    return Making(
        renders=(None, *(one for one in tracks.values() if one)),
        bytes_a_frame=math.ceil(size),
        finished=tuple(finished),
        bytes_kept_a_frame=8 * (1 + len(specs)),
    )


def _target_of(song: Song, target_lufs: float | None, target_of: TargetOf | None) -> TargetOf:
    """Return where the loudness that a preview is to have comes from: what is asked for, else what the song has."""
    if target_lufs is not None:
        return "given"
    of: TargetOf = target_of or ("rough" if song.rough else "references")
    return "usual" if of == "references" and not song.references else of


def _target_lufs(
    session: Session, of: TargetOf, given_lufs: float | None, rough_lufs: float | None, cancel: Cancel | None
) -> float:
    """Return the loudness that a preview is to have."""
    if of == "given":
        assert given_lufs is not None
        return given_lufs
    if of == "rough":
        assert rough_lufs is not None
        found = rough_lufs
    elif of == "references":
        known = [one.integrated_lufs for one in profiles_of(session, cancel=cancel)]
        heard = [lufs for lufs in known if lufs is not None]
        if not heard:
            raise StateError("no reference is a single song, whose loudness is known", hint="give --target")
        found = min(heard)
    else:
        return USUAL_LUFS
    low, high = TARGETS_LUFS
    return min(high, max(low, round(found, 2)))


def _rough_lufs(session: Session, needed: bool, cancel: Cancel | None) -> float | None:
    """Return the loudness of the rough mix, measured once; None where it cannot be used and is not needed.

    Raises
    ------
    InputError
        when it is needed and missing, silent, or cannot be used
    """
    try:
        return _loudness_of_rough(session, cancel)
    except InputError:
        if needed:
            raise
        return None


def _loudness_of_rough(session: Session, cancel: Cancel | None) -> float:
    file = session.song.rough
    with where(printable(file)):
        path = song_path(session.folder, file)
        if not path.is_file():
            raise InputError("the rough mix is missing", hint="find it with `mixwright relink SONG FOLDER`")
        stem = session.store.open(path)
        key = session.cache.key("levels of a file", stem.sha256, code_hash(*MEASURED_BY, *DECODED_BY))
        levels = session.cache.record(
            key, Levels, lambda: measure(stem.audio, stem.rate_hz, spectrum=False, dual_mono=True, cancel=cancel)
        )
        if levels.integrated_lufs is None:
            raise InputError("the rough mix is silent, or too short to be measured", hint="give --target")
    return levels.integrated_lufs


def _compressor(master: Master) -> BusCompressor | None:
    if master.settings.compressor is None or master.compressed is None:
        return None
    return BusCompressor(settings=master.settings.compressor, reduction=master.compressed)


def _notes(session: Session, found: Limiting) -> tuple[str, ...]:
    song, notes = session.song, []
    undecided = [move.id for move in song.moves if move.state == "proposed"]
    if undecided:
        notes.append(f"Not in it: {count(len(undecided), 'proposed move')} that wait to be decided.")
    sounding = {track.id for track in sounding_tracks(song)}
    muted = [track.id for track in used_tracks(song) if track.id not in sounding]
    if muted:
        notes.append(f"Muted in it: {listed(muted)}.")
    if song.master.limiter is not None:
        notes.append("The mix has a limiter of its own: the one of the preview comes on top of it.")
    for part, sections in found.in_vain:
        place = f" in {with_and(sections)}" if sections else ""
        notes.append(
            f"No level of up to {MOST_DB:g} dB before the limiter restores the {part}{place}: "
            "what it is given is limited, too. A softer preview takes less."
        )
    if found.moves and session.graph.dynamics:
        notes.append("What restores the balance is foretold with the gains of the mix's own compressors as they are.")
    return tuple(notes)
