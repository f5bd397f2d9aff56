# SPDX-License-Identifier: Apache-2.0
"""The key of a page and its port, remembered while it is served: a server that was killed comes back to its pages."""

from __future__ import annotations

import hashlib
import os
import secrets
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Annotated

import msgspec
from msgspec import Meta

from mixwright.model.record import Record

_BYTES = 24


class Key(Record, frozen=True, kw_only=True):
    """What an address holds."""

    port: Annotated[int, Meta(ge=1, le=65535)]
    token: Annotated[str, Meta(min_length=_BYTES)]


def recalled(folder: Path) -> Key | None:
    """Return the key of a server of this song that did not end by itself; None where there is none."""
    try:
        return msgspec.json.decode(_file(folder).read_bytes(), type=Key)
    except (OSError, ValueError):
        return None


def new_token() -> str:
    """Return a token that nobody guesses: 192 bits (RFC 4086 asks for 128)."""
    return secrets.token_urlsafe(_BYTES)


@contextmanager
def remembered(folder: Path, key: Key) -> Iterator[None]:
    """Remember a key within, for this user alone; where that cannot be written, nothing is remembered.

    It lies with the user, not with the song: a folder that comes from elsewhere brings no key along.
    """
    file = _file(folder)
    with suppress(OSError):
        file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        file.unlink(missing_ok=True)
        with os.fdopen(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
            out.write(msgspec.json.encode(key))
    try:
        yield
    finally:
        if recalled(folder) == key:  # not that of another server of the song
            with suppress(OSError):
                file.unlink()


def _file(folder: Path) -> Path:
    """Return where the key of a song is remembered (XDG Base Directory Specification 0.8: state)."""
    if sys.platform == "win32":
        home = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    else:
        home = Path(os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state")
    name = hashlib.sha256(os.fsencode(os.path.realpath(folder))).hexdigest()[:32]
    return home / "mixwright" / "pages" / f"{name}.json"
