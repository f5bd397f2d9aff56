# SPDX-License-Identifier: Apache-2.0
"""How large a cache may grow, and what goes when it is larger: the least recently used, never what is in use.

Every use of an entry sets the time of its seal or record. A running command holds a marker in the folder (a temporary
name, so a kill leaves nothing that counts); whatever was used since the oldest running command began is in use.
"""

from __future__ import annotations

import math
import os
import re
import shutil
import stat
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from mixwright.errors import SettingError, printable
from mixwright.jobs.entries import Seal, is_sound_record, read_record
from mixwright.jobs.parts import is_part, remove_abandoned

#: The largest cache of one song in GiB (1024 ** 3 bytes); 0 keeps nothing beyond a command.
BUDGET_VARIABLE = "MIXWRIGHT_CACHE_GIB"
_GIB = 1 << 30
_DEFAULT_GIB = 40
_SHARE_OF_DISK = 0.1
_OURS = re.compile(r"([0-9a-f]{64})\.(npy|seal|json)")


@dataclass(frozen=True)
class Trimmed:
    """What a cache was freed of, and what remains; sizes in bytes. `left_alone`: files that are no sound entries."""

    freed_bytes: int
    remaining_bytes: int
    in_use_bytes: int
    left_alone: int


@dataclass(eq=False)
class _Entry:
    """The files of one key with their states: an array and its seal, or a record."""

    files: dict[Path, os.stat_result] = field(default_factory=dict)

    @property
    def size(self) -> int:
        return sum(status.st_size for status in self.files.values())

    @property
    def used_ns(self) -> int:
        return max(status.st_mtime_ns for status in self.files.values())

    @property
    def is_half_made(self) -> bool:
        """An array that a kill left before it was sealed: nothing will ever read it."""
        return [path.suffix for path in self.files] == [".npy"]

    @property
    def is_sound(self) -> bool:
        """Not damaged from outside: a whole record, or a seal and an array of the size that it tells."""
        sizes = {path.suffix: status.st_size for path, status in self.files.items()}
        path = next(iter(self.files))
        if ".json" in sizes:
            return is_sound_record(path)
        seal = read_record(path.with_suffix(".seal"), Seal)
        return seal is not None and sizes.get(".npy", seal.size) == seal.size


def budget_bytes(folder: Path) -> int:
    """Return how large the cache of a song may be.

    ``MIXWRIGHT_CACHE_GIB`` says it; without it, 40 GiB or a tenth of the disk, whichever is smaller.

    Raises
    ------
    SettingError
        when the variable is no size
    """
    given = os.environ.get(BUDGET_VARIABLE, "").strip()
    if given:
        try:
            size = float(given) * _GIB
        except ValueError:
            size = math.nan
        if not 0.0 <= size <= 2.0**62:
            raise SettingError(
                f"{printable(given)!r} is no size",
                where=BUDGET_VARIABLE,
                hint="give the largest cache of a song in GiB, such as 40",
            )
        return int(size)
    there = next((place for place in (folder, *folder.absolute().parents) if place.exists()), Path.cwd())
    return min(_DEFAULT_GIB * _GIB, int(shutil.disk_usage(there).total * _SHARE_OF_DISK))


def trim(folder: Path, budget: int) -> Trimmed:
    """Remove the least recently used entries of a cache until it fits its budget.

    Entries in use by a running command stay, and so do files that are no sound entries: what was damaged from
    outside, or put there by someone. What a kill left half-made goes in any case.

    Parameters
    ----------
    folder : Path
        the cache
    budget : int
        bytes
    """
    remove_abandoned(folder)
    begun_ns = _oldest_command_ns(folder)
    entries, others = _listed(folder)
    total = before = sum(entry.size for entry in entries) + sum(others)
    in_use, left_alone = 0, len(others)
    for entry in sorted(entries, key=lambda entry: entry.used_ns):
        if entry.used_ns >= begun_ns:
            in_use += entry.size
        elif entry.is_half_made or total > budget:
            if not (entry.is_half_made or entry.is_sound):
                left_alone += 1
            elif _remove(entry):
                total -= entry.size
    return Trimmed(before - total, total, in_use, left_alone)


def _oldest_command_ns(folder: Path) -> float:
    """Return when the oldest running command began; infinity when none runs."""
    return min((status.st_mtime_ns for path, status in _states(folder) if is_part(path)), default=math.inf)


def _listed(folder: Path) -> tuple[list[_Entry], list[int]]:
    """Return the entries and the sizes of other files; what is being made is neither."""
    entries: dict[tuple[str, bool], _Entry] = {}
    others: list[int] = []
    for path, status in _states(folder):
        ours = _OURS.fullmatch(path.name)
        if ours and stat.S_ISREG(status.st_mode):
            entries.setdefault((ours[1], ours[2] == "json"), _Entry()).files[path] = status
        elif not is_part(path):
            others.append(status.st_size)
    return list(entries.values()), others


def _states(folder: Path) -> Iterator[tuple[Path, os.stat_result]]:
    """Yield what lies in a folder; what vanishes meanwhile is not there."""
    try:
        paths = list(folder.iterdir())
    except OSError:
        return
    for path in paths:
        try:
            yield path, path.lstat()
        except OSError:
            continue


def _remove(entry: _Entry) -> bool:
    """Remove an entry, unless it was used this moment or is held open (Windows)."""
    try:
        if any(path.lstat().st_mtime_ns != status.st_mtime_ns for path, status in entry.files.items()):
            return False
        for path in sorted(entry.files):  # the array first: a kill then leaves a seal alone, which a later run removes
            path.unlink()
    except FileNotFoundError:  # another run removed it
        return True
    except OSError:
        return False
    return True
