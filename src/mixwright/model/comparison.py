# SPDX-License-Identifier: Apache-2.0
"""A mix beside its references: what `compare` returns."""

from __future__ import annotations

from mixwright.model.profile import Attribute, Unit
from mixwright.model.record import Record


class ComparedRow(Record, frozen=True, kw_only=True):
    """One figure of the mix on the interval that `references` records span.

    `section`: "" for the whole song. `low_hz`, `high_hz`: the band, None where it has none. `outside`: how far above
    (+) or below (-) the interval, in `unit`; 0 inside, and where it is too little to be noticed. `heard`: how loud the
    band is beside the loudest of the song, 0 to 1; 1 where it has none.
    """

    attribute: Attribute
    figure: str
    unit: Unit
    section: str = ""
    low_hz: float | None = None
    high_hz: float | None = None
    value: float
    low: float
    high: float
    outside: float
    references: int
    heard: float = 1.0

    @property
    def widths(self) -> float:
        """How far outside in halves of the interval's width, so that unlike figures can be put in order."""
        return self.outside / max(0.5 * (self.high - self.low), 1e-9)

    @property
    def weight(self) -> float:
        """What puts figures in order: how far outside, less where little is heard of the band."""
        return abs(self.widths) * self.heard


class ComparedReference(Record, frozen=True, kw_only=True):
    """A reference as it was used: `gain_db` brings it to the loudness of the mix; None where it cannot be used.

    `weak`: what is wrong with it, each with what is left out of it. `beside`: which of its sections stands beside each
    section of the mix, and from where to where.
    """

    id: str
    file: str
    use_for: tuple[str, ...]
    integrated_lufs: float | None
    gain_db: float | None
    weak: tuple[str, ...] = ()
    beside: dict[str, tuple[str, float, float]] = {}


class Excerpt(Record, frozen=True, kw_only=True):
    """A file to listen to; all of one section are equally loud, and a band of one is as loud as it is in the whole.

    `of`: "mix", or the id of a reference. `band`: whole, low, middle or top.
    """

    file: str
    of: str
    section: str
    band: str
    start_s: float
    end_s: float


class CompareResult(Record, frozen=True, kw_only=True):
    """Where a mix stands beside its references; `sounding`: as in MeasureResult, "" for a file made elsewhere.

    `only`: the attributes that were asked for. `notes`: what else to know.
    """

    file: str
    integrated_lufs: float | None
    references: tuple[ComparedReference, ...]
    sections: tuple[str, ...]
    rows: tuple[ComparedRow, ...]
    only: tuple[str, ...] = ()
    excerpts: tuple[Excerpt, ...] = ()
    notes: tuple[str, ...] = ()
    sounding: str = ""
