# SPDX-License-Identifier: Apache-2.0
"""What a song folder keeps beside `song.toml`: receipts of each command, and lanes; and paths relative to it."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path
from typing import TypeVar

import msgspec

from mixwright.errors import InputError, InternalError, StateError, printable
from mixwright.io.replace import make_folder, replacing
from mixwright.model.lane import Lane
from mixwright.model.record import Record

R = TypeVar("R", bound=Record)
T = TypeVar("T")


def write_kept(folder: Path, name: str, record: Record) -> None:
    """Keep a record under the name of the command that made it; that of `start` is ``intake``."""
    content = msgspec.json.encode(record)
    try:
        same = msgspec.json.decode(content, type=type(record)) == record
    except msgspec.ValidationError as error:
        raise InternalError(f"cannot be kept: {error}", where=name) from error
    if not same:
        raise InternalError("cannot be kept: it reads back as something else", where=name)
    path = _path(folder, name)
    make_folder(path.parent)
    with replacing(path) as part:
        part.write_bytes(content + b"\n")


def read_kept(folder: Path, name: str, type_: type[R]) -> R | None:
    """Return what was kept under a name, None if nothing was.

    Raises
    ------
    StateError
        when it is damaged or of another version
    """
    # `start` makes new songs only; what it found is told of a song, and nothing else stands on it.
    command = "prove" if name == "receipts" else name
    mend = "remove the file: the song is whole without it" if name == "intake" else f"run {command} again"
    return _read(folder, name, type_, hint=mend)


def read_lanes(folder: Path, automation: str = "") -> tuple[Lane, ...]:
    """Return the automation of a song, empty if there is none.

    Parameters
    ----------
    folder : Path
        The song folder.
    automation : str
        as the song has it: the name that :func:`write_lanes` gave; "": what is kept by hand in ``kept/lanes.json``

    Raises
    ------
    StateError
        when it is damaged, or what the song names is gone
    """
    if not automation:
        return _read(folder, "lanes", tuple[Lane, ...], hint="mend it, or remove the file") or ()
    name = f"lanes/{automation}"
    hint = "undo, or take `automation` out of song.toml"
    found = _read(folder, name, tuple[Lane, ...], hint=hint)
    if found is None:
        raise StateError("the automation of the song is gone", where=printable(_path(folder, name)), hint=hint)
    return found


def write_lanes(folder: Path, lanes: tuple[Lane, ...]) -> str:
    """Keep automation beside all that was kept before, so that undo finds it; return the name for the song to say.

    The same lanes have the same name. A file of that name which holds anything else is written anew.
    """
    content = msgspec.json.encode(lanes)
    name = hashlib.sha256(content).hexdigest()[:16]
    path, text = _path(folder, f"lanes/{name}"), content + b"\n"
    try:
        is_kept = path.read_bytes() == text
    except OSError:
        is_kept = False
    if not is_kept:
        make_folder(path.parent)
        with replacing(path) as part:
            part.write_bytes(text)
    return name


def song_path(folder: Path, relative: str) -> Path:
    """Return the path of a file that a song names: relative to its folder, with forward slashes."""
    if not relative or "\0" in relative:
        raise InputError("this is no file name", where=printable(relative) or "empty name")
    return folder / relative


def relative_to_song(folder: Path, path: Path) -> str:
    """Return how a song names a file: relative to its folder, with forward slashes; absolute on another drive.

    Links among the folders are followed, as the system follows them before it goes up by `..`; a file that is a link
    keeps its own name.
    """
    file = os.path.join(os.path.realpath(path.parent), path.name)  # noqa: PTH118 - realpath gives text
    try:
        return Path(os.path.relpath(file, os.path.realpath(folder))).as_posix()
    except ValueError:
        return Path(file).as_posix()


def _path(folder: Path, name: str) -> Path:
    return folder / "kept" / f"{name}.json"


def _read(folder: Path, name: str, type_: type[T], *, hint: str) -> T | None:
    path = _path(folder, name)
    try:
        return msgspec.json.decode(path.read_bytes(), type=type_)
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        raise StateError(f"cannot be read ({error})", where=printable(path), hint=hint) from error
