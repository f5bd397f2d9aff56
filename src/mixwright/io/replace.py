# SPDX-License-Identifier: Apache-2.0
"""Files and folders that are whole or not there: made under a temporary name, then renamed once."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from mixwright.errors import Cancelled, OutputError, printable
from mixwright.jobs.parts import (
    is_write_error,
    part_path,
    remove,
    remove_abandoned,
    remove_unwaited,
    sync_folder,
    write_error,
)

__all__ = [
    "Unnamed",
    "is_left",
    "make_folder",
    "named_file",
    "new_folder",
    "numbered_folder",
    "replacing",
    "write_text",
]

#: Taking a name needs a moment; longer than this, and the other program hangs.
_LOCK_WAIT_S = 60.0


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Give a temporary path in the same folder; after the block it takes the place of `path`.

    The contents are on the disk before the name is; after an error or a kill `path` is what it was. A link stays a
    link: what it leads to is replaced. Who may read and write a file stays as it was.

    Raises
    ------
    OutputError
        when the folder cannot be written or is full
    """
    path = Path(os.path.realpath(path)) if path.is_symlink() else path
    with _making(path) as part:
        yield part
        with suppress(FileNotFoundError):
            part.chmod(stat.S_IMODE(path.stat().st_mode))
        with part.open("rb+") as file:
            os.fsync(file.fileno())
        part.replace(path)


@contextmanager
def new_folder(path: Path, keep: str = "") -> Iterator[Path]:
    """Give a temporary folder to fill; after the block it is named `path`.

    Parameters
    ----------
    path : Path
        Where nothing is, or what a stopped run left.
    keep : str, optional
        Name of a folder in it that stays, alone in `path`, when the user stops the work: a later run goes on from it.
        To remove what was made would keep the user waiting, too.

    Raises
    ------
    OutputError
        when `path` exists, before or after the work, or cannot be written
    """
    going_on = is_left(path, keep)
    if not going_on:
        _refuse_existing(path)
    with _making(path) as part:
        if going_on:
            path.rename(part)
        else:
            part.mkdir()
        try:
            yield part
        except Cancelled:
            _leave(part, path, keep)
            raise
        sync_folder(part)
        _refuse_existing(path)
        part.rename(path)


def is_left(path: Path, keep: str) -> bool:
    """Tell whether a folder holds nothing but what a stopped run left, named `keep`."""
    try:
        return bool(keep) and not path.is_symlink() and [inside.name for inside in path.iterdir()] == [keep]
    except OSError:
        return False


def _leave(part: Path, path: Path, keep: str) -> None:
    """Leave what is worth keeping of a stopped run; it is removed with the rest where that cannot be."""
    for inside in part.iterdir():
        if inside.name != keep:
            remove(inside)
    if is_left(part, keep) and any((part / keep).iterdir()) and not os.path.lexists(path):
        with suppress(OSError):  # Windows: a file in it is still mapped
            part.rename(path)


class Unnamed:
    """A folder or file that is being made at `building`; its `path` is known when it is done."""

    def __init__(self, building: Path) -> None:
        self.building = building
        self.path = building


@contextmanager
def numbered_folder(parent: Path, number_files: Callable[[Path, int], object] | None = None) -> Iterator[Unnamed]:
    """Give a temporary folder to fill; after the block it is named by the next free number: ``001``, ``002``, ...

    `parent` is made when it is missing. Numbers are never used again while a higher one exists. `number_files` is given
    the folder and its number before it is named, to name files in it by that; once more, where another run was faster.

    Raises
    ------
    OutputError
        when it cannot be written
    """
    made = not parent.exists()
    make_folder(parent)
    try:
        with _making(parent / "next", parent) as part:
            part.mkdir()
            folder = Unnamed(part)
            yield folder
            sync_folder(part)
            folder.path = _take_number(part, parent, number_files)
    except BaseException:
        if made and not any(parent.iterdir()):
            parent.rmdir()
        raise


@contextmanager
def named_file(parent: Path, choose: Callable[[Iterable[str]], str], lock: Path) -> Iterator[Unnamed]:
    """Give a temporary path for a file; after the block it is named by what is there then, and overwrites nothing.

    Runs at once that share the lock choose one after another, and a kill leaves no file.

    Parameters
    ----------
    parent : Path
        the folder, which exists
    choose : callable
        returns the name, given those that are taken
    lock : Path
        a file that is locked while the name is chosen and taken

    Raises
    ------
    OutputError
        when it cannot be written, or the name is taken all the same
    """
    with _making(parent / "next", parent) as part:
        file = Unnamed(part)
        yield file
        make_folder(lock.parent)
        with _locked(lock):
            file.path = parent / choose(path.name for path in parent.iterdir())
            _refuse_existing(file.path)
            part.rename(file.path)


@contextmanager
def _locked(lock: Path) -> Iterator[None]:
    from filelock import FileLock, Timeout

    held = FileLock(lock, timeout=_LOCK_WAIT_S)
    try:
        held.acquire(poll_interval=0.005)
    except Timeout as error:
        raise OutputError("another program does not let go of it", where=printable(lock), hint="run again") from error
    except OSError as error:
        raise write_error(error, lock) from error
    try:
        yield
    finally:
        held.release()


def make_folder(folder: Path) -> None:
    """Make a folder, and those above it, where they are missing.

    Raises
    ------
    OutputError
        when it cannot be made
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (FileExistsError, NotADirectoryError) as error:
        raise OutputError(
            "the folder cannot be made: a file is in the way", where=printable(folder), hint="choose another place"
        ) from error
    except OSError as error:
        raise write_error(error, folder) from error


def write_text(path: Path, text: str) -> None:
    """Write a UTF-8 text file as a whole, with plain newlines."""
    with replacing(path) as part:
        part.write_bytes(text.encode("utf-8"))


def _take_number(part: Path, parent: Path, number_files: Callable[[Path, int], object] | None) -> Path:
    taken = [int(path.name) for path in parent.iterdir() if path.name.isascii() and path.name.isdigit()]
    number = max(taken, default=0) + 1
    while True:
        path = parent / f"{number:03d}"
        if not os.path.lexists(path):
            if number_files is not None:
                number_files(part, number)
                sync_folder(part)
            try:
                return part.rename(path)
            except FileExistsError:
                pass  # another run took the number meanwhile
            except OSError as error:
                if error.errno not in (errno.ENOTEMPTY, errno.EACCES) or not os.path.lexists(path):
                    raise
        number += 1


@contextmanager
def _making(path: Path, shown: Path | None = None) -> Iterator[Path]:
    """Give a temporary path beside `path`; an error tells of `shown` (else `path`) in its place."""
    remove_abandoned(path.parent)
    part = part_path(path.parent)
    shown = shown or path
    removed = remove
    try:
        yield part
        sync_folder(path.parent)
    except Cancelled:
        removed = remove_unwaited
        raise
    except OutputError as error:
        error.where = error.where.replace(printable(part), printable(shown))
        raise
    except OSError as error:
        if not is_write_error(error, part):
            raise
        raise write_error(error, shown) from error
    finally:
        removed(part)


def _refuse_existing(path: Path) -> None:
    if os.path.lexists(path):
        raise OutputError("exists already and is never overwritten", where=printable(path), hint="choose another name")
