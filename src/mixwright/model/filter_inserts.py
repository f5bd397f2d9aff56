# SPDX-License-Identifier: Apache-2.0
"""Inserts that filter."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta

from mixwright.model.filters import EqBand, Pass
from mixwright.model.insert import Insert


class Filters(Insert, frozen=True, kw_only=True, tag="filters"):
    """A high-pass, a low-pass and bands of an equaliser, as in the strip itself, anywhere among the inserts.

    `phase`: "minimum" has no latency. "linear" has the same gains, delays all frequencies alike, by 176 ms at 48 kHz,
    and rings as long before a sound as after it. It follows what rings for less than 171 ms: passes from 20 Hz up, from
    40 Hz where they fall by 36 dB an octave or more, and bells whose hz is at least 15 times their q. It cannot move.
    """

    high_pass: Pass | None = None
    low_pass: Pass | None = None
    bands: Annotated[tuple[EqBand, ...], Meta(max_length=16)] = ()
    phase: Literal["minimum", "linear"] = "minimum"
