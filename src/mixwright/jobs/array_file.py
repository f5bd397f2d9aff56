# SPDX-License-Identifier: Apache-2.0
"""Map ``.npy`` files, and write them so that a full disk is told: whole, and float32 block by block of any length.

Blocks of nothing but zeros become holes of the file where the file system knows holes: the layers of a song are silent
for much of it.

The decoding child imports this module: it needs numpy alone.
"""

from __future__ import annotations

import re
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np

from mixwright.jobs.paced_file import PacedFile

_HEADER_BYTES = 128
_START = b"\x93NUMPY\x01\x00"
_HEADER = re.compile(rb"\{'descr': '([<|][biuf]\d\d?)', 'fortran_order': False, 'shape': \(([\d, ]*)\), \}\s*")


class ArrayWriter:
    """Writes blocks ``(frames, channels)`` as one float32 array; a context manager.

    The length is written into the header at the end, so a file that was not closed without an error holds none.

    Parameters
    ----------
    path : Path
        The file; replaced if it exists.
    channels : int
        Columns of the array, 1 or more.
    """

    def __init__(self, path: Path, channels: int) -> None:
        self.channels = channels
        self.frames = 0
        self._file = PacedFile(path)
        self._file.write(bytes(_HEADER_BYTES))

    def push(self, block: np.ndarray) -> None:
        """Append a block ``(frames, channels)`` of any real type."""
        if block.ndim != 2 or block.shape[1] != self.channels:
            raise ValueError(f"a block of shape {block.shape} does not fit {self.channels} channels")
        samples = np.ascontiguousarray(block, dtype="<f4")
        if samples.view("<u4").any():  # as bits: a negative zero is no hole
            self._file.write(samples.data)
        else:
            self._file.skip(samples.nbytes)
        self.frames += block.shape[0]

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        with self._file:
            if kind is None:
                self._file.begin_with(_header(self.frames, self.channels))


def write_array(path: Path, array: np.ndarray) -> None:
    """Write a whole array. Unlike numpy's own function, an error of the disk says what it was."""
    with path.open("wb") as file:
        np.lib.format.write_array_header_1_0(file, np.lib.format.header_data_from_array_1_0(array))
        file.write(np.ascontiguousarray(array).data)


def map_array(path: Path) -> np.ndarray:
    """Map a file of this module, or of numpy, for reading.

    numpy itself reads the header as Python, which threads of Python 3.11 now and then may not do at the same time.

    Raises
    ------
    ValueError
        when it is no plain array, or is shorter than its header says
    OSError
        when it cannot be opened
    """
    with path.open("rb") as file:
        start = file.read(len(_START) + 2)
        size = int.from_bytes(start[len(_START) :], "little")
        found = _HEADER.fullmatch(file.read(size))
    if not start.startswith(_START) or found is None:
        raise ValueError("no plain array")
    shape = tuple(int(length) for length in found[2].split(b",") if length.strip())
    try:
        return np.memmap(path, np.dtype(found[1].decode()), "r", len(start) + size, shape)
    except (TypeError, OverflowError) as error:
        raise ValueError(str(error)) from error


def _header(frames: int, channels: int) -> bytes:
    """Return a version 1.0 header (numpy format specification), padded to a fixed length."""
    text = f"{{'descr': '<f4', 'fortran_order': False, 'shape': ({frames}, {channels}), }}"
    start = _START + (_HEADER_BYTES - 10).to_bytes(2, "little")
    return start + text.ljust(_HEADER_BYTES - 11).encode("ascii") + b"\n"
