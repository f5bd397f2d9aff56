# SPDX-License-Identifier: Apache-2.0
"""Disk space: what work may take is stated beforehand, and refused where it does not fit."""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from pathlib import Path

from mixwright.errors import OutputError, printable
from mixwright.jobs.progress import Progress, Report, silent

#: Left free on every disk.
SPARE_BYTES = 256 << 20
#: Less than this is not worth a line.
_WORTH_TELLING = 100_000_000


def require_space(needs: Iterable[tuple[Path, int]], report: Report = silent) -> None:
    """State how much room work may take, and refuse it beforehand where a disk cannot hold it.

    Parameters
    ----------
    needs : iterable of (Path, int)
        Folders, which need not be there yet, and how many bytes each may grow by. Folders on one disk count together.
    report : Report
        Told of it when it is much.

    Raises
    ------
    OutputError
        when it does not fit; says how much is needed and how much is free
    """
    disks: dict[int, tuple[Path, Path, int]] = {}
    for folder, size in needs:
        there = next((place for place in (folder, *folder.absolute().parents) if place.exists()), Path.cwd())
        disk = there.stat().st_dev
        first, _, before = disks.get(disk, (folder, there, 0))
        disks[disk] = first, there, before + size
    for folder, there, size in disks.values():
        free = max(0, shutil.disk_usage(there).free - SPARE_BYTES)
        if size > free:
            raise OutputError(
                f"this may take {_size(size, size)} of disk space, {_size(free, size)} can be used",
                where=printable(folder),
                hint="free some space, for example with `mixwright clean` on songs that are done, or use another disk",
            )
        if size >= _WORTH_TELLING:
            note = f"up to {_size(size, size)} will be used, {_size(free, size)} can be"
            report(Progress(job="disk space", done=0.0, total=1.0, left_s=None, note=note))


def _size(size: int, beside: int) -> str:
    """Return a size in the unit of the one that stands beside it."""
    return f"{size / 1e9:.1f} GB" if beside >= 1e8 else f"{size / 1e6:.1f} MB"
