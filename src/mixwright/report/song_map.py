# SPDX-License-Identifier: Apache-2.0
"""The song map: how much of every layer the mix leaves, second by second, and where that is outside its tolerance."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby, pairwise
from typing import NamedTuple

from mixwright.model.hearing import HeardLayer, HearingResult
from mixwright.model.ledger import Finding
from mixwright.model.song import Section
from mixwright.report.figures import clock
from mixwright.report.findings import MOST, outside_tolerance
from mixwright.report.heard import place_word
from mixwright.report.markup import Markup, element
from mixwright.report.strips import ROW_PX, Scale, Strip, percent, strip_row
from mixwright.report.timeline import LETTER_PX, NARROW_PX, WIDE_PX, bounds, section_list, section_names, time_axis

MAP_NOTE = (
    "A layer sounds where its row has a ground; the fuller and stronger, the more of its loudness the mix leaves, "
    "second by second, by the cued reading. A line below: outside the tolerance of its place; the worst are heavy, "
    "with their numbers in the list."
)
PLACES = {
    "lead": "Lead: must be followed",
    "support": "Support: must be heard",
    "bed": "Bed: may melt into the wall",
    "return": "Returns of sends",
}
#: A cell is so high where all is left, its foot so far down; shades from little to all that is left.
_FULL_PX, _FOOT_PX, _SHADES = 15, 17, 5
#: Where lines of findings lie.
_LINE_PX = 20.0


def song_map(hearing: HearingResult, sections: Sequence[Section], scale: Scale) -> Markup:
    """Return the map: rows are layers by place, time runs across, fuller and stronger is more left of the layer."""
    strips = map_strips(hearing, sections, scale)
    blocks: list[Markup] = []
    for place, members in groupby(strips, key=lambda one: one[0]):
        rows = [strip_row(strip, "map") for _, strip in members]
        blocks += [element("h3", PLACES[place]), element("ul", rows, class_="rows")]
    head = element("div", element("span"), section_names(sections, scale), class_="row map axis")
    foot = element("div", element("span"), time_axis(scale), class_="row map axis")
    return element("div", head, blocks, foot, section_list(sections, scale), class_="chart")


def map_strips(hearing: HearingResult, sections: Sequence[Section], scale: Scale) -> list[tuple[str, Strip]]:
    """Return the rows, each with the place of its layer: leads, supports, beds, returns; as given within a place."""
    order = list(PLACES)
    layers = sorted(hearing.layers, key=lambda layer: order.index(place_word(layer)))
    by_layer: dict[str, list[tuple[int, Finding]]] = {}
    for rank, finding in enumerate(outside_tolerance(hearing), 1):
        by_layer.setdefault(finding.track, []).append((rank, finding))
    return [(place_word(layer), _strip(layer, sections, scale, by_layer.get(layer.id, []))) for layer in layers]


class _Span(NamedTuple):
    """Where findings lie, from start to end in seconds; ranks of those that are among the worst."""

    start_s: float
    end_s: float
    worst: tuple[int, ...]


def _strip(
    layer: HeardLayer, sections: Sequence[Section], scale: Scale, findings: Sequence[tuple[int, Finding]]
) -> Strip:
    shapes = [*bounds(sections, scale, ROW_PX), *_cells(layer.kept, scale)]
    if layer.share is None:
        shapes.append(element("text", layer.why, x="0", y=15))
    spans = _merged(findings)
    for span in spans:
        a, b = (percent(scale.across(time)) for time in (span.start_s, span.end_s))
        class_ = "told worst" if span.worst else "told"
        shapes.append(element("line", x1=a, x2=b, y1=_LINE_PX, y2=_LINE_PX, class_=class_))
    shapes += _ranks(spans, scale)
    return Strip(layer.name, shapes, unseen=_told(layer, spans), off=any(span.worst for span in spans))


def _ranks(spans: Sequence[_Span], scale: Scale) -> Iterator[Markup]:
    """Yield the numbers of the worst findings on their lines, as far as there is room; on a phone one each."""
    for class_, width_px, most in (("wide", WIDE_PX, 3), ("narrow", NARROW_PX, 1)):
        end_px = -LETTER_PX  # of the words so far
        for span in spans:
            told = ", ".join(map(str, span.worst[:most])) + ("…" if len(span.worst) > most else "")
            middle, half_px = (scale.across(span.start_s) + scale.across(span.end_s)) / 2, len(told) * LETTER_PX / 2
            if span.worst and middle * width_px / 100 - half_px >= end_px:
                end_px = middle * width_px / 100 + half_px
                at, class_of = percent(middle), f"told-by {class_}"
                yield element("text", told, x=at, y=_LINE_PX + 4, text_anchor="middle", class_=class_of)


def _told(layer: HeardLayer, spans: Sequence[_Span]) -> str:
    if layer.share is None or layer.share.cued is None:
        return layer.why
    parts = [
        f"{part.name} {100 * part.share.cued:.0f} %"
        for part in layer.sections
        if part.share is not None and part.share.cued is not None
    ]
    told = f"keeps {100 * layer.share.cued:.0f} % of its loudness" + (f"; {', '.join(parts)}" if parts else "")
    where = [f"{clock(span.start_s)} to {clock(span.end_s)}" for span in spans]
    return told + (f"; outside its tolerance {', '.join(where)}" if where else "")


def _cells(kept: Sequence[int | None], scale: Scale) -> list[Markup]:
    """Return a ground where a layer sounds, and on it, second by second, how much of it is left."""
    if not kept:
        return []
    paths: dict[str, list[str]] = {}
    levels = [None if one is None else (min(one * _SHADES // 100, _SHADES - 1), _height(one)) for one in kept]
    edges = [0, *(i for i in range(1, len(levels)) if levels[i] != levels[i - 1]), len(levels)]
    for first, end in pairwise(edges):
        level = levels[first]
        if level is None:
            continue
        shade, height = level
        paths.setdefault("ground", []).append(f"M{first} {_FOOT_PX}v-{_FULL_PX}H{end}v{_FULL_PX}z")
        paths.setdefault(f"kept-{shade + 1}", []).append(f"M{first} {_FOOT_PX}v-{height}H{end}v{height}z")
    drawn = [element("path", d="".join(parts), class_=class_) for class_, parts in sorted(paths.items())]
    box = f"0 0 {scale.high:g} {ROW_PX}"
    fitted = {"viewBox": box, "preserveAspectRatio": "none", "shape_rendering": "crispEdges"}
    return [element("svg", drawn, x=0.0, width="100%", height=ROW_PX, **fitted)]


def _height(percent_kept: int) -> int:
    return max(1, round(percent_kept * _FULL_PX / 100))


def _merged(findings: Sequence[tuple[int, Finding]]) -> list[_Span]:
    """Return where findings lie in order of time, those that touch as one."""
    spans: list[_Span] = []
    for rank, finding in sorted(findings, key=lambda one: (one[1].start_s, one[0])):
        worst = (rank,) if rank <= MOST else ()
        if spans and finding.start_s <= spans[-1].end_s:
            last = spans.pop()
            worst = tuple(sorted((*last.worst, *worst)))
            spans.append(_Span(last.start_s, max(last.end_s, finding.end_s), worst))
        else:
            spans.append(_Span(finding.start_s, finding.end_s, worst))
    return spans
