# SPDX-License-Identifier: Apache-2.0
"""What `deliver` returns: the files of a set, what they were checked for, and a set that was looked at again."""

from __future__ import annotations

from typing import Literal

from mixwright.model.record import Record
from mixwright.model.results import CheckLine
from mixwright.model.words import PrintKind


class PrintedFile(Record, frozen=True, kw_only=True):
    """One file of a delivery.

    `print`: which print it is, within the delivery. `audio_sha256`: of its samples alone, interleaved, as little-endian
    numbers of its depth. `gain_db`: by how much it is louder than in the mix. `tracks`: those that sound in it.
    """

    file: str
    kind: PrintKind
    sha256: str
    sample_format: Literal["pcm16", "pcm24", "float32"]
    rate_hz: int
    frames: int
    integrated_lufs: float | None
    true_peak_dbtp: float | None
    print: str = ""
    audio_sha256: str = ""
    size_bytes: int = 0
    gain_db: float = 0.0
    tracks: tuple[str, ...] = ()


class CopiedFile(Record, frozen=True, kw_only=True):
    """A file that was copied beside the prints, such as the preview that the artist approved."""

    file: str
    kind: PrintKind
    sha256: str
    size_bytes: int
    copy_of: str


class SumOfParts(Record, frozen=True, kw_only=True):
    """How parts add up to the mix: peak and RMS of what is left, None where nothing is; at most `largest_dbfs`."""

    name: str
    residual_peak_dbfs: float | None
    residual_rms_dbfs: float | None
    largest_dbfs: float


class DeliverResult(Record, frozen=True, kw_only=True):
    """A delivery: one new folder of files, its manifest and its checks; `sounding` as in MeasureResult.

    `sums`: how stems, layers and the like add up to the mix. `missing`: what was agreed and is not there, and why.
    """

    folder: str
    manifest: str
    files: tuple[PrintedFile, ...]
    checks: tuple[CheckLine, ...]
    beside: tuple[CopiedFile, ...] = ()
    sums: tuple[SumOfParts, ...] = ()
    missing: tuple[str, ...] = ()
    sounding: str = ""


class VerifiedFile(Record, frozen=True, kw_only=True):
    """A file of a set, looked at again."""

    file: str
    state: Literal["as printed", "missing", "changed", "extra"]


class VerifyResult(Record, frozen=True, kw_only=True):
    """A folder or ZIP with a set of prints, held against its manifest."""

    place: str
    title: str
    files: tuple[VerifiedFile, ...]
    checks: tuple[CheckLine, ...]
