# SPDX-License-Identifier: Apache-2.0
"""Find the audio files of a delivery and listen to each: what `start` and `refresh` share."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from mixwright.errors import InputError, LimitError, MixwrightError, OutputError, SettingError, printable
from mixwright.intake.listening import Listening, listen
from mixwright.intake.receive import ReceivedFile
from mixwright.io.decode import Decoder
from mixwright.io.kept import relative_to_song
from mixwright.io.song_file import SONG_FILE
from mixwright.io.stems import StemStore
from mixwright.jobs.cache import Cache, code_hash
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent

#: Files with these endings are listed even if they cannot be read; others are ignored then.
AUDIO_ENDINGS = frozenset(
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


@dataclass(frozen=True)
class Delivery:
    """The audio files of a delivery in natural order, how each is shown, and how many files were ignored."""

    files: tuple[tuple[Path, str], ...]
    root: Path
    ignored: int

    @property
    def title(self) -> str:
        """Name of the folder."""
        return printable(self.root.name) or "Song"


def find_delivery(tracks: Path | Sequence[Path], given: Sequence[Path], decoder: Decoder) -> Delivery:
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
    return Delivery(tuple(sorted(files, key=lambda item: _natural(item[1]))), root, ignored)


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
    if path.suffix.lower() in AUDIO_ENDINGS:
        return True
    try:
        decoder.probe(path)
    except InputError:
        return False
    return True


def check_space(delivery: Delivery, into: Path, decoder: Decoder) -> None:
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
        what = "1 track takes" if len(delivery.files) == 1 else f"{len(delivery.files)} tracks take"
        raise OutputError(
            f"{what} {needed / 1e9:.1f} GB when decoded, {free / 1e9:.1f} GB are free",
            where=printable(into),
            hint="free some space, or choose a folder on another disk",
        )


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
        received = _listen_to(store, cache, into, *item)
        job.step()
        return received

    return list(in_order(one, files))


def _listen_to(store: StemStore, cache: Cache, into: Path, path: Path, label: str) -> ReceivedFile:
    """Return a file as intake takes it, heard once per content; what is wrong with it is told, not raised."""
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
