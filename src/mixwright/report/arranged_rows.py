# SPDX-License-Identifier: Apache-2.0
"""The arrangement, layers by sections: a band where a layer holds, strokes where it pulses, a comb between."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from mixwright.model.arrangement import LayerMotion, MotionWord
from mixwright.model.hearing import HearingResult
from mixwright.model.song import Section
from mixwright.report.arranged import facts, questions
from mixwright.report.figures import clock, number
from mixwright.report.heard import layer_names
from mixwright.report.markup import Markup, element, together
from mixwright.report.strips import ROW_PX, Scale, Strip, percent, picture, strip_row, upright
from mixwright.report.tables import scrolled, table_of
from mixwright.report.timeline import section_names

TITLES: dict[MotionWord, str] = {
    "sustains": "Layers that mostly hold",
    "between": "Layers in between",
    "pulses": "Layers that mostly pulse",
}
WORDS: dict[MotionWord, str] = {"sustains": "holds", "between": "in between", "pulses": "pulses", "silent": "silent"}
#: Where a layer does two things, the higher range is drawn above: middle and height of what is drawn.
_WHOLE, _HIGH, _LOW = (11.0, 14.0), (6.0, 7.0), (16.0, 7.0)
NOTE = (
    "What a layer does by the loudness of it alone: it holds (band), it strikes and is gone (strokes), or something "
    "between (comb). Two rows in one place: what it does high, and low. What a layer does is not what it should do."
)


def arrangement_part(hearing: HearingResult, sections: Sequence[Section]) -> Markup | None:
    """Return the arrangement: questions, rows of layers by sections, facts; None for a song without sections."""
    blocks = arrangement_strips(hearing, sections)
    if not blocks:
        return None
    asked = [element("li", question) for question in questions(hearing)]
    drawn: list[Markup] = []
    for word, strips in blocks:
        rows = [strip_row(strip, "map") for strip in strips]
        drawn += [element("h3", TITLES[word]), element("ul", rows, class_="rows")]
    if asked:
        drawn.append(element("ul", strip_row(asked_strip(hearing, sections), "map"), class_="rows"))
    head = element("div", element("span"), section_heads(sections), class_="row map axis")
    starts = [element("li", f"{part.name} ", element("small", clock(part.start_s))) for part in sections]
    listed = element("ol", starts, class_="inline", aria_label="Sections")
    return together(
        element("ul", asked, class_="worst") if asked else None,
        element("div", _legend(), head, drawn, listed, class_="chart"),
        element("p", NOTE, class_="note"),
        *(element("p", fact) for fact in facts(hearing)),
        element("details", element("summary", "The same in figures"), scrolled(_table(hearing), "Arrangement")),
    )


def section_heads(sections: Sequence[Section]) -> Markup:
    """Return the names of the sections over their columns, or their numbers where they do not fit."""
    columns = [Section(name=part.name, start_s=float(k), end_s=k + 1.0) for k, part in enumerate(sections)]
    return section_names(columns, _columns(sections))


def arrangement_strips(hearing: HearingResult, sections: Sequence[Section]) -> list[tuple[MotionWord, list[Strip]]]:
    """Return the rows by what layers mostly do, those that enter first above; layers that never sound are left out.

    Sections are columns of one width: a short one is as legible as a long one.
    """
    names = layer_names(hearing)
    at = {part.name: k for k, part in enumerate(sections)}
    by_layer: dict[str, list[LayerMotion]] = {}
    for one in hearing.arrangement.motion:
        if one.layer in names and one.motion != "silent" and one.section in at:
            by_layer.setdefault(one.layer, []).append(one)
    found: dict[MotionWord, list[tuple[int, Strip]]] = {word: [] for word in TITLES}
    for id_, there in by_layer.items():
        strip = _strip(names[id_], there, at, _columns(sections))
        found[_mostly(there, sections, at)].append((at[there[0].section], strip))
    ordered = ((word, sorted(rows, key=lambda row: row[0])) for word, rows in found.items())
    return [(word, [strip for _, strip in rows]) for word, rows in ordered if rows]


def asked_strip(hearing: HearingResult, sections: Sequence[Section]) -> Strip:
    """Return the row of questions: a mark where a section lacks something."""
    scale = _columns(sections)
    found = hearing.arrangement
    asked = {hole.section for hole in found.holes} | {one.section for one in found.missing}
    middles = [percent(scale.across(k + 0.5)) for k, part in enumerate(sections) if part.name in asked]
    shapes = [element("text", "?", x=x, y=16, text_anchor="middle", class_="told-by") for x in middles]
    return Strip("Asked about", shapes, unseen="see the questions above")


def _columns(sections: Sequence[Section]) -> Scale:
    return Scale(0.0, max(1.0, float(len(sections))), 1.0)


def _mostly(there: Sequence[LayerMotion], sections: Sequence[Section], at: Mapping[str, int]) -> MotionWord:
    """Return what a layer does for longest."""
    lasts = dict.fromkeys(TITLES, 0.0)
    for one in there:
        part = sections[at[one.section]]
        lasts[one.motion] += part.end_s - part.start_s
    return max(lasts, key=lambda word: lasts[word])


def _strip(name: str, there: Sequence[LayerMotion], at: Mapping[str, int], scale: Scale) -> Strip:
    shapes: list[Markup] = []
    told = []
    for one in there:
        a, b = (scale.across(at[one.section] + edge) for edge in (0.0, 1.0))
        # Where the lowest and the highest range do the same, two rows would tell nothing.
        if one.ranges and one.ranges[0].motion != one.ranges[-1].motion:
            shapes += [
                *motion_shape(one.ranges[-1].motion, a, b, *_HIGH),
                *motion_shape(one.ranges[0].motion, a, b, *_LOW),
            ]
            does = f"{WORDS[one.ranges[0].motion]} low and {WORDS[one.ranges[-1].motion]} high"
        else:
            shapes += motion_shape(one.motion, a, b, *_WHOLE)
            does = WORDS[one.motion]
        told.append(f"{one.section} {does}")
    shapes += [upright(scale.across(tick), 0, ROW_PX, "gap") for tick in scale.ticks]
    return Strip(name, shapes, unseen="; ".join(told))


def motion_shape(word: MotionWord, start: float, end: float, middle_px: float, height_px: float) -> list[Markup]:
    """Return what a layer does between two places, in per cent, as a shape: a band, strokes, or a comb."""
    x = {"x1": percent(start), "x2": percent(end)}
    strokes = element("line", **x, y1=middle_px, y2=middle_px, class_="strokes", stroke_width=height_px)
    foot_px = middle_px + height_px / 2 - 1.5
    foot = element("line", **x, y1=foot_px, y2=foot_px, class_="held", stroke_width=3.0)
    band = element("line", **x, y1=middle_px, y2=middle_px, class_="held", stroke_width=round(0.6 * height_px, 1))
    shapes: dict[MotionWord, list[Markup]] = {"sustains": [band], "pulses": [strokes], "between": [strokes, foot]}
    return shapes.get(word, [])


def _legend() -> Markup:
    """Return the three shapes with their words."""
    items = []
    for word in TITLES:
        sample = element("span", picture(motion_shape(word, 0.0, 100.0, *_WHOLE)), class_="sample")
        items.append(element("li", sample, WORDS[word]))
    return element("ul", items, class_="inline shapes", aria_label="Shapes")


def _table(hearing: HearingResult) -> Markup:
    """Return every layer by section: what it does, its modulation and its strikes a second."""
    names, found = layer_names(hearing), hearing.arrangement
    cells = {(one.layer, one.section): one for one in found.motion}
    body = [(name, *(_figures(cells.get((id_, section))) for section in found.sections)) for id_, name in names.items()]
    return table_of(("modulation, strikes/s", *found.sections), body)


def _figures(one: LayerMotion | None) -> str:
    if one is None or one.modulation is None:
        return "-"
    return f"{WORDS[one.motion]} {number(one.modulation, 2)}, {number(one.onsets_per_s)}"
