# SPDX-License-Identifier: Apache-2.0
"""The list of checks of a finished file: what was looked at, and what is to be mended."""

from __future__ import annotations

from collections.abc import Sequence

from mixwright.model.audio import Fault
from mixwright.model.results import CheckLine
from mixwright.model.words import FaultKind

#: Kinds of fault, the check that each belongs to, and what is said when there is none.
SOUND_CHECKS: tuple[tuple[frozenset[FaultKind], str, str], ...] = (
    (frozenset({"empty", "silent", "near_silent"}), "not silent", "it sounds"),
    (frozenset({"non_finite"}), "every sample has a value", "no NaN, none infinite"),
    (frozenset({"out_of_range"}), "no damaged samples", "none above +60 dBFS"),
    (frozenset({"clipped"}), "no flat peaks", "no runs of equal samples at the peaks"),
    (frozenset({"dc_offset"}), "no constant offset", "none that matters"),
)
STEREO_CHECKS: tuple[tuple[frozenset[FaultKind], str, str], ...] = (
    (frozenset({"one_side_dead"}), "both sides sound", "no side is dead"),
    (frozenset({"mono_as_stereo"}), "two different sides", "they differ"),
    (frozenset({"out_of_phase"}), "sides go together", "mono keeps them"),
)
PLAYED_CHECKS: tuple[tuple[frozenset[FaultKind], str, str], ...] = (
    (frozenset({"silence_before", "silence_after"}), "no long silence at its ends", "none"),
    (frozenset({"cut_start"}), "starts in quiet", "it does"),
    (frozenset({"cut_end"}), "ends in quiet", "it does"),
    (frozenset({"dropout"}), "no dropouts", "it goes on throughout"),
    (frozenset({"click"}), "no clicks", "no cut is heard"),
    (frozenset({"depth_unused"}), "its bits are used", "they are"),
    (frozenset({"no_dither"}), "dithered", "nothing shows that it was not"),
    (frozenset({"upsampled"}), "its rate is used", "it is"),
    (frozenset({"lossy_source"}), "never coded", "nothing shows that it was"),
)
MIX_CHECKS: tuple[tuple[frozenset[FaultKind], str, str], ...] = (
    (frozenset({"length_differs"}), "as long as the mix", "to the sample"),
    (frozenset({"rate_differs"}), "at the rate of the mix", "it is"),
    (frozenset({"start_differs"}), "starts with the mix", "nothing shows otherwise"),
    (frozenset({"polarity"}), "moves with the mix", "nothing shows otherwise"),
    (frozenset({"sides_changed"}), "left and right as in the mix", "nothing shows otherwise"),
    (frozenset({"gain_differs"}), "as loud as in the mix", "nothing shows otherwise"),
)
AGREED_CHECKS: tuple[tuple[frozenset[FaultKind], str, str], ...] = (
    (frozenset({"rate_differs"}), "the agreed rate", "it is"),
    (frozenset({"depth_differs"}), "the agreed depth and channels", "they are"),
    (frozenset({"length_differs"}), "the agreed length", "it is"),
    (frozenset({"loudness_differs"}), "the agreed loudness", "within 0.5 LU"),
)
NAME_CHECKS: tuple[tuple[frozenset[FaultKind], str, str], ...] = (
    (frozenset({"name_unsafe"}), "portable name", "safe on every system"),
    (frozenset({"name_differs"}), "the name says what it is", "nothing in it is wrong"),
    (frozenset({"tags_missing", "tag_differs"}), "tags", "nothing in them is wrong"),
)


def line(name: str, passed: bool, detail: str) -> CheckLine:
    """Return one check."""
    return CheckLine(name=name, passed=passed, detail=detail)


def lines_of(checks: Sequence[tuple[frozenset[FaultKind], str, str]], faults: Sequence[Fault]) -> tuple[CheckLine, ...]:
    """Return each check with the faults that it failed for; one that is only good to know fails none."""
    lines = []
    for kinds, name, good in checks:
        found = [fault for fault in faults if fault.kind in kinds]
        told = [one.detail if one.at_s is None else f"{one.detail}, from {one.at_s:.2f} s" for one in found]
        lines.append(line(name, all(one.severity == "note" for one in found), "; ".join(told) or good))
    return tuple(lines)
