# SPDX-License-Identifier: Apache-2.0
"""Figures by two readings, and shares of a loss: what every record of the ear is made of."""

from __future__ import annotations

from mixwright.model.record import Record

#: Stands for all layers that are told together; no layer is called so.
OTHERS = "others"


class Range(Record, frozen=True, kw_only=True):
    """One figure by the two readings of the masked threshold: 10 dB lower (cued), and as published (strict).

    None where there is no such figure.
    """

    cued: float | None
    strict: float | None


class TakenBy(Record, frozen=True, kw_only=True):
    """Which part of a layer's loss another layer takes, cued.

    `others` stands for all below 3 %, in bands for all but three.
    """

    track: str
    fraction: float
