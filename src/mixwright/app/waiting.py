# SPDX-License-Identifier: Apache-2.0
"""Files in the folders of the tracks that the song does not hold as they are now: which are complete, which not yet."""

from __future__ import annotations

import os
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from mixwright.app.receiving import AUDIO_ENDINGS
from mixwright.app.relink import is_there
from mixwright.errors import InputError
from mixwright.io.decode import Decoder
from mixwright.io.hashing import file_sha256
from mixwright.io.kept import song_path
from mixwright.io.song_file import load_song
from mixwright.jobs.cache import Cache
from mixwright.jobs.progress import Cancel
from mixwright.model.files import files_of

#: What the song folder itself holds is no delivery.
OWN_FOLDERS = ("cache", "kept", "mixes", "prints")
#: When a file was written last, in nanoseconds, and its size in bytes: another one after every write.
Mark = tuple[int, int]


@dataclass(frozen=True)
class Waiting:
    """Files that wait to be taken: `whole`, and `partial`, whose header promises more than there is."""

    whole: tuple[Path, ...]
    partial: tuple[Path, ...]


def track_files(folder: Path) -> dict[Path, Mark]:
    """Return the audio files, by their endings, in the folders of the tracks and one level below; none is opened.

    Raises
    ------
    SettingError, StateError
        when the song cannot be read
    """
    song = load_song(folder)
    parents = {song_path(folder, t.file).resolve().parent for t in song.tracks if is_there(folder, t.file)}
    own = [folder.resolve() / name for name in OWN_FOLDERS]
    found: dict[Path, Mark] = {}
    for parent in sorted(parents):
        for place in (parent, *_folders(parent)):
            if any(place == one or one in place.parents for one in own):
                continue
            for entry in _entries(place):
                path = Path(entry.path)
                if path.suffix.lower() not in AUDIO_ENDINGS or path.name.startswith("."):
                    continue
                try:
                    if entry.is_file():
                        status = entry.stat()
                        found[path] = status.st_mtime_ns, status.st_size
                except OSError:  # gone meanwhile
                    continue
    return found


def waiting_files(folder: Path, paths: Collection[Path], cancel: Cancel | None = None) -> Waiting:
    """Return which of these files the song does not hold as they are.

    Raises
    ------
    SettingError, StateError
        when the song cannot be read
    """
    song = load_song(folder)
    named = {song_path(folder, one.file).resolve(): one for one in files_of(song)}
    held = {track.sha256 for track in song.tracks}
    whole: list[Path] = []
    partial: list[Path] = []
    with Cache(folder / "cache", cancel) as cache, Decoder(cancel=cancel) as decoder:
        for path in sorted(paths):
            known = named.get(path.resolve())
            if known is not None and (known.use != "track" or not known.sha256):
                continue  # without a hash nothing tells whether it was written anew
            try:
                digest = file_sha256(path, cache, cancel)
                if digest in (held if known is None else (known.sha256,)):
                    continue
                info = decoder.probe(path)
            except InputError:  # no audio, not yet, or not any more
                partial.append(path)
                continue
            is_whole = info.frames > 0 and (info.header_frames or 0) <= info.frames
            (whole if is_whole else partial).append(path)
    return Waiting(tuple(whole), tuple(partial))


def _folders(place: Path) -> list[Path]:
    return sorted(Path(entry.path) for entry in _entries(place) if _is_folder(entry) and not entry.name.startswith("."))


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:  # a link that leads to itself, or gone meanwhile
        return False


def _entries(place: Path) -> list[os.DirEntry[str]]:
    try:
        with os.scandir(place) as entries:
            return list(entries)
    except OSError:
        return []
