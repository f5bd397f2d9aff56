# SPDX-License-Identifier: Apache-2.0
"""Proof of a delivery from its files: each holds what was rendered, and the parts add up to the whole."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from mixwright.io.read_back import written_blocks
from mixwright.io.write import BITS, SampleFormat
from mixwright.jobs.pool import Team
from mixwright.model.results import CheckLine
from mixwright.model.words import PrintKind
from mixwright.units import db_from_power, db_from_ratio

#: Largest difference between the whole and the sum of its parts: what rounding of the files leaves stays far below.
LARGEST_RESIDUAL_DBFS: dict[SampleFormat, float] = {"pcm24": -90.0, "float32": -120.0}
_BLOCK_FRAMES = 32768


@dataclass(frozen=True)
class Proof:
    """A written file and the audio ``(frames, 2)`` that it must hold, times `gain`."""

    path: Path
    kind: PrintKind
    sample_format: SampleFormat
    audio: np.ndarray
    gain: float


@dataclass
class Residual:
    """Peak and power of a difference, and peak of what was wanted."""

    peak: float = 0.0
    peak_of_wanted: float = 0.0
    power: float = 0.0
    samples: int = 0

    def add(self, found: np.ndarray, wanted: np.ndarray) -> None:
        """Take the next block."""
        difference = found - wanted
        if difference.size:
            self.peak_of_wanted = max(self.peak_of_wanted, float(np.abs(wanted).max()))
            self.peak = max(self.peak, float(np.abs(difference).max()))
            self.power += float(np.sum(np.square(difference)))
            self.samples += difference.size

    @property
    def peak_dbfs(self) -> float | None:
        """Peak in dB re full scale; None for no difference at all."""
        return db_from_ratio(self.peak)

    @property
    def rms_dbfs(self) -> float | None:
        """RMS in dB re the square of full scale; None for no difference at all."""
        return db_from_power(self.power / self.samples) if self.samples else None


class _ReadBack:
    """A file that is read back beside what it must hold: the newest block of both, and their difference so far."""

    def __init__(self, file: Proof, blocks: Iterator[np.ndarray]) -> None:
        self.own = Residual()
        self.length = 0
        self.block = self.rendered = np.zeros((0, 2))
        self._file = file
        self._blocks = blocks

    def read(self, start: int, count: int) -> None:
        """Read the next block; where frames are missing, silence stands for them."""
        found = next(self._blocks, self.block[:0])
        self.length += len(found)
        self.block = found
        if len(found) != count:
            self.block = np.zeros((count, 2))
            self.block[: len(found)] = found[:count]
        self.rendered = self._file.audio[start : start + count].astype(np.float64) * self._file.gain
        self.own.add(self.block, self.rendered)

    def end(self) -> None:
        """Count what lies behind the end."""
        self.length += sum(len(block) for block in self._blocks)


@dataclass
class _Sum:
    """Parts that must add up to the main mix: to its 24-bit file, or to the mix as rendered."""

    name: str
    sample_format: SampleFormat
    parts: list[int]
    whole: int | None
    residual: Residual = field(default_factory=Residual)


def prove(files: Sequence[Proof], progress: Callable[[int], None]) -> tuple[CheckLine, ...]:
    """Read all files of a delivery back together, once, and return what they show.

    Parameters
    ----------
    files : sequence of Proof
        The main mix first.
    progress : callable
        Told the frames read of every block.

    Raises
    ------
    OutputError
        when a file cannot be read back
    """
    sums = _sums(files)
    frames = len(files[0].audio)
    with ExitStack() as opened, Team() as team:
        blocks = [opened.enter_context(closing(written_blocks(file.path, _BLOCK_FRAMES))) for file in files]
        found = [_ReadBack(*both) for both in zip(files, blocks, strict=True)]
        for start in range(0, frames, _BLOCK_FRAMES):
            count = min(_BLOCK_FRAMES, frames - start)
            team.do(functools.partial(one.read, start, count) for one in found)
            for total in sums:
                whole = found[0].rendered if total.whole is None else found[total.whole].block
                total.residual.add(np.sum([found[i].block for i in total.parts], axis=0), whole)
            progress(count)
        for one in found:
            one.end()
    checks = [_lengths(files, [one.length for one in found]), _contents(files, [one.own for one in found])]
    return (*checks, *(_null(total) for total in sums))


def _sums(files: Sequence[Proof]) -> list[_Sum]:
    def chosen(kinds: set[PrintKind], sample_format: SampleFormat) -> list[int]:
        return [i for i, file in enumerate(files) if file.kind in kinds and file.sample_format == sample_format]

    halves = chosen({"instrumental", "a_cappella"}, "pcm24")
    floats, stems = chosen({"stem"}, "float32"), chosen({"stem"}, "pcm24")
    sums = [
        _Sum("float stems against the rendered mix", "float32", floats, None),
        _Sum("float stems against the main mix", "float32", floats, 0),
        _Sum("24-bit stems against the main mix", "pcm24", stems, 0),
        _Sum("instrumental and a cappella against the main mix", "pcm24", halves, 0),
    ]
    return [total for total in sums if total.parts]


def _lengths(files: Sequence[Proof], lengths: Sequence[int]) -> CheckLine:
    expected = len(files[0].audio)
    wrong = [f"{f.path.name} has {n}" for f, n in zip(files, lengths, strict=True) if n != expected]
    return CheckLine(
        name="equal length",
        passed=not wrong,
        detail="; ".join(wrong) or f"all {len(files)} files start together and hold {expected} samples a channel",
    )


def _contents(files: Sequence[Proof], own: Sequence[Residual]) -> CheckLine:
    """Check every file against what was rendered: rounding and dither stay within 1.5 steps."""
    wrong = []
    worst = 0.0
    for file, residual in zip(files, own, strict=True):
        bits = BITS[file.sample_format]
        allowed = (
            max(1.0, residual.peak_of_wanted) * 2.0**-24 if file.sample_format == "float32" else 1.5 * 2.0 ** (1 - bits)
        )
        if not residual.peak <= allowed * (1.0 + 1e-9):
            wrong.append(f"{file.path.name} differs by {_db(residual.peak_dbfs)} dBFS")
        worst = max(worst, residual.peak)
    return CheckLine(
        name="files hold what was rendered",
        passed=not wrong,
        detail="; ".join(wrong) or f"largest difference {_db(db_from_ratio(worst))} dBFS, from rounding and dither",
    )


def _null(total: _Sum) -> CheckLine:
    peak, rms = total.residual.peak_dbfs, total.residual.rms_dbfs
    largest = LARGEST_RESIDUAL_DBFS[total.sample_format]
    passed = peak is None or peak < largest
    wanted = "" if passed else f"; wanted below {largest:.0f}"
    return CheckLine(
        name=total.name, passed=passed, detail=f"residual {_db(peak)} dBFS peak, {_db(rms)} dBFS rms{wanted}"
    )


def _db(value: float | None) -> str:
    return "-inf" if value is None or not math.isfinite(value) else f"{value:.1f}"
