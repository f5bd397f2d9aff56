# SPDX-License-Identifier: Apache-2.0
"""The files of a folder or of a ZIP, read piece by piece: neither names nor sizes in a ZIP are trusted."""

from __future__ import annotations

import errno
import hashlib
import lzma
import stat
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import IO

from mixwright.errors import InputError, printable
from mixwright.jobs.progress import Cancel

_PIECE_BYTES = 1 << 20
#: The most files that a ZIP may name: more is no set of prints.
MOST_FILES = 10_000
_DAMAGED = (zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError)


@dataclass(frozen=True)
class FileSet:
    """Files by their names, which hold no folder; `opened` gives the contents of one."""

    names: tuple[str, ...]
    opened: Callable[[str], IO[bytes]]

    def digest(self, name: str, most_bytes: int, cancel: Cancel | None = None) -> str | None:
        """Return the SHA-256 of a file; None where it is longer than it should be, or damaged."""
        found, size = hashlib.sha256(), 0
        try:
            with self.opened(name) as file:
                while piece := file.read(_PIECE_BYTES):
                    size += len(piece)
                    if size > most_bytes:
                        return None
                    found.update(piece)
                    if cancel is not None:
                        cancel.check()
        except _DAMAGED:
            return None
        except (OSError, RuntimeError, NotImplementedError) as error:
            raise InputError(f"cannot be read ({error})", where=printable(name)) from error
        return found.hexdigest()

    def read(self, name: str, most_bytes: int) -> bytes:
        """Return the contents of a small file.

        Raises
        ------
        InputError
            when it cannot be read, or is larger
        """
        try:
            with self.opened(name) as file:
                content = file.read(most_bytes + 1)
        except (*_DAMAGED, OSError, RuntimeError, NotImplementedError) as error:
            raise InputError(f"cannot be read ({error})", where=printable(name)) from error
        if len(content) > most_bytes:
            raise InputError(f"is larger than {most_bytes >> 20} MiB", where=printable(name))
        return content


@contextmanager
def file_set(place: Path) -> Iterator[FileSet]:
    """Open a folder, or a ZIP that holds files, or one folder of them.

    Raises
    ------
    InputError
        when it is neither, or cannot be read
    """
    if place.is_dir():
        yield _folder(place)
        return
    try:
        archive = zipfile.ZipFile(place)
    except FileNotFoundError as error:
        raise InputError("is not there", where=printable(place)) from error
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        raise InputError("is neither a folder nor a ZIP that can be read", where=printable(place)) from error
    with archive:
        yield _zip(archive, place)


def _folder(place: Path) -> FileSet:
    try:
        names = tuple(sorted(path.name for path in place.iterdir()))
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror or error})", where=printable(place)) from error
    return FileSet(names, lambda name: _regular(place / name))


def _regular(path: Path) -> IO[bytes]:
    """Open a file that is one: reading a pipe or a device would never end."""
    if not stat.S_ISREG(path.stat().st_mode):
        raise OSError(errno.EINVAL, "is no file")
    return path.open("rb")


def _zip(archive: zipfile.ZipFile, place: Path) -> FileSet:
    entries = [entry for entry in archive.infolist() if not entry.is_dir()]
    if len(entries) > MOST_FILES:
        raise InputError(f"holds more than {MOST_FILES} files", where=printable(place))
    # Some systems put files of their own into every ZIP that they make; those are no part of what was packed.
    parts = {entry: PurePosixPath(entry.filename.replace("\\", "/")).parts for entry in entries}
    tops = {path[0] for path in parts.values() if path and path[0] != "__MACOSX"}
    inside = len(tops) == 1 and all(len(path) > 1 for path in parts.values() if path[:1] != ("__MACOSX",))
    found: dict[str, zipfile.ZipInfo] = {}
    for entry, path in parts.items():
        if path[:1] == ("__MACOSX",):
            continue
        name = "/".join(path[1:] if inside else path)
        if name in found:
            raise InputError("names a file twice", where=f"{printable(place)}: {printable(name)}")
        found[name] = entry
    return FileSet(tuple(sorted(found)), _opener(archive, found))


def _opener(archive: zipfile.ZipFile, found: Mapping[str, zipfile.ZipInfo]) -> Callable[[str], IO[bytes]]:
    return lambda name: archive.open(found[name])
