# SPDX-License-Identifier: Apache-2.0
"""Checks of files that belong together: equal length, one start, no file twice, all that is owed, parts that add up."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixwright.core.resample import resampled_frames
from mixwright.delivery.check_lines import line
from mixwright.delivery.finished.beside_mix import beside_mix
from mixwright.delivery.finished.parts import ADDS_UP_DB, SumOfParts, sum_of_parts
from mixwright.delivery.name_checks import taken_names
from mixwright.errors import count, listed, printable
from mixwright.jobs.progress import Cancel
from mixwright.model.results import CheckLine


@dataclass(frozen=True, eq=False)
class SetFile:
    """One file of a set: its name, which print it is ("" where nobody knows), and its sound at its own rate.

    `audio`: (frames, channels), may be mapped. `content`: a digest of the samples; "" where none was made.
    """

    name: str
    kind: str
    rate_hz: int
    audio: npt.NDArray[np.float32]
    content: str = ""


def set_checks(
    files: Sequence[SetFile], *, owed: Mapping[str, int] | None = None, cancel: Cancel | None = None
) -> tuple[CheckLine, ...]:
    """Return what shows of a set of files alone.

    Parameters
    ----------
    files : sequence of SetFile
        The main mix first; those that are at its rate are lined up with it.
    owed : mapping, optional
        How many files of each kind are owed at least.
    """
    checks = [_lengths(files), _names(files), _twice(files), _aligned(files, cancel)]
    if owed:
        checks.append(_complete(files, owed))
    return tuple(checks)


def _lengths(files: Sequence[SetFile]) -> CheckLine:
    lengths = Counter((one.rate_hz, len(one.audio)) for one in files)
    (rate_hz, frames), _ = max(lengths.items(), key=lambda item: (item[1], -item[0][0]), default=((0, 0), 0))
    wrong = [
        f"{printable(one.name)} has {count(len(one.audio), 'sample')}, wanted are {wanted}"
        for one in files
        if len(one.audio)
        != (wanted := frames if one.rate_hz == rate_hz else resampled_frames(frames, rate_hz, one.rate_hz))
    ]
    return line("equal length", not wrong, "; ".join(wrong) or f"{count(len(files), 'file')} of {frames} samples")


def _names(files: Sequence[SetFile]) -> CheckLine:
    taken = taken_names([one.name for one in files])
    wrong = [f"{printable(name)} is {printable(first)} to some systems; rename it" for name, first in taken.items()]
    return line("every name once", not wrong, "; ".join(wrong) or "all differ, without regard to case")


def _twice(files: Sequence[SetFile]) -> CheckLine:
    """Return whether two files of different names hold the same; the same print in two formats is none."""
    first: dict[str, str] = {}
    wrong = []
    for one in files:
        if one.content and one.content in first:
            wrong.append(f"{printable(one.name)} holds the same as {printable(first[one.content])}")
        elif one.content:
            first[one.content] = one.name
    return line("no file twice", not wrong, "; ".join(wrong) or "all hold something else")


def _aligned(files: Sequence[SetFile], cancel: Cancel | None) -> CheckLine:
    wrong = []
    for one in files[1:]:
        if one.rate_hz != files[0].rate_hz or not len(one.audio) or not len(files[0].audio):
            continue
        late = beside_mix(files[0].audio, one.audio, one.rate_hz, cancel).late_frames
        if late:
            wrong.append(f"{printable(one.name)} is {count(abs(late), 'sample')} {'late' if late > 0 else 'early'}")
    return line("one start", not wrong, "; ".join(wrong) or "nothing shows that a file is early or late")


def _complete(files: Sequence[SetFile], owed: Mapping[str, int]) -> CheckLine:
    there = Counter(one.kind for one in files)
    short = [
        f"{kind} ({there[kind]} of {many})" if many > 1 else kind for kind, many in owed.items() if there[kind] < many
    ]
    return line("all that is owed", not short, f"missing: {listed(short)}" if short else "all of it is there")


def parts_check(
    mix: SetFile, parts: Sequence[SetFile], cancel: Cancel | None = None
) -> tuple[CheckLine, SumOfParts | None]:
    """Return whether parts add up to a mix, with which part is off and how where that is known."""
    name = "parts add up to the mix"
    wrong = [one.name for one in parts if one.rate_hz != mix.rate_hz or one.audio.shape[1] != mix.audio.shape[1]]
    if wrong:
        return line(name, False, f"{listed(wrong)}: another rate or other channels than the mix"), None
    found = sum_of_parts(mix.audio, [one.audio for one in parts], mix.rate_hz, cancel)
    if found.residual_db is None:
        return line(name, True, "exactly"), found
    told = f"what is left lies {-found.residual_db:.0f} dB below the mix"
    if found.adds_up:
        return line(name, True, told), found
    off = "; ".join(f"{printable(parts[one.part].name)} is {one.words}" for one in found.off)
    unknown = "a part is missing, too many, or mixed otherwise"
    return line(name, False, f"{told}, wanted are {-ADDS_UP_DB:.0f}; {off or unknown}"), found
