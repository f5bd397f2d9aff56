# SPDX-License-Identifier: Apache-2.0
"""The files of a cache folder: an array with its seal, or a record; whole or not there."""

from __future__ import annotations

import contextlib
import hashlib
import os
from pathlib import Path
from typing import TypeVar

import msgspec

from mixwright.jobs.progress import Cancel, until_stopped
from mixwright.model.record import Record

_BLOCK_BYTES = 1 << 20

R = TypeVar("R", bound=Record)


class Seal(Record, frozen=True, kw_only=True):
    """What a sound array file looks like."""

    sha256: str
    size: int
    mtime_ns: int


def sealed_text(record: Record) -> bytes:
    """Return the contents of a record's file: its digest on a line, then its JSON."""
    body = msgspec.json.encode(record)
    return hashlib.sha256(body).hexdigest().encode() + b"\n" + body


def read_record(path: Path, type_: type[R]) -> R | None:
    """Return a record; None when it is not there, damaged, or of another form."""
    body = _sound_body(path)
    if body is None:
        return None
    try:
        return msgspec.json.decode(body, type=type_)
    except (msgspec.MsgspecError, ValueError):
        return None


def is_sound_record(path: Path) -> bool:
    """Tell whether a record's file is whole, whatever it holds."""
    return _sound_body(path) is not None


def file_digest(path: Path, cancel: Cancel | None = None) -> str:
    """Return the SHA-256 of a file, in hexadecimal.

    Raises
    ------
    OSError
        when it cannot be read
    Cancelled
        when the user stopped it, within a moment however long the file is
    """
    digest = hashlib.sha256()
    block = memoryview(bytearray(_BLOCK_BYTES))
    with path.open("rb", buffering=0) as file:
        for size in until_stopped(iter(lambda: file.readinto(block), 0), cancel):
            digest.update(block[:size])
    return digest.hexdigest()


def mark_used(path: Path) -> None:
    """Note that the entry of this seal or record is used now: its time is how the least recently used are found."""
    with contextlib.suppress(OSError):  # a folder that can only be read is used all the same
        os.utime(path)


def _sound_body(path: Path) -> bytes | None:
    try:
        digest, _, body = path.read_bytes().partition(b"\n")
    except (OSError, ValueError):
        return None
    return body if hashlib.sha256(body).hexdigest().encode() == digest else None
