# SPDX-License-Identifier: Apache-2.0
"""Files whose contents go to the disk while they are written, not all at the end.

The way of a long file to the disk takes seconds in which nobody can stop: what is done little by little can be stopped
at any moment, and takes no longer. The decoding child imports this module: it needs nothing else.
"""

from __future__ import annotations

import os
from pathlib import Path
from types import TracebackType
from typing import Self

_PACE_BYTES = 16 << 20


class PacedFile:
    """A binary file that is written once from start to end; a context manager.

    Parameters
    ----------
    path : Path
        The file; replaced if it exists.
    """

    def __init__(self, path: Path) -> None:
        self._file = path.open("wb")
        self._written = 0

    def write(self, data: bytes | memoryview) -> None:
        """Append bytes; every now and then, wait until what was written is on the disk."""
        self._written += self._file.write(data)
        if self._written >= _PACE_BYTES:
            self._to_disk()

    def skip(self, size: int) -> None:
        """Append zeros: a hole where the file system knows holes."""
        self._file.truncate(self._file.seek(size, os.SEEK_CUR))

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        """Go to another place, for those who write over what they wrote, and return where that is."""
        return self._file.seek(offset, whence)

    def begin_with(self, data: bytes) -> None:
        """Write over the first bytes, when the rest is done."""
        self._file.seek(0)
        self._file.write(data)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the file; without an error, its contents are on the disk then."""
        with self._file:
            if kind is None:
                self._to_disk()

    def _to_disk(self) -> None:
        self._file.flush()
        os.fsync(self._file.fileno())
        self._written = 0
