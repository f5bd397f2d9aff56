# SPDX-License-Identifier: Apache-2.0
"""Filters as settings: those of a strip, and of the inserts that filter."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta

from mixwright.model.record import Record

Hz = Annotated[float, Meta(ge=10.0, le=96000.0)]
SlopeDbOct = Literal[6, 12, 18, 24, 30, 36, 42, 48]


class Pass(Record, frozen=True, kw_only=True):
    """A high-pass or low-pass: Butterworth, -3 dB at `hz`."""

    hz: Hz
    slope_db_oct: SlopeDbOct = 12


class EqBand(Record, frozen=True, kw_only=True):
    """One band of the parametric equaliser; `q` of a shelf sets its slope (0.7071 = no overshoot)."""

    kind: Literal["bell", "low_shelf", "high_shelf"] = "bell"
    hz: Hz
    gain_db: Annotated[float, Meta(ge=-24.0, le=24.0)]
    q: Annotated[float, Meta(ge=0.1, le=40.0)] = 1.0
