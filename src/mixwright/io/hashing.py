# SPDX-License-Identifier: Apache-2.0
"""Digests of files."""

from __future__ import annotations

import stat
import time
from pathlib import Path

from mixwright.errors import InputError, MixwrightError, printable
from mixwright.jobs.cache import Cache
from mixwright.jobs.entries import file_digest
from mixwright.jobs.progress import Cancel
from mixwright.model.record import Record

#: A file changed less than this ago may change again without its time stamp telling.
_SETTLED_AFTER_S = 2.0


class FileDigest(Record, frozen=True, kw_only=True):
    """The digest of a file as it was found."""

    sha256: str


def file_sha256(path: Path, cache: Cache | None = None, cancel: Cancel | None = None) -> str:
    """Return the SHA-256 of a file, in hexadecimal.

    With a cache, the digest is remembered for the path, size and time of last change.

    Raises
    ------
    InputError
        when there is no such file, or it cannot be read
    Cancelled
        when the user stopped it, within a moment however long the file is
    """
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise InputError("is not a file (but a folder, a pipe or a device)", where=printable(path))
        settled = time.time() - status.st_mtime > _SETTLED_AFTER_S
        if cache is None or not settled:
            return file_digest(path, cancel)
        key = cache.key("file digest", str(path.absolute()), status.st_size, status.st_mtime_ns)
        return cache.record(key, FileDigest, lambda: FileDigest(sha256=file_digest(path, cancel))).sha256
    except MixwrightError:
        raise
    except FileNotFoundError as error:
        what = "is a link to something that is not there" if path.is_symlink() else "there is no such file"
        raise InputError(what, where=printable(path)) from error
    except OSError as error:
        hint = "see who may read it" if isinstance(error, PermissionError) else ""
        raise InputError(f"cannot be read ({error.strerror or error})", where=printable(path), hint=hint) from error
    except ValueError as error:
        raise InputError(f"cannot be read ({error})", where=printable(path)) from error
