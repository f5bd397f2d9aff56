# SPDX-License-Identifier: Apache-2.0
"""Make a song of a folder of received tracks."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from mixwright.app.page import write_page
from mixwright.errors import InputError, LimitError, MixwrightError, OutputError, SettingError, printable, where
from mixwright.intake.ids import Ids, slug
from mixwright.intake.listening import Listening, listen
from mixwright.intake.receive import Intake, ReceivedFile, receive
from mixwright.io.decode import Decoder
from mixwright.io.hashing import file_sha256
from mixwright.io.kept import relative_to_song, write_kept
from mixwright.io.replace import new_folder
from mixwright.io.song_file import SONG_FILE, create_song
from mixwright.io.stems import StemStore
from mixwright.jobs.cache import Cache, code_hash
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.model.audio import AudioInfo
from mixwright.model.results import StartResult
from mixwright.model.song import MASTER, Reference, changed

#: Files with these endings are listed even if they cannot be read; others are ignored then.
_AUDIO = frozenset(
    f".{ending}"
    for ending in (
        *("wav", "wave", "rf64", "w64", "bwf", "aif", "aiff", "aifc", "caf", "flac", "mp3", "ogg", "oga", "opus"),
        *("m4a", "aac", "alac", "wma", "mp2", "ac3", "au", "snd", "sd2", "ape", "wv"),
    )
)
_SYSTEM = frozenset({"thumbs.db", "desktop.ini", "__macosx", "icon\r"})
_LISTENING = tuple(f"mixwright.intake.{name}" for name in ("listening", "flat_runs", "timbre"))
_MOST_TRACKS = 1000
#: Tracks lie in the folder itself or in a folder in it; what lies deeper is counted as ignored.
_LEVELS = 2


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
        The song folder to make; nothing may be there.
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
    if into.exists():
        raise OutputError("exists already and is never overwritten", where=printable(into), hint="choose another name")
    given = [Path(path) for path in (*references, *(path for path in (rough, mix_print) if path is not None))]
    with Decoder() as decoder:
        for path in given:
            with where(printable(path)):
                _check_finished(decoder.probe(path))
        delivery = _find(tracks, given, decoder)
        _check_space(delivery, into, decoder)
        with new_folder(into) as folder:
            intake = _understand(
                delivery, folder, into, decoder, report, cancel,
                title=title or delivery.title, rate_hz=rate_hz, tempo_bpm=tempo_bpm, as_mixed=as_mixed,
            )  # fmt: skip
            song = changed(
                intake.song,
                references=_references(references, into),
                rough=relative_to_song(into, rough) if rough else "",
                mix_print=relative_to_song(into, mix_print) if mix_print else "",
            )
            if len(intake.prints) == 1:
                found = song.tracks[intake.prints[0]].file
                song = changed(song, **({} if as_mixed or song.rough else {"rough": found}))
                song = changed(song, **({"mix_print": found} if as_mixed and not song.mix_print else {}))
            create_song(folder, song)
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
                sources=intake.sources,
            )
            write_kept(folder, "intake", result)
    write_page(into)
    return result


def _check_finished(info: AudioInfo) -> None:
    if info.channels > 2:
        raise InputError(f"{info.channels} channels; a finished mix has one or two", hint="give a stereo version")
    if info.frames == 0:
        raise InputError("holds no audio", hint="export it again")


def _check_range(value: float | None, low: int, high: int, name: str, unit: str) -> None:
    if value is not None and not low <= value <= high:
        raise SettingError(f"{value:g} is not allowed", where=name, hint=f"{low} to {high} {unit}")


@dataclass(frozen=True)
class _Delivery:
    """The audio files of a delivery in natural order, how each is shown, and how many files were ignored."""

    files: tuple[tuple[Path, str], ...]
    root: Path
    ignored: int

    @property
    def title(self) -> str:
        """Name of the folder."""
        return printable(self.root.name) or "Song"


def _find(tracks: Path | Sequence[Path], given: Sequence[Path], decoder: Decoder) -> _Delivery:
    """List what is to be received: by content, or by its ending where the content cannot be read."""
    named = [Path(tracks)] if isinstance(tracks, str | Path) else [Path(path) for path in tracks]
    several = sum(path.is_dir() for path in named) > 1
    listed: dict[Path, tuple[Path, str, bool]] = {}
    for path in named:
        if not path.exists():
            raise InputError("is not there", where=printable(path), hint="name the folder that holds the tracks")
        folder = path.resolve()
        inside = [(file, file.relative_to(folder).as_posix()) for file in _walk(folder)]
        for file, label in inside if path.is_dir() else [(path.absolute(), path.name)]:
            shown = f"{folder.name}/{label}" if several and path.is_dir() else label
            listed.setdefault(file.resolve(), (file, shown, label.count("/") >= _LEVELS))
    folders = [path.resolve() if path.is_dir() else path.resolve().parent for path in named]
    root = Path(os.path.commonpath(folders)) if folders else Path()
    own = {path.resolve() for path in given}
    files = [
        (path, label)
        for path, label, deep in listed.values()
        if not deep and path.resolve() not in own and _is_audio(path, decoder)
    ]
    if len(files) > _MOST_TRACKS:
        raise LimitError(f"{len(files)} audio files, more than {_MOST_TRACKS}", where=printable(root))
    ignored = len(listed.keys() - own) - len(files)
    return _Delivery(tuple(sorted(files, key=lambda item: _natural(item[1]))), root, ignored)


def _walk(root: Path, depth: int = _LEVELS) -> Iterator[Path]:
    """Yield the files of a folder and of those in it, one level deeper than is used; not those of other songs."""
    for path in root.iterdir() if root.is_dir() else ():
        if path.is_dir():
            if depth and not _is_hidden(path) and not (path / SONG_FILE).exists():
                yield from _walk(path, depth - 1)
        elif path.is_file():
            yield path


def _is_hidden(path: Path) -> bool:
    return path.name.startswith(".") or path.name.lower() in _SYSTEM


def _is_audio(path: Path, decoder: Decoder) -> bool:
    if _is_hidden(path):
        return False
    if path.suffix.lower() in _AUDIO:
        return True
    try:
        decoder.probe(path)
    except InputError:
        return False
    return True


def _check_space(delivery: _Delivery, into: Path, decoder: Decoder) -> None:
    """Refuse beforehand what the disk cannot hold: every track decoded to floating point, once."""
    needed = 0
    for path, _ in delivery.files:
        try:
            info = decoder.probe(path)
        except InputError:
            continue
        needed += 4 * info.channels * info.frames
    parent = next((folder for folder in into.absolute().parents if folder.exists()), into)
    free = shutil.disk_usage(parent).free
    if needed > free:
        raise OutputError(
            f"{len(delivery.files)} tracks take {needed / 1e9:.1f} GB when decoded, {free / 1e9:.1f} GB are free",
            where=printable(into),
            hint="free some space, or choose a folder on another disk",
        )


def _natural(label: str) -> tuple[tuple[int, int, str], ...]:
    """Return a key that sorts "Tom 2" before "Tom 10", whatever the case."""
    pieces = re.findall(r"[0-9]+|[^0-9]+", label.lower())
    return (*((0, int(p), "") if p[0] in "0123456789" else (1, 0, p) for p in pieces), (1, 0, label))


def _understand(
    delivery: _Delivery,
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
    with Cache(folder / "cache") as cache, StemStore(cache, decoder) as store, where(printable(delivery.root)):
        job = Job("reading tracks", max(1, len(delivery.files)), report, cancel)

        def one(item: tuple[Path, str]) -> ReceivedFile:
            received = _listen(store, cache, into, *item)
            job.step()
            return received

        files = list(in_order(one, delivery.files))
        return receive(files, title=title, rate_hz=rate_hz, tempo_bpm=tempo_bpm, as_mixed=as_mixed)


def _listen(store: StemStore, cache: Cache, into: Path, path: Path, label: str) -> ReceivedFile:
    file = relative_to_song(into, path)
    try:
        file.encode("utf-8")
    except UnicodeEncodeError:
        return ReceivedFile(file=printable(file), label=label, problem="its name is not valid text: rename it")
    try:
        stem = store.open(path)
    except (InputError, SettingError) as error:
        return ReceivedFile(file=file, label=label, problem=_problem(error))
    key = cache.key("listening", stem.sha256, code_hash(*_LISTENING, core=False))
    heard = cache.record(key, Listening, lambda: listen(stem.audio, stem.rate_hz))
    return ReceivedFile(file=file, label=label, sha256=stem.sha256, info=stem.info, heard=heard, audio=stem.audio)


def _problem(error: MixwrightError) -> str:
    return f"{error.message}; {error.hint}" if error.hint else error.message


def _references(references: Sequence[Path], into: Path) -> tuple[Reference, ...]:
    ids = Ids({MASTER})
    return tuple(
        Reference(
            id=ids.new(slug(Path(path).stem) or "reference"),
            file=relative_to_song(into, Path(path)),
            sha256=file_sha256(Path(path)),
        )
        for path in references
    )
