# SPDX-License-Identifier: Apache-2.0
"""The third-octave spectrum of the mix beside what its references span."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from mixwright.model.results import MeasureResult
from mixwright.report.figures import count, hertz, number, with_unit
from mixwright.report.markup import Markup, element
from mixwright.report.strips import mark, percent, picture
from mixwright.report.tables import table_of

#: Figures have one decimal: what would read as 0.0 dB outside is inside.
_EDGE_DB = 0.05
_HEIGHT_PX, _EDGE_PX, _STEP_DB = 240, 10, 10.0
#: Octaves that carry a label: everywhere, and on wide screens only.
_LABELS_HZ = {63.0: "", 250.0: "", 1000.0: "", 4000.0: "", 16000.0: "", 125.0: "wide", 500.0: "wide", 2000.0: "wide"}
_LABELS_HZ |= {8000.0: "wide", 31.5: "wide"}
#: Nominal mid-band frequencies of a decade (IEC 61260-1, annex E).
_NOMINAL = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)


class Band(NamedTuple):
    """One third of an octave: levels are dB beside the integrated loudness."""

    hz: float
    level_db: float
    low_db: float | None
    high_db: float | None

    @property
    def off_db(self) -> float:
        """How far outside the interval: negative below, positive above; 0 inside, by less than is told, or unknown."""
        if self.low_db is not None and self.level_db < self.low_db - _EDGE_DB:
            return self.level_db - self.low_db
        above = self.high_db is not None and self.level_db > self.high_db + _EDGE_DB
        return self.level_db - self.high_db if above and self.high_db is not None else 0.0


def bands_of(measure: MeasureResult) -> list[Band]:
    """Return the bands of the mix that have a level, each with what the references span there."""
    loudness = measure.mix.integrated_lufs
    if loudness is None:
        return []
    spread = measure.reference_spectrum
    known: dict[float, tuple[float | None, float | None]] = {}
    if spread is not None:
        edges = zip(spread.third_octave_hz, spread.low_db, spread.high_db, strict=True)
        known = {nominal(hz): (low, high) for hz, low, high in edges}
    bands = zip(measure.mix.third_octave_hz, measure.mix.third_octave_db, strict=True)
    return [
        Band(nominal(hz), level - loudness, *known.get(nominal(hz), (None, None)))
        for hz, level in bands
        if level is not None and hz >= 22.0
    ]


def spectrum_sentence(measure: MeasureResult, bands: list[Band]) -> str:
    """Return how many bands lie within what the references span, and which one the furthest outside."""
    spread = measure.reference_spectrum
    if spread is None:
        return "No reference counts for the spectrum: name one with --reference at `start`, or in use_for in song.toml."
    known = [band for band in bands if band.low_db is not None]
    off = [band for band in known if band.off_db]
    beside = f"Beside {count(len(spread.references), 'reference')} at equal loudness, "
    if not off:
        return beside + f"all {len(known)} bands lie within what they span."
    far = max(off, key=lambda band: abs(band.off_db))
    side = "above" if far.off_db > 0 else "below"
    inside = f"{len(known) - len(off)} of {len(known)} bands lie within what they span; "
    return beside + inside + f"the furthest outside is {hertz(far.hz)}, {number(abs(far.off_db))} dB {side}."


def spectrum_picture(bands: list[Band]) -> Markup:
    """Return the bands as marks, each on the interval of the references: no curve."""
    values = [value for band in bands for value in (band.level_db, band.low_db, band.high_db) if value is not None]
    top = max(values)
    bottom = max(min(values), top - 60.0)
    tick = -(-bottom // _STEP_DB) * _STEP_DB
    ticks = []
    while tick <= top:
        ticks.append(tick)
        tick += _STEP_DB

    def down(level_db: float) -> float:
        part = (top - max(level_db, bottom)) / max(top - bottom, 1.0)
        return round(_EDGE_PX + part * (_HEIGHT_PX - 2 * _EDGE_PX), 1)

    lines = [element("line", x1="0", x2="100%", y1=down(t), y2=down(t), class_="grid") for t in ticks]
    shapes = [s for i, band in enumerate(bands) for s in _band(band, 100.0 * (i + 0.5) / len(bands), down)]
    labels = [
        element("text", hertz(band.hz).replace(" Hz", "").replace(" kHz", "k"), x=percent(100 * (i + 0.5) / len(bands)),
                y=14, text_anchor="middle", class_=_LABELS_HZ[band.hz] or None)
        for i, band in enumerate(bands) if band.hz in _LABELS_HZ
    ]  # fmt: skip
    left = [element("text", number(t, 0), x="100%", y=down(t) + 4, text_anchor="end") for t in ticks]
    return element(
        "div",
        element(
            "div", picture(left, height_px=_HEIGHT_PX), picture(lines, shapes, height_px=_HEIGHT_PX), class_="plot"
        ),
        element("div", element("span", "dB", class_="unit"), picture(labels, height_px=18), class_="plot axis"),
        class_="chart",
    )


def spectrum_table(bands: list[Band]) -> Markup:
    """Return the same as a table of figures."""
    body = [
        (
            hertz(band.hz),
            with_unit(band.level_db, "dB"),
            _span(band),
            with_unit(band.off_db, "dB", sign=True) if band.off_db else "inside",
        )
        for band in bands
    ]
    return table_of(("Band", "Mix", "References", "Outside"), body)


def nominal(hz: float) -> float:
    """Return the nominal mid-band frequency nearest to an exact one."""
    decade = 10.0
    while decade * 10 <= hz * 1.05:
        decade *= 10
    return min((round(decade * n, 2) for n in (*_NOMINAL, 10.0)), key=lambda value: abs(value / hz - 1))


def _span(band: Band) -> str:
    if band.low_db is None or band.high_db is None:
        return "-"
    return f"{number(band.low_db)} to {with_unit(band.high_db, 'dB')}"


def _band(band: Band, x_percent: float, down: Callable[[float], float]) -> list[Markup]:
    shapes = []
    x = percent(x_percent)
    if band.low_db is not None and band.high_db is not None:
        top, bottom = down(band.high_db), down(band.low_db)
        shapes.append(element("line", x1=x, x2=x, y1=top, y2=max(bottom, top + 2), class_="interval-line"))
    return [*shapes, mark(x_percent, down(band.level_db), "outside" if band.off_db else "inside")]
