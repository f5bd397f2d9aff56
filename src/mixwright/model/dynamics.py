# SPDX-License-Identifier: Apache-2.0
"""What compressors and the limiter did to a mix."""

from __future__ import annotations

from mixwright.model.record import Record


class GainReduction(Record, frozen=True, kw_only=True):
    """By how much one processor takes down what passes it, in the band where most; the gain after it does not count.

    `processor` is the limiter, or an insert by its name in song.toml. `on` is the id of a group or send, or ``master``.
    The mean is that of the reduction in dB over the whole song.
    """

    processor: str
    on: str
    largest_reduction_db: float
    largest_at_s: float
    mean_reduction_db: float


class Dynamics(Record, frozen=True, kw_only=True):
    """All processors of a mix that are not linear.

    `limiter_trim_db`, 0 or below: what the whole mix is lowered by behind the limiter, so that its true peak at 16
    points a sample is the ceiling at most; None without a limiter.
    """

    reductions: tuple[GainReduction, ...]
    limiter_trim_db: float | None = None
