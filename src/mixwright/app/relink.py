# SPDX-License-Identifier: Apache-2.0
"""Find received files that were moved, by what they hold."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

from mixwright.app.page import write_page
from mixwright.app.receiving import AUDIO_ENDINGS
from mixwright.errors import InputError, printable
from mixwright.io.hashing import file_sha256
from mixwright.io.kept import relative_to_song
from mixwright.io.song_file import edit_song, load_song
from mixwright.jobs.cache import Cache
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.model.files import SongFile, files_of, with_files
from mixwright.model.results import MissingFile, MovedFile, RelinkResult


def relink(
    song: Path, folder: Path | None = None, *, report: Report = silent, cancel: Cancel | None = None
) -> RelinkResult:
    """Find the files of a song that are not where it says, and correct their paths; nothing else changes.

    A file is found by its content, so it may have another name. Files of the same name are read first, and reading
    ends when nothing is missing any more; what was read once is remembered.

    Parameters
    ----------
    song : Path
        The song folder.
    folder : Path, optional
        Where to look, in folders of any depth; that which holds the song folder if not given.
    report, cancel
        Progress and the user's switch to stop; nothing is changed then.

    Raises
    ------
    InputError
        when there is no such folder
    StateError, SettingError
        when the song cannot be read
    """
    song = Path(song)
    folder = song.absolute().parent if folder is None else Path(folder)
    missing = [file for file in files_of(load_song(song)) if not is_there(song, file.file)]
    if not folder.is_dir():
        raise InputError("is no folder", where=printable(folder), hint="name the folder that holds the moved files")
    found = _found(song, folder, [file for file in missing if file.sha256], report, cancel)
    if found:
        count = f"{len(found)} moved file{'s' if len(found) > 1 else ''}"
        edit_song(song, f"relink {count}", lambda now: with_files(now, found))
    write_page(song)  # in any case: an earlier run may have been ended before it did
    return RelinkResult(
        folder=str(folder),
        found=tuple(
            MovedFile(use=file.use, id=file.id, was=file.file, file=found[file]) for file in missing if file in found
        ),
        missing=tuple(
            MissingFile(use=file.use, id=file.id, file=file.file, why=_why(file))
            for file in missing
            if file not in found
        ),
    )


def is_there(song: Path, file: str) -> bool:
    """Tell whether a file that a song names is there; a name that cannot be one is not."""
    return os.path.isfile(song / file)  # noqa: PTH113 - Path.is_file is an error where a name is too long


def _why(file: SongFile) -> str:
    return "nothing there holds the same" if file.sha256 else "what it held is not known: correct its path in song.toml"


def _found(
    song: Path, folder: Path, missing: Sequence[SongFile], report: Report, cancel: Cancel | None
) -> dict[SongFile, str]:
    """Return the new paths of the files that were found, relative to the song."""
    if not missing:
        return {}
    wanted = {file.sha256 for file in missing}
    candidates = _candidates(song, folder, missing, cancel)
    job = Job("looking for moved files", max(1, sum(size for _, size in candidates)), report, cancel)
    paths: dict[str, list[Path]] = {}
    with Cache(song / "cache", cancel) as cache:

        def read(candidate: tuple[Path, int]) -> tuple[Path, str]:
            path, size = candidate
            job.step(0)
            try:
                digest = file_sha256(path, cache, cancel)
            except InputError:  # gone meanwhile, or not for us to read
                digest = ""
            job.step(size)
            return path, digest

        for path, digest in in_order(read, candidates):
            if digest in wanted:
                paths.setdefault(digest, []).append(path)
                if len(paths) == len(wanted):
                    break
    return {file: relative_to_song(song, _best(file, paths[file.sha256])) for file in missing if file.sha256 in paths}


def _best(file: SongFile, paths: Sequence[Path]) -> Path:
    """Return the first path of the same name, or the first at all."""
    return next((path for path in paths if _name(path.name) == _name(file.file)), paths[0])


def _candidates(song: Path, folder: Path, missing: Sequence[SongFile], cancel: Cancel | None) -> list[tuple[Path, int]]:
    """Return the files that may be what is missing, with their sizes: first those of the same name."""
    names = {_name(file.file) for file in missing}
    endings = AUDIO_ENDINGS | {Path(file.file).suffix.lower() for file in missing}
    same, others = [], []
    for path in _walk(folder, os.path.realpath(song / "cache"), cancel):
        if _name(path.name) not in names and path.suffix.lower() not in endings:
            continue
        try:
            size = path.stat().st_size
            relative_to_song(song, path).encode("utf-8")
        except (OSError, UnicodeEncodeError):  # what song.toml cannot name is not found
            continue
        if _name(path.name) in names:
            same.append((path, size))
        else:
            others.append((path, size))
    return [*same, *others]


def _name(path: str) -> str:
    return path.rsplit("/", 1)[-1].lower()


def _walk(folder: Path, cache: str, cancel: Cancel | None) -> Iterator[Path]:
    for place, folders, files in os.walk(folder):
        if cancel is not None:
            cancel.check()
        if os.path.realpath(place) == cache:
            folders.clear()
            continue
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        yield from (Path(place, name) for name in sorted(files) if not name.startswith("."))
