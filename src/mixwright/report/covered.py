# SPDX-License-Identifier: Apache-2.0
"""Who covers whom: of the layers that lose most, what is left and who takes the rest, as one bar each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from mixwright.model.hearing import HeardBand, HeardLayer, HearingResult, TakenBy
from mixwright.report.figures import number, with_unit
from mixwright.report.findings import outside_tolerance
from mixwright.report.heard import by_equivalent, layer_names, place_word
from mixwright.report.markup import Markup, element, together
from mixwright.report.strips import ROW_PX, Scale, Strip, axis, grid, mark, percent, strip_row, upright
from mixwright.report.tables import scrolled, table_of
from mixwright.units import band_words

#: So many layers are drawn, so many takers are named; a part narrower than this, in per cent, carries no number.
_MOST, _TAKERS, _NUMBERED = 12, 3, 4.0
#: A band that holds less of a layer's loudness than this is left out.
_LEAST_PART = 0.01
_TOP_PX, _BAR_PX = 4, 14
LEGEND = (
    "A bar is the loudness of a layer alone. Filled: what the mix leaves of it, cued; the stop within is the strict "
    "reading. Then, numbered, who takes the rest, most first; the open end goes to others. A diamond at the end: "
    "outside the tolerance of its place."
)


def covered_part(hearing: HearingResult) -> Markup | None:
    """Return who covers whom: a bar for each of the worst layers, and every layer by every other as a table."""
    strips = covered_strips(hearing)
    if not strips:
        return None
    labels = [f"{tick:.0f}" for tick in PERCENT.ticks[:-1]]
    foot = element("div", element("span"), axis(PERCENT, [*labels, "100 %"]), class_="row level axis")
    rows = element("ul", [strip_row(strip, "level") for strip in strips], class_="rows")
    note = f"{LEGEND} The figure is by how many dB a layer would have to rise to be heard as loud as alone, cued."
    return together(
        element("div", rows, foot, class_="chart heard"),
        element("p", note, class_="note"),
        element("details", element("summary", "Every layer by who takes it"), scrolled(_matrix(hearing), "Takers")),
    )


PERCENT = Scale(0.0, 100.0, 25.0)


def covered_strips(hearing: HearingResult) -> list[Strip]:
    """Return the rows: layers outside their tolerance, furthest first, then leads and supports by what they lose."""
    names = layer_names(hearing)
    off = list(dict.fromkeys(finding.track for finding in outside_tolerance(hearing)))
    known = [layer for layer in by_equivalent(hearing) if layer.share is not None and layer.taken_by]
    first = sorted((layer for layer in known if layer.id in off), key=lambda layer: off.index(layer.id))
    then = [layer for layer in known if layer.id not in off and place_word(layer) in ("lead", "support")]
    return [_strip(layer, names, layer.id in off) for layer in (first + then)[:_MOST]]


def taken_bar(
    scale: Scale, alone: float, cued: float, strict: float, taken_by: Sequence[TakenBy], names: Mapping[str, str]
) -> list[Markup]:
    """Return one bar: what is left of a loudness, and who takes the rest, in the order given."""
    cued, strict = min(cued, alone), min(strict, cued, alone)
    shapes = [_part(scale, 0.0, cued, "left")] if cued > scale.low else []
    start = cued
    for i, one in enumerate(_named(taken_by, names), 1):
        end = start + one.fraction * (alone - cued)
        shapes.append(_part(scale, start, end, f"taken-{min(i, _TAKERS)}"))
        if scale.across(end) - scale.across(start) >= _NUMBERED:
            middle = (scale.across(start) + scale.across(end)) / 2
            text = element("text", str(i), x=percent(middle), y=15, text_anchor="middle", class_="in-bar")
            shapes.append(text)
        start = end
    if scale.across(alone) - scale.across(start) > 0.2:
        shapes.append(_part(scale, start, alone, "taken-rest"))
    if cued - strict > 0:
        shapes.append(upright(scale.across(strict), _TOP_PX, _TOP_PX + _BAR_PX, "stop-in"))
    return shapes


def takers_numbered(taken_by: Iterable[TakenBy], names: Mapping[str, str], lost: float = 1.0) -> str:
    """Return who takes how much, numbered as in the bar; in per cent of what is lost, or of the whole where told."""
    named = _named(taken_by, names)
    return ", ".join(f"{i} {names[one.track]} {100 * lost * one.fraction:.0f} %" for i, one in enumerate(named, 1))


def band_strips(
    bands: Sequence[HeardBand], names: Mapping[str, str], off_hz: Sequence[tuple[float, float]] = ()
) -> tuple[list[Strip], Scale]:
    """Return a row for every band that holds something of a layer, from high to low, and the scale in sone.

    `off_hz`: bands of findings; a row that lies mostly inside one is marked.
    """
    whole = sum(band.alone_sone for band in bands)
    held = [band for band in bands if whole > 0.0 and band.alone_sone >= _LEAST_PART * whole]
    most = max((band.alone_sone for band in held), default=1.0)
    step = next((step for step in (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0) if most / step <= 6), 20.0)
    scale = Scale(0.0, most * 1.02, step)
    return [_band(band, scale, names, off_hz) for band in reversed(held)], scale


def _band(band: HeardBand, scale: Scale, names: Mapping[str, str], off_hz: Sequence[tuple[float, float]]) -> Strip:
    left = band.in_mix_sone
    cued, strict = left.cued or 0.0, left.strict or 0.0
    bar = taken_bar(scale, band.alone_sone, cued, strict, band.taken_by, names)
    low, high = 100 * strict / band.alone_sone, 100 * cued / band.alone_sone
    middle_hz = (band.low_hz * band.high_hz) ** 0.5
    off = any(first <= middle_hz <= end for first, end in off_hz)
    told = f"{number(low, 0)} to {number(high, 0)} % left"
    taken = takers_numbered(band.taken_by, names)
    return Strip(
        band_words(band.low_hz, band.high_hz),
        [*grid(scale), *bar, *_off_mark(scale, band.alone_sone, off)],
        words=told,
        more=f"; {taken}" if taken else "",
        off=off,
    )


def _strip(layer: HeardLayer, names: Mapping[str, str], off: bool) -> Strip:
    share, rise = layer.share, layer.fader_equivalent_db
    cued = 100.0 * ((share.cued if share else None) or 0.0)
    strict = 100.0 * ((share.strict if share else None) or 0.0)
    bar = taken_bar(PERCENT, 100.0, cued, strict, layer.taken_by, names)
    taken = takers_numbered(layer.taken_by, names, 1.0 - cued / 100.0)
    return Strip(
        layer.name,
        [*grid(PERCENT), *bar, *_off_mark(PERCENT, 100.0, off)],
        small=place_word(layer),
        figure=with_unit(rise.cued if rise else None, "dB"),
        words=f"{strict:.0f} to {cued:.0f} % left",
        more=f"; {taken}" if taken else "",
        off=off,
    )


def _off_mark(scale: Scale, end: float, off: bool) -> list[Markup]:
    return [mark(scale.across(end), ROW_PX / 2, "outside")] if off else []


def _matrix(hearing: HearingResult) -> Markup:
    """Return who takes how much of what is lost, in per cent of the loudness alone: losers down, takers across."""
    known = [layer for layer in by_equivalent(hearing) if layer.share is not None and layer.taken_by]
    names = layer_names(hearing)
    weight: dict[str, float] = {}
    for layer in known:
        for one in _named(layer.taken_by, names):
            weight[one.track] = weight.get(one.track, 0.0) + one.fraction * _lost(layer)
    takers = sorted(weight, key=lambda id_: -weight[id_])
    head = ("layer", "left, cued", *(names[id_] for id_ in takers))
    body = []
    for layer in known:
        by = {one.track: one.fraction for one in layer.taken_by}
        cells = [f"{100 * by[id_] * _lost(layer):.0f} %" if id_ in by else "" for id_ in takers]
        body.append((layer.name, f"{100 - 100 * _lost(layer):.0f} %", *cells))
    return table_of(head, body)


def _lost(layer: HeardLayer) -> float:
    return 1.0 - ((layer.share.cued if layer.share else None) or 0.0)


def _named(taken_by: Iterable[TakenBy], names: Mapping[str, str]) -> list[TakenBy]:
    return [one for one in taken_by if one.track in names][:_TAKERS]


def _part(scale: Scale, start: float, end: float, class_: str) -> Markup:
    a, b = scale.across(start), scale.across(end)
    return element("rect", x=percent(a), width=percent(max(b - a, 0.0)), y=_TOP_PX, height=_BAR_PX, class_=class_)
