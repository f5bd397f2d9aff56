# SPDX-License-Identifier: Apache-2.0
"""Make a song of a folder of received tracks."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from pathlib import Path

from mixwright.app.page import write_page
from mixwright.app.receiving import Delivery, check_space, find_delivery, listen_to_all, nothing_known
from mixwright.errors import InputError, OutputError, SettingError, printable, where
from mixwright.intake.ids import Ids, slug
from mixwright.intake.receive import Intake, receive
from mixwright.io.decode import Decoder
from mixwright.io.hashing import file_sha256
from mixwright.io.kept import relative_to_song, write_kept
from mixwright.io.replace import is_left, new_folder
from mixwright.io.song_file import SONG_FILE, create_song
from mixwright.io.stems import Outlook, StemStore
from mixwright.jobs.cache import Cache
from mixwright.jobs.progress import Cancel, Report, silent
from mixwright.model.audio import AudioInfo
from mixwright.model.results import StartResult
from mixwright.model.song import RESERVED, Reference, changed

_CACHE = "cache"


def start(
    tracks: Path | Sequence[Path],
    into: Path,
    *,
    references: Sequence[Path] = (),
    rough: Path | None = None,
    as_mixed: bool = False,
    mix_print: Path | None = None,
    rate_hz: int | None = None,
    title: str | None = None,
    tempo_bpm: float | None = None,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> StartResult:
    """Read every track of a delivery and make a song: names, roles, places, faults, sections.

    Received files are never changed. A faulty file does not stop the rest: it is listed and left out.

    Parameters
    ----------
    tracks : Path or sequence of Path
        The folder that holds the tracks (folders in it are searched too, one level deep), or several folders and
        files.
    into : Path
        The song folder to make; nothing may be there but the cache that a stopped `start` left, from which this goes
        on.
    references : sequence of Path
        Finished records to stand the mix beside.
    rough : Path, optional
        The artist's rough mix. If not given, and one file among the tracks reads as a mix, it is that.
    as_mixed : bool
        The tracks are layers mixed elsewhere: faders and positions stay as they are.
    mix_print : Path, optional
        The mix that layers *as mixed* sum to.
    rate_hz : int, optional
        Sample rate of the song; that of most track time if not given.
    title : str, optional
        Name of the song; that of the tracks' folder if not given.
    tempo_bpm : float, optional
        Quarter notes a minute; estimated if not given.
    report, cancel
        Progress and the user's switch to stop.

    Raises
    ------
    InputError
        when no track, or a reference, can be used; nothing is written then
    OutputError
        when `into` exists or cannot be written
    SettingError
        when settings do not go together
    """
    into = Path(into)
    _check_range(rate_hz, 8000, 384000, "rate_hz", "Hz")
    _check_range(tempo_bpm, 20, 400, "tempo_bpm", "beats a minute")
    if mix_print is not None and not as_mixed:
        raise SettingError("a print of the mix goes with layers as mixed", where="mix_print", hint="say as_mixed too")
    if os.path.lexists(into) and not is_left(into, _CACHE):
        raise OutputError("exists already and is never overwritten", where=printable(into), hint="choose another name")
    for path in [Path(tracks)] if isinstance(tracks, str | Path) else tracks:
        if os.path.isfile(Path(path) / SONG_FILE):  # noqa: PTH113 - Path.is_file is an error where a name is too long
            hint = "name the folder that holds the tracks; `refresh` adds new ones to a song"
            raise InputError("is a song already, not a folder of tracks", where=printable(path), hint=hint)
    given = [Path(path) for path in (*references, *(path for path in (rough, mix_print) if path is not None))]
    with Decoder(cancel=cancel) as decoder:
        for path in given:
            with where(printable(path)):
                _check_finished(decoder.probe(path))
        delivery = find_delivery(tracks, given, decoder)
        check_space(into, _outlook(into, decoder, cancel), (path for path, _ in delivery.files), report)
        with new_folder(into, keep=_CACHE) as folder:
            intake = _understand(
                delivery, folder, into, decoder, report, cancel,
                title=title or delivery.title, rate_hz=rate_hz, tempo_bpm=tempo_bpm, as_mixed=as_mixed,
            )  # fmt: skip
            song = changed(
                intake.song,
                references=_references(references, into, cancel),
                **_finished("rough", rough, into, cancel),
                **_finished("mix_print", mix_print, into, cancel),
            )
            what = "mix_print" if as_mixed else "rough"
            if len(intake.prints) == 1 and not getattr(song, what):
                found = song.tracks[intake.prints[0]]
                song = changed(song, **{what: found.file, f"{what}_sha256": found.sha256})
            create_song(folder, song)
            notes = [f"The sections are those that marks in {intake.marked} name."] if intake.marked else []
            result = StartResult(
                folder=str(into),
                title=song.title,
                rate_hz=song.rate_hz,
                duration_s=intake.duration_s,
                tempo_bpm=song.tempo_bpm,
                lead_guess=intake.lead_guess,
                tracks=intake.tracks,
                sections=song.sections,
                references=tuple(reference.file for reference in song.references),
                rough=song.rough or None,
                questions=intake.questions,
                ignored_files=delivery.ignored,
                system_files=delivery.system,
                notes=(*delivery.notes, *notes),
                sources=intake.sources,
            )
            write_kept(folder, "intake", result)
    write_page(into)
    return result


def _outlook(into: Path, decoder: Decoder, cancel: Cancel | None) -> Callable[[Path], Outlook]:
    """Return what tells how much room a file takes that is opened."""
    if is_left(into, _CACHE):
        return StemStore(Cache(into / _CACHE, cancel), decoder, cancel).outlook
    return nothing_known(decoder)


def _check_finished(info: AudioInfo) -> None:
    if info.channels > 2:
        raise InputError(f"{info.channels} channels; a finished mix has one or two", hint="give a stereo version")
    if info.frames == 0:
        raise InputError("holds no audio", hint="export it again")


def _check_range(value: float | None, low: int, high: int, name: str, unit: str) -> None:
    if value is not None and not low <= value <= high:
        raise SettingError(f"{value:g} is not allowed", where=name, hint=f"{low} to {high} {unit}")


def _understand(
    delivery: Delivery,
    folder: Path,
    into: Path,
    decoder: Decoder,
    report: Report,
    cancel: Cancel | None,
    *,
    title: str,
    rate_hz: int | None,
    tempo_bpm: float | None,
    as_mixed: bool,
) -> Intake:
    """Listen to every file, on a few threads, and understand them together. Maps of audio end with this call."""
    kept = folder / _CACHE
    with Cache(kept, cancel) as cache, StemStore(cache, decoder, cancel) as store, where(printable(delivery.root)):
        files = listen_to_all(store, cache, into, delivery.files, report, cancel)
        return receive(files, title=title, rate_hz=rate_hz, tempo_bpm=tempo_bpm, as_mixed=as_mixed, cancel=cancel)


def _finished(what: str, path: Path | None, into: Path, cancel: Cancel | None) -> dict[str, str]:
    """Return the fields of a finished mix that was given."""
    if path is None:
        return {}
    return {what: relative_to_song(into, Path(path)), f"{what}_sha256": file_sha256(Path(path), cancel=cancel)}


def _references(references: Sequence[Path], into: Path, cancel: Cancel | None) -> tuple[Reference, ...]:
    ids = Ids(set(RESERVED))
    return tuple(
        Reference(
            id=ids.new(slug(Path(path).stem) or "reference"),
            file=relative_to_song(into, Path(path)),
            sha256=file_sha256(Path(path), cancel=cancel),
        )
        for path in references
    )
