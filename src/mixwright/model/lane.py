# SPDX-License-Identifier: Apache-2.0
"""Automation: one breakpoint lane per parameter."""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from msgspec import Meta

from mixwright.model.record import Record

#: Fader and positions of a strip; any number that a setting of an insert is stands beside them by its path.
StripParameter = Literal["level", "pan", "left", "right", "width"]
LaneParameter: TypeAlias = Annotated[
    str,
    Meta(
        pattern=r"^(level|mute|pan|left|right|width|sends\.[a-z0-9]+(-[a-z0-9]+)*|"
        r"inserts\[\d{1,2}\](\.[a-z][a-z0-9_]*|\[\d{1,2}\]){1,8})$"
    ),
]


class Breakpoint(Record, frozen=True, kw_only=True):
    """A value at a time; between two breakpoints the value moves in a straight line."""

    at_s: Annotated[float, Meta(ge=0.0, le=86400.0)]
    value: float


class Lane(Record, frozen=True, kw_only=True):
    """Automation of one parameter of a track, group or send, or of the master.

    `level` is dB to add, ``sends.ID`` dB to add to what is sent there. `mute` is 1 where it is silent, 0 where it
    sounds, from a breakpoint to the next; who has the strip for a key hears it all the same. Everything else is the
    value itself: a position, or a setting of an insert by its path in the strip, like ``inserts[1].threshold_db``. Of a
    source, `level`, `mute` and ``sends.ID`` are for each of its tracks, on top of their own.

    Before the first and after the last breakpoint the nearest value holds. Two breakpoints at one
    time make a step.
    """

    target: str
    parameter: LaneParameter
    points: tuple[Breakpoint, ...]
