# SPDX-License-Identifier: Apache-2.0
"""Inserts that add harmonics or change the low end or the width."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta

from mixwright.model.filters import Hz
from mixwright.model.insert import Insert


class Saturation(Insert, frozen=True, kw_only=True, tag="saturation"):
    """A curve that bends what is loud: adds harmonics and takes peaks down.

    `drive_db` is how far up the curve the signal is sent; it comes back down by as much, and then up again so that a
    sine of -12 dBFS is as loud as it was. How loud the track itself has become is for `gain_db` to even out.
    `smooth` bends from the start, `gentle` more widely, `hard` hardly until near its limit. `bias` shifts the signal
    along the curve: 0 adds odd harmonics alone, more of it more even ones. What the curve makes above the range of the
    rate is computed at `oversampling` times the rate and taken out.
    """

    curve: Literal["smooth", "gentle", "hard"] = "smooth"
    drive_db: Annotated[float, Meta(ge=-12.0, le=36.0)] = 6.0
    bias: Annotated[float, Meta(ge=0.0, le=1.0)] = 0.0
    oversampling: Literal[2, 4, 8] = 4


class Width(Insert, frozen=True, kw_only=True, tag="width"):
    """Width by ranges, and the levels of middle and side; the sum of left and right stays as it was, times `middle_db`.

    `widths`: the factor of the side signal in each range, the lowest first (0 mono, 1 as it is, 2 doubled); `splits_hz`
    where one range ends and the next begins, so one fewer. Widths change by at most 24 dB/oct around a split. 0 for the
    lowest range makes what lies below its split mono.
    """

    splits_hz: Annotated[tuple[Hz, ...], Meta(max_length=3)] = ()
    widths: Annotated[tuple[Annotated[float, Meta(ge=0.0, le=2.0)], ...], Meta(min_length=1, max_length=4)] = (1.0,)
    middle_db: Annotated[float, Meta(ge=-24.0, le=24.0)] = 0.0
    side_db: Annotated[float, Meta(ge=-24.0, le=24.0)] = 0.0
