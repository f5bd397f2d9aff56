# SPDX-License-Identifier: Apache-2.0
"""The song map: how much of every layer the mix leaves, second by second, and where that is outside its tolerance."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby, pairwise

from mixwright.model.hearing import HeardLayer, HearingResult
from mixwright.model.ledger import Finding
from mixwright.model.song import Section
from mixwright.report.figures import clock
from mixwright.report.findings import outside_tolerance
from mixwright.report.heard import place_word
from mixwright.report.markup import Markup, element
from mixwright.report.strips import ROW_PX, Scale, Strip, mark, percent, strip_row
from mixwright.report.timeline import bounds, section_list, section_names, time_axis

PLACES = {
    "lead": "Lead: must be followed",
    "support": "Support: must be heard",
    "bed": "Bed: may melt into the wall",
    "return": "Returns of sends",
}
#: A cell is so high where all is left, its foot so far down; shades from little to all that is left.
_FULL_PX, _FOOT_PX, _SHADES = 15, 17, 5


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
    by_layer: dict[str, list[Finding]] = {}
    for finding in outside_tolerance(hearing):
        by_layer.setdefault(finding.layer, []).append(finding)
    return [(place_word(layer), _strip(layer, sections, scale, by_layer.get(layer.id, []))) for layer in layers]


def _strip(layer: HeardLayer, sections: Sequence[Section], scale: Scale, findings: Sequence[Finding]) -> Strip:
    shapes = [*bounds(sections, scale, ROW_PX), *_cells(layer.kept, scale)]
    if layer.share is None:
        shapes.append(element("text", layer.why, x="0", y=15))
    spans = list(_merged((finding.start_s, finding.end_s) for finding in findings))
    for start_s, end_s in spans:
        x = [percent(scale.across(time)) for time in (start_s, end_s)]
        shapes.append(element("line", x1=x[0], x2=x[1], y1=20, y2=20, class_="told"))
        shapes.append(mark((scale.across(start_s) + scale.across(end_s)) / 2, 20, "outside"))
    return Strip(layer.name, shapes, unseen=_told(layer, spans), off=bool(spans))


def _told(layer: HeardLayer, spans: Sequence[tuple[float, float]]) -> str:
    if layer.share is None or layer.share.cued is None:
        return layer.why
    parts = [
        f"{part.name} {100 * part.share.cued:.0f} %"
        for part in layer.sections
        if part.share is not None and part.share.cued is not None
    ]
    told = f"keeps {100 * layer.share.cued:.0f} % of its loudness" + (f"; {', '.join(parts)}" if parts else "")
    where = [f"{clock(start_s)} to {clock(end_s)}" for start_s, end_s in spans]
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


def _merged(spans: Iterable[tuple[float, float]]) -> Iterable[tuple[float, float]]:
    """Return spans in order of time, those that touch as one."""
    whole: tuple[float, float] | None = None
    for start_s, end_s in sorted(spans):
        if whole is not None and start_s <= whole[1]:
            whole = whole[0], max(whole[1], end_s)
            continue
        if whole is not None:
            yield whole
        whole = start_s, end_s
    if whole is not None:
        yield whole
