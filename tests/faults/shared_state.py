# SPDX-License-Identifier: Apache-2.0
"""What the processes of a trial share with `faults.c`: which call fails, how, and how many there were."""

from __future__ import annotations

import errno
import mmap
import signal
import struct
from pathlib import Path
from typing import NamedTuple

_LAYOUT = struct.Struct("9q1024s64s1024s")
GROWS, NAMES = 1, 2


class Fault(NamedTuple):
    """How a call fails: with an error or a signal, once or from then on; and which kinds of calls are counted."""

    name: str
    error: int = 0
    signal: int = 0
    times: int = 1
    kinds: int = 0
    lasts: bool = False


#: A disk that is full takes nothing more, but lets things go; one that failed is read only from then on.
FULL = Fault("full", error=errno.ENOSPC, kinds=GROWS, lasts=True)
FULL_ONCE = Fault("full once", error=errno.ENOSPC, kinds=GROWS)
BROKEN = Fault("input or output error", error=errno.EIO)
DENIED = Fault("denied", error=errno.EACCES, kinds=NAMES)
READ_ONLY = Fault("read only", error=errno.EROFS, lasts=True)
KILLED = Fault("killed", signal=signal.SIGKILL)
STOPPED = Fault("stopped", signal=signal.SIGINT)
STOPPED_TWICE = Fault("stopped twice", signal=signal.SIGINT, times=2)
ENDED = Fault("ended", signal=signal.SIGTERM)
FAULTS = (FULL, FULL_ONCE, BROKEN, DENIED, READ_ONLY, KILLED, STOPPED, STOPPED_TWICE, ENDED)


class Fired(NamedTuple):
    """How many calls were counted, and which one failed, if it came to that."""

    count: int
    fired: bool
    what: str
    path: str


class SharedState:
    """The mapped file."""

    def __init__(self, path: Path) -> None:
        if not path.exists():
            path.write_bytes(bytes(_LAYOUT.size))
        with path.open("r+b") as file:
            self._map = mmap.mmap(file.fileno(), _LAYOUT.size)

    def arm(self, root: Path, process: int, fault: Fault, at: int) -> None:
        """Count calls below `root` from now on, and let the one numbered `at` fail; 0: none."""
        values = (0, at, fault.error, fault.signal, fault.times, fault.kinds, fault.lasts, process, 0)
        self._map[:] = _LAYOUT.pack(*values, str(root).encode(), b"", b"")

    def disarm(self) -> Fired:
        """Count no more; return what happened."""
        count, *_, fired, _root, what, path = _LAYOUT.unpack(self._map[:])
        self._map[:] = bytes(_LAYOUT.size)
        return Fired(count, bool(fired), what.rstrip(b"\0").decode(), path.rstrip(b"\0").decode(errors="replace"))
