# SPDX-License-Identifier: Apache-2.0
"""Temporary names for files and folders that are being made, and what becomes of those left by a kill."""

from __future__ import annotations

import errno
import hashlib
import os
import secrets
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path

from mixwright.errors import OutputError, printable

_PREFIX = ".mixwright-"
_SUFFIX = ".part"
_ABANDONED_AFTER_S = 86400.0
#: To free more than this keeps some disks busy for a good part of a second.
_SOON_REMOVED_BYTES = 256 << 20
_REMOVE = "import shutil, sys; shutil.rmtree(sys.argv[1], ignore_errors=True)"
_FULL = frozenset({errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)})


def part_path(folder: Path) -> Path:
    """Return an unused temporary path in `folder`; its name says which process on which machine makes it."""
    return folder / f"{_PREFIX}{_machine()}-{os.getpid()}-{secrets.token_hex(6)}{_SUFFIX}"


def is_part(path: Path) -> bool:
    """Tell whether this is the name of something of ours that is being made."""
    return path.name.startswith(_PREFIX) and path.name.endswith(_SUFFIX)


def remove_abandoned(folder: Path) -> None:
    """Remove what processes that no longer run (or any process a day ago) left half-made in `folder`."""
    try:
        left = [path for path in folder.iterdir() if is_part(path)]
    except OSError:
        return
    for path in left:
        if _is_abandoned(path):
            remove(path)


def remove(path: Path) -> None:
    """Remove a temporary file or folder, if it is there."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
    else:
        try:
            path.unlink(missing_ok=True)
        except OSError:  # still open elsewhere on Windows: the next run removes it
            return


def remove_unwaited(path: Path) -> None:
    """Remove a temporary file or folder; a large folder in a process of its own, so that nobody waits for the disk.

    What that process leaves, where it is killed, the next run removes.
    """
    if os.name == "posix" and path.is_dir() and not path.is_symlink() and _holds(path) > _SOON_REMOVED_BYTES:
        try:
            alone = subprocess.Popen(
                [sys.executable, "-I", "-S", "-c", _REMOVE, path.absolute()],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                cwd="/",
                start_new_session=True,
            )
        except OSError:
            pass
        else:
            alone.returncode = 0  # it outlives this process: nobody is to wait for it
            return
    remove(path)


def _holds(folder: Path) -> int:
    """Return the bytes of the files in a folder."""
    return sum(path.lstat().st_size for path in folder.rglob("*"))


def is_write_error(error: OSError, part: Path) -> bool:
    """Tell whether an error met while `part` is made is about writing it, not about something that was read.

    Writing to an open file fails without a name; whoever reads meanwhile gives its errors words of their own.
    """
    if error.errno in _FULL or error.filename is None:
        return True
    return str(error.filename).startswith(str(part))


def reason(error: OSError) -> str:
    """Return in a few words why something cannot be written."""
    if error.errno in _FULL:
        return "the disk is full"
    what = error.strerror or str(error)
    return what[:1].lower() + what[1:]


def write_error(error: OSError, path: Path) -> OutputError:
    """Return, in our own words, why `path` cannot be written and how to mend it."""
    if error.errno in _FULL:
        return OutputError(reason(error), where=printable(path), hint="free some space and run again")
    if error.errno == errno.ENOENT:
        return OutputError("there is no such folder", where=printable(path.parent), hint="make it first")
    if error.errno == errno.ENOTDIR:
        hint = "a file is in the way of a folder: choose another place"
        return OutputError(f"cannot be written ({reason(error)})", where=printable(path), hint=hint)
    denied = error.errno in (errno.EACCES, errno.EPERM)
    hint = "see who may write there, and run again" if denied else "see whether the disk is well, and run again"
    return OutputError(f"cannot be written ({reason(error)})", where=printable(path), hint=hint)


def sync_folder(folder: Path) -> None:
    """Make a rename inside `folder` lasting; systems that cannot open a folder do so on their own."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        return
    finally:
        os.close(handle)


def _machine() -> str:
    return hashlib.sha256(socket.gethostname().encode("utf-8", "surrogateescape")).hexdigest()[:8]


def _is_abandoned(path: Path) -> bool:
    try:
        age_s = time.time() - path.stat().st_mtime
    except OSError:
        return False
    if age_s > _ABANDONED_AFTER_S:
        return True
    parts = path.name.removeprefix(_PREFIX).removesuffix(_SUFFIX).split("-")
    if os.name != "posix" or len(parts) != 3 or parts[0] != _machine() or not parts[1].isdecimal():
        return False
    try:
        os.kill(int(parts[1]), 0)
    except ProcessLookupError:
        return True
    except (OSError, OverflowError):
        return False
    return False
