# SPDX-License-Identifier: Apache-2.0
"""The journal of `song.toml`: every state it had, step by step, so that each can come back byte for byte.

A step is one small compressed file with the whole text before and after. Around the moment in which
the song itself is replaced its name ends in `_OPEN`; a step found open was interrupted, and the song
on the disk tells on which side.
"""

from __future__ import annotations

import contextlib
import gzip
import hashlib
import re
import zlib
from datetime import UTC, datetime
from pathlib import Path

import msgspec

from mixwright.errors import StateError, printable
from mixwright.io.replace import make_folder, replacing
from mixwright.jobs.parts import sync_folder, write_error
from mixwright.model.record import Record

_CLOSED, _OPEN = ".json.gz", ".open.json.gz"
_STEP = re.compile(r"(\d{8})(?:\.open)?\.json\.gz")
_PER_FOLDER = 100
#: A step that claims to unpack to more is damaged: a song of a thousand tracks takes a hundredth of it.
_MOST_BYTES = 1 << 28


class Step(Record, frozen=True, kw_only=True):
    """One change of the song: its name, when (UTC), and the whole text before and after."""

    name: str
    at: str
    sha256_before: str
    sha256_after: str
    before: str
    after: str


def text_sha256(text: str) -> str:
    """Return the SHA-256 of a text in UTF-8."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


class Journal:
    """The steps in one folder, numbered from 0, the state that was found first. One writer at a time."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def last(self) -> int:
        """Return the number of the last step, -1 without any; reads two folder listings, whatever the length."""
        parts = sorted(name for name in _listed(self.folder) if name.isdecimal())
        while parts:
            names = _listed(self.folder / parts.pop())
            numbers = [int(found[1]) for name in names if (found := _STEP.fullmatch(name))]
            if numbers:
                return max(numbers)
        return -1

    def numbers(self, current: str) -> list[int]:
        """Return the numbers of all steps, in order; the last one not if the song, as it is, never got there."""
        found = sorted({int(found[1]) for path in self.folder.glob("*/*") if (found := _STEP.fullmatch(path.name))})
        return found[:-1] if found and self._never_happened(found[-1], current) else found

    def read(self, number: int) -> Step:
        """Return one step.

        Raises
        ------
        StateError
            when it is damaged
        """
        path = self._path(number)
        try:
            with gzip.open(path) as file:
                content = file.read(_MOST_BYTES)
            return msgspec.json.decode(content, type=Step)
        except (OSError, EOFError, ValueError, zlib.error) as error:
            raise StateError(
                "this step of the journal cannot be read",
                where=printable(path),
                hint="move the journal folder away: the song stays as it is, earlier states are in that folder",
            ) from error

    def settle(self, current: str) -> None:
        """Finish what was interrupted: keep the open step, unless the song is in the state before it."""
        number = self.last()
        if number < 0 or not self._path(number, _OPEN).exists():
            return
        if self._never_happened(number, current):
            self.drop(number)
        else:
            self.close(number)

    def _never_happened(self, number: int, current: str) -> bool:
        return self._path(number, _OPEN).exists() and self.read(number).before == current

    def open(self, name: str, before: str, after: str) -> int:
        """Write a step that is about to happen; return its number."""
        number = self.last() + 1
        step = Step(
            name=name,
            at=datetime.now(UTC).isoformat(timespec="seconds"),
            sha256_before=text_sha256(before),
            sha256_after=text_sha256(after),
            before=before,
            after=after,
        )
        path = self._path(number, _OPEN)
        make_folder(path.parent)
        with replacing(path) as part:
            part.write_bytes(gzip.compress(msgspec.json.encode(step), compresslevel=6, mtime=0))
        return number

    def close(self, number: int) -> None:
        """Say that a step has happened; where that cannot be written, the next writer settles it."""
        with contextlib.suppress(OSError):
            self._path(number, _OPEN).replace(self._path(number, _CLOSED))

    def reopen(self, number: int) -> None:
        """Say that a step is about to be undone."""
        path = self._path(number, _OPEN)
        try:
            self._path(number, _CLOSED).replace(path)
        except OSError as error:
            raise write_error(error, path) from error
        sync_folder(path.parent)

    def drop(self, number: int) -> None:
        """Remove a step that was undone or never happened; where that fails, the next writer settles it."""
        with contextlib.suppress(OSError):
            self._path(number, _OPEN).unlink()

    def _path(self, number: int, ending: str = "") -> Path:
        folder = self.folder / f"{number // _PER_FOLDER:05d}"
        if ending:
            return folder / f"{number:08d}{ending}"
        open_path = folder / f"{number:08d}{_OPEN}"
        return open_path if open_path.exists() else folder / f"{number:08d}{_CLOSED}"


def _listed(folder: Path) -> list[str]:
    try:
        return [path.name for path in folder.iterdir()]
    except (FileNotFoundError, NotADirectoryError):
        return []
