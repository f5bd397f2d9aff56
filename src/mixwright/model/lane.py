# SPDX-License-Identifier: Apache-2.0
"""Automation: one breakpoint lane per parameter."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta

from mixwright.model.record import Record

LaneParameter = Literal["level", "pan", "left", "right", "width"]


class Breakpoint(Record, frozen=True, kw_only=True):
    """A value at a time; between two breakpoints the value moves in a straight line."""

    at_s: Annotated[float, Meta(ge=0.0, le=86400.0)]
    value: float


class Lane(Record, frozen=True, kw_only=True):
    """Automation of one parameter of a track or group: dB to add (`level`), or the position itself.

    Before the first and after the last breakpoint the nearest value holds. Two breakpoints at one
    time make a step.
    """

    target: str
    parameter: LaneParameter
    points: tuple[Breakpoint, ...]
