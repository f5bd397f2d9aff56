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
    """One band of the parametric equaliser.

    `bell`: `gain_db` at `hz`; `q` is hz by the width between half the gain in dB. `low_shelf`, `high_shelf`: `gain_db`
    below or above `hz`, half of it there; `q` sets the slope (0.7071 = no overshoot). `notch`: takes out `hz`.
    `band_pass`: lets `hz` alone pass as it is; `q` of both is hz by the width between -3 dB. `tilt`: 0 dB at `hz`,
    `gain_db` far above it and as much less far below; darker where negative; it has no `q`. Notch and band-pass have no
    gain.
    """

    kind: Literal["bell", "low_shelf", "high_shelf", "notch", "band_pass", "tilt"] = "bell"
    hz: Hz
    gain_db: Annotated[float, Meta(ge=-24.0, le=24.0)] = 0.0
    q: Annotated[float, Meta(ge=0.1, le=40.0)] = 1.0
