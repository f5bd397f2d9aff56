# SPDX-License-Identifier: Apache-2.0
"""Proof of a delivery from its files: each holds what was rendered, and the parts add up to the whole."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeAlias

import numpy as np

from mixwright.io.read_back import written_blocks
from mixwright.io.write import BITS, SampleFormat
from mixwright.jobs.pool import Team
from mixwright.model.prints import SumOfParts
from mixwright.model.results import CheckLine
from mixwright.model.words import PrintKind
from mixwright.units import db_from_power, db_from_ratio

#: Largest difference between the whole and the sum of its parts: what rounding of the files leaves stays far below. At
#: 16 bit it depends on how many files are added, each with up to one and a half steps of rounding and dither.
LARGEST_RESIDUAL_DBFS: dict[SampleFormat, float] = {"pcm24": -90.0, "float32": -120.0}
#: Of what add up to the mix: how it is told, and of which kinds.
_SUMS: tuple[tuple[str, frozenset[PrintKind]], ...] = (
    ("stems", frozenset({"stem"})),
    ("layers", frozenset({"layer"})),
    ("dry and wet", frozenset({"dry", "wet"})),
    ("instrumental and a cappella", frozenset({"instrumental", "a_cappella"})),
)
_DEPTHS: dict[SampleFormat, str] = {"pcm16": "16-bit", "pcm24": "24-bit", "float32": "float"}
_BLOCK_FRAMES = 32768

#: Audio by first and end frame.
Block: TypeAlias = Callable[[int, int], np.ndarray]


@dataclass(frozen=True)
class Proof:
    """A written file, and the audio that it must hold: float64 ``(end - start, 2)`` by its first and end frame.

    `adds_up`: whether it is one of those that add up to the mix. `rate_hz`: of the file.
    """

    path: Path
    kind: PrintKind
    sample_format: SampleFormat
    rate_hz: int
    frames: int
    block: Block
    adds_up: bool = True


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
        self.file = file
        self._blocks = blocks

    def read(self, start: int, count: int) -> None:
        """Read the next block; where frames are missing, silence stands for them."""
        found = next(self._blocks, self.block[:0])
        self.length += len(found)
        self.block = found
        if len(found) != count:
            self.block = np.zeros((count, 2))
            self.block[: len(found)] = found[:count]
        self.rendered = self.file.block(start, start + count)
        self.own.add(self.block, self.rendered)

    def end(self) -> None:
        """Count what lies behind the end."""
        self.length += sum(len(block) for block in self._blocks)


@dataclass
class _Sum:
    """Parts that must add up to the mix: to its file, or as rendered."""

    name: str
    sample_format: SampleFormat
    parts: list[int]
    whole: int | None
    residual: Residual = field(default_factory=Residual)


def prove(
    files: Sequence[Proof], mixes: Mapping[int, Block], progress: Callable[[int], None]
) -> tuple[tuple[CheckLine, ...], tuple[SumOfParts, ...]]:
    """Read all files of a delivery back together, once, and return what they show, and how parts add up.

    Parameters
    ----------
    files : sequence of Proof
    mixes : mapping
        The main mix at every rate at which parts shall add up to it, as loud as in their files.
    progress : callable
        Told the frames read of every block of every file.

    Raises
    ------
    OutputError
        when a file cannot be read back
    """
    lines: list[CheckLine] = []
    sums: list[SumOfParts] = []
    found: list[_ReadBack] = []
    for rate_hz in dict.fromkeys(file.rate_hz for file in files):
        of_rate = [file for file in files if file.rate_hz == rate_hz]
        read, added = _read_all(of_rate, mixes.get(rate_hz), progress)
        found += read
        told = "" if rate_hz == files[0].rate_hz else f" at {rate_hz} Hz"
        sums += [_told(total, told) for total in added]
        lines.append(_lengths(of_rate, [one.length for one in read], told))
    lines.append(_contents([one.file for one in found], [one.own for one in found]))
    return (*lines, *(_null(total) for total in sums)), tuple(sums)


def _read_all(
    files: Sequence[Proof], mix: Block | None, progress: Callable[[int], None]
) -> tuple[list[_ReadBack], list[_Sum]]:
    sums = _sums(files) if mix is not None else []
    frames = max(file.frames for file in files)
    with ExitStack() as opened, Team() as team:
        blocks = [opened.enter_context(closing(written_blocks(file.path, _BLOCK_FRAMES))) for file in files]
        found = [_ReadBack(*both) for both in zip(files, blocks, strict=True)]
        for start in range(0, frames, _BLOCK_FRAMES):
            count = min(_BLOCK_FRAMES, frames - start)
            team.do(functools.partial(one.read, start, count) for one in found)
            rendered = mix(start, start + count) if sums and mix is not None else None
            for total in sums:
                whole = rendered if total.whole is None else found[total.whole].block
                if whole is not None:
                    total.residual.add(np.sum([found[i].block for i in total.parts], axis=0), whole)
            progress(count * len(files))
        for one in found:
            one.end()
    return found, sums


def _sums(files: Sequence[Proof]) -> list[_Sum]:
    """Return the sums of every depth, each against the mix as rendered, and against its file that is most exact."""
    formats: tuple[SampleFormat, ...] = ("pcm24", "float32", "pcm16")
    mains = [i for form in formats for i, f in enumerate(files) if f.kind == "main" and f.sample_format == form]
    found = []
    for name, kinds in _SUMS:
        for form in formats:
            parts = [i for i, f in enumerate(files) if f.kind in kinds and f.sample_format == form and f.adds_up]
            if len({files[i].kind for i in parts}) < len(kinds) and kinds != frozenset({"dry", "wet"}):
                continue
            own = name if form == "pcm24" and len(kinds) > 1 else f"{_DEPTHS[form]} {name}"
            same = [i for i in mains if files[i].sample_format == form]
            if parts and (form == "float32" or not mains):
                found.append(_Sum(f"{own} against the rendered mix", form, parts, None))
            if parts and mains:
                found.append(_Sum(f"{own} against the main mix", form, parts, (same or mains)[0]))
    return found


def _lengths(files: Sequence[Proof], lengths: Sequence[int], told: str) -> CheckLine:
    expected = files[0].frames
    wrong = [f"{f.path.name} has {n}" for f, n in zip(files, lengths, strict=True) if n != expected]
    return CheckLine(
        name=f"equal length{told}",
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


def _told(total: _Sum, at: str) -> SumOfParts:
    largest = LARGEST_RESIDUAL_DBFS.get(total.sample_format)
    if largest is None:
        steps = 1.5 * (len(total.parts) + 1)
        largest = 20.0 * math.log10(steps * 2.0 ** (1 - BITS[total.sample_format]))
    return SumOfParts(
        name=f"{total.name}{at}",
        residual_peak_dbfs=total.residual.peak_dbfs,
        residual_rms_dbfs=total.residual.rms_dbfs,
        largest_dbfs=round(largest, 1),
    )


def _null(total: SumOfParts) -> CheckLine:
    peak = total.residual_peak_dbfs
    passed = peak is None or peak < total.largest_dbfs
    wanted = "" if passed else f"; wanted below {total.largest_dbfs:.0f}"
    told = f"residual {_db(peak)} dBFS peak, {_db(total.residual_rms_dbfs)} dBFS rms{wanted}"
    return CheckLine(name=total.name, passed=passed, detail=told)


def _db(value: float | None) -> str:
    return "-inf" if value is None or not math.isfinite(value) else f"{value:.1f}"
