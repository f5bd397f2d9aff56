# SPDX-License-Identifier: Apache-2.0
"""The strip of a track, group, send or master, as settings."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta

from mixwright.model.record import Record

Db = Annotated[float, Meta(ge=-120.0, le=24.0)]
Position = Annotated[float, Meta(ge=-1.0, le=1.0)]
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


class Strip(Record, frozen=True, kw_only=True):
    """Trim, polarity, delay, filters, position and fader of one strip.

    `pan` places a mono track (-1 left, 0 centre, +1 right). `left` and `right` place the two sides
    of a stereo track, group, send or master independently; `width` scales its side signal first
    (0 mono, 1 as it is, 2 side doubled). `delay_ms` is rounded to whole frames; negative = earlier.
    """

    trim_db: Db = 0.0
    polarity: Literal["normal", "inverted"] = "normal"
    delay_ms: Annotated[float, Meta(ge=-1000.0, le=1000.0)] = 0.0
    high_pass: Pass | None = None
    low_pass: Pass | None = None
    eq: Annotated[tuple[EqBand, ...], Meta(max_length=16)] = ()
    pan: Position = 0.0
    left: Position = -1.0
    right: Position = 1.0
    width: Annotated[float, Meta(ge=0.0, le=2.0)] = 1.0
    fader_db: Db = 0.0
