# SPDX-License-Identifier: Apache-2.0
"""What is known of a file before and after decoding."""

from __future__ import annotations

from mixwright.model.record import Record
from mixwright.model.words import FaultKind, Severity


class Mark(Record, frozen=True, kw_only=True):
    """A named place in an audio file, in frames at its own rate."""

    frame: int
    label: str


class AudioInfo(Record, frozen=True, kw_only=True):
    """Header facts of an audio file. `bits` is None for floating-point and lossy files.

    `header_frames` is set when the header promises another number of frames than the file holds.
    `disagreements` says in words where else header and file do not go together.
    `time_stamp_frames`: frames from midnight to the first one, as a broadcast extension gives them.
    `speakers`: which speaker each channel is for, as far as the header says, or what each is called.
    `marks`: those with a name, in order of time.
    `start_known`: no silence of an encoder is left in front, as far as the header can tell.
    """

    container: str
    encoding: str
    sample_rate_hz: int
    channels: int
    frames: int
    bits: int | None = None
    header_frames: int | None = None
    disagreements: tuple[str, ...] = ()
    time_stamp_frames: int | None = None
    speakers: tuple[str, ...] = ()
    start_known: bool = True
    marks: tuple[Mark, ...] = ()


class Fault(Record, frozen=True, kw_only=True):
    """Something found in a received file: `note` = good to know, `look` = check it, `unusable` = left out."""

    kind: FaultKind
    severity: Severity
    detail: str
    at_s: float | None = None
