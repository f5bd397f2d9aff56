# SPDX-License-Identifier: Apache-2.0
"""Find the audio files of a delivery and listen to each: what `start` and `refresh` share."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from mixwright.app.space import received_bytes
from mixwright.errors import (
    InputError,
    LimitError,
    MixwrightError,
    NoDecoderError,
    SettingError,
    listed,
    printable,
)
from mixwright.intake.faults import problem_kind
from mixwright.intake.listening import Listening, listen
from mixwright.intake.receive import ReceivedFile
from mixwright.io.decode import Decoder
from mixwright.io.header import is_archive
from mixwright.io.kept import relative_to_song
from mixwright.io.song_file import SONG_FILE
from mixwright.io.stems import DECODED_BY, Outlook, StemStore
from mixwright.jobs.cache import Cache, code_hash
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.jobs.space import require_space

#: Files with these endings are listed even if they cannot be read; others are ignored then.
AUDIO_ENDINGS = frozenset(
    f".{ending}"
    for ending in (
        *("wav", "wave", "rf64", "w64", "bwf", "aif", "aiff", "aifc", "caf", "flac", "mp3", "ogg", "oga", "opus"),
        *("m4a", "aac", "alac", "wma", "mp2", "ac3", "au", "snd", "sd2", "ape", "wv"),
    )
)
_SYSTEM = frozenset({"thumbs.db", "desktop.ini", "__macosx", "icon\r"})
_LISTENING = (*(f"mixwright.intake.{name}" for name in ("listening", "flat_runs", "timbre")), *DECODED_BY)
_MOST_TRACKS = 1000
#: Tracks lie in the folder itself or in a folder in it; what lies deeper is counted as ignored.
_LEVELS = 2


@dataclass(frozen=True)
class Delivery:
    """The audio files of a delivery in natural order, how each is shown, and what else lies there.

    `ignored`: how many files were left aside, and of these `system`: written by an operating system, not by a person.
    `notes`: what lies there and may be meant, one sentence each.
    """

    files: tuple[tuple[Path, str], ...]
    root: Path
    ignored: int = 0
    system: int = 0
    notes: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """Name of the folder."""
        return printable(self.root.name) or "Song"


@dataclass(frozen=True)
class _Found:
    """A file as it was met: `deep` where it lies too far down to be a track, `system` where no person put it there."""

    path: Path
    label: str
    deep: bool = False
    system: bool = False


def find_delivery(tracks: Path | Sequence[Path], given: Sequence[Path], decoder: Decoder) -> Delivery:
    """List what is to be received: by content, or by its ending where the content cannot be read.

    Whatever stands there under the name of an audio file is listed, even a pipe or a link that leads nowhere; none of
    these is ever opened. Folders of other songs are left alone.
    """
    named = [Path(tracks)] if isinstance(tracks, str | Path) else [Path(path) for path in tracks]
    # Not of Path: there a name that is too long is an error.
    folders = {path: Path(os.path.realpath(path)) for path in named if os.path.isdir(path)}  # noqa: PTH112
    closed: list[str] = []
    met: dict[str, _Found] = {}
    for path in named:
        _check_named(path)
        folder = folders.get(path)
        for found in _walk(folder, closed) if folder else [_Found(path.absolute(), path.name)]:
            shown = f"{folder.name}/{found.label}" if folder and len(folders) > 1 else found.label
            place = os.path.realpath(found.path)
            if place not in met or (met[place].deep and not found.deep):
                met[place] = replace(found, label=shown)
    places = [folders.get(path) or Path(os.path.realpath(path)).parent for path in named]
    root = Path(os.path.commonpath(places)) if places else Path()
    for path in given:
        met.pop(os.path.realpath(path), None)
    audio = [found for found in met.values() if not found.deep and not found.system and _is_audio(found.path, decoder)]
    if len(audio) > _MOST_TRACKS:
        raise LimitError(
            f"{len(audio)} audio files, more than {_MOST_TRACKS}",
            where=printable(root),
            hint="name the folder of one song",
        )
    left = [found for found in met.values() if found not in audio]
    return Delivery(
        files=tuple((found.path, found.label) for found in sorted(audio, key=lambda found: _natural(found.label))),
        root=root,
        ignored=len(left),
        system=sum(found.system for found in left),
        notes=(*_closed_notes(closed), *_left_notes([found for found in left if not found.system])),
    )


def _check_named(path: Path) -> None:
    """Refuse what is named as a delivery and cannot be one."""
    if not os.path.lexists(path):
        raise InputError("is not there", where=printable(path), hint="name the folder that holds the tracks")
    if path.is_file() and _is_archive(path):
        raise InputError("is an archive, not a folder", where=printable(path), hint="unpack it, and name the folder")


def _closed_notes(closed: Sequence[str]) -> list[str]:
    return [f"{told}: see who may read it." for told in closed]


def _left_notes(left: Sequence[_Found]) -> list[str]:
    """Return what was left aside and may be meant: packed files, and audio that lies too deep."""
    notes = []
    packed = [found.label for found in left if not found.deep and found.path.is_file() and _is_archive(found.path)]
    if packed:
        what = "is an archive and was" if len(packed) == 1 else "are archives and were"
        notes.append(f"{listed(packed, 4)} {what} not opened: unpack {'it' if len(packed) == 1 else 'them'}.")
    deep = [found.label for found in left if found.deep and found.path.suffix.lower() in AUDIO_ENDINGS]
    if deep:
        lies, its = ("lies", "its folder") if len(deep) == 1 else ("lie", "their folders")
        was = "was" if len(deep) == 1 else "were"
        notes.append(f"{listed(deep, 4)} {lies} more than one folder down and {was} not read: name {its}, too.")
    return notes


def _walk(root: Path, closed: list[str], label: str = "", depth: int = _LEVELS) -> Iterator[_Found]:
    """Yield what lies in a folder and in those in it, one level deeper than is used; not in those of other songs.

    Folders that cannot be read are added to `closed`, as told; the first one of all is an error.
    """
    try:
        inside = sorted(root.iterdir())
    except OSError as error:
        reason = error.strerror or "it is not readable"
        if not label:
            raise InputError(f"cannot be read ({reason})", where=printable(root), hint="see who may read it") from error
        closed.append(f"The folder {printable(label[:-1])} cannot be read ({reason})")
        return
    for path in inside:
        system = _is_hidden(path)
        if not path.is_dir():
            yield _Found(path, label + path.name, deep=depth == 0, system=system)
        elif depth and not (path / SONG_FILE).exists():
            for found in _walk(path, closed, f"{label}{path.name}/", depth - 1):
                yield replace(found, system=system or found.system)


def _is_hidden(path: Path) -> bool:
    return path.name.startswith(".") or path.name.lower() in _SYSTEM


def _is_archive(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return is_archive(file.read(8))
    except OSError:
        return False


def _is_audio(path: Path, decoder: Decoder) -> bool:
    if path.suffix.lower() in AUDIO_ENDINGS:
        return True
    try:
        decoder.probe(path)
    except (NoDecoderError, LimitError):
        return True
    except InputError:
        return False
    return True


def check_space(into: Path, look: Callable[[Path], Outlook], paths: Iterable[Path], report: Report = silent) -> None:
    """State beforehand, and refuse, what the disk cannot hold: every track decoded to floating point, once.

    Parameters
    ----------
    into : Path
        The song folder.
    look : callable
        Returns what opening a file takes.
    paths : iterable of Path
        The files; one that cannot be read takes nothing, and is told by whoever opens it.
    report : Report
        Told of it when it is much.
    """
    outlooks = []
    for path in paths:
        with suppress(InputError):
            outlooks.append(look(path))
    require_space([(into, received_bytes(outlooks))], report)


def nothing_known(decoder: Decoder) -> Callable[[Path], Outlook]:
    """Return what tells of files by their headers, where there is no cache yet."""

    def look(path: Path) -> Outlook:
        info = decoder.probe(path)
        return Outlook(info.frames, info.channels, 4 * info.channels * info.frames)

    return look


def _natural(label: str) -> tuple[tuple[int, int, str], ...]:
    """Return a key that sorts "Tom 2" before "Tom 10", whatever the case."""
    pieces = re.findall(r"[0-9]+|[^0-9]+", label.lower())
    return (*((0, int(p), "") if p[0] in "0123456789" else (1, 0, p) for p in pieces), (1, 0, label))


def listen_to_all(
    store: StemStore,
    cache: Cache,
    into: Path,
    files: Sequence[tuple[Path, str]],
    report: Report = silent,
    cancel: Cancel | None = None,
) -> list[ReceivedFile]:
    """Return every file as intake takes it, in order, heard by a few threads."""
    job = Job("reading tracks", max(1, len(files)), report, cancel)

    def one(item: tuple[Path, str]) -> ReceivedFile:
        received = _listen_to(store, cache, into, *item, cancel)
        job.step()
        return received

    return list(in_order(one, files))


def _listen_to(
    store: StemStore, cache: Cache, into: Path, path: Path, label: str, cancel: Cancel | None
) -> ReceivedFile:
    """Return a file as intake takes it, heard once per content; what is wrong with it is told, not raised."""
    file = relative_to_song(into, path)
    try:
        file.encode("utf-8")
    except UnicodeEncodeError:
        return ReceivedFile(file=printable(file), label=label, problem="its name is not valid text: rename it")
    try:
        stem = store.open(path)
    except (InputError, SettingError) as error:
        return ReceivedFile(file=file, label=label, problem=_problem(error), problem_kind=problem_kind(error))
    key = cache.key("listening", stem.sha256, code_hash(*_LISTENING, core=False))
    heard = cache.record(key, Listening, lambda: listen(stem.audio, stem.rate_hz, cancel))
    return ReceivedFile(file=file, label=label, sha256=stem.sha256, info=stem.info, heard=heard, audio=stem.audio)


def _problem(error: MixwrightError) -> str:
    return f"{error.message}; {error.hint}" if error.hint else error.message
