# SPDX-License-Identifier: Apache-2.0
"""The song map: which layer sounds when, section by section."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from mixwright.model.results import MeasureResult, TrackLevels
from mixwright.model.song import Section, Song
from mixwright.report.figures import clock, count
from mixwright.report.markup import Markup, element
from mixwright.report.strips import ROW_PX, Scale, axis, percent, picture

PLACES = {
    "lead": "Lead: must be followed",
    "support": "Support: must be heard",
    "bed": "Bed: may melt into the wall",
}
#: Width of a map on a phone and on a wide screen, and of a letter, to tell which names fit.
_NARROW_PX, _WIDE_PX, _LETTER_PX = 240, 640, 7.2
#: From barely there to as loud as the mix, as loudness beside the mix and as darkness.
_FAINT_LU, _FAINT, _FULL_LU = -30.0, 0.3, -3.0


def song_map(song: Song, measure: MeasureResult) -> Markup:
    """Return the map: rows are layers by place and group, time runs across, darker is louder in that section."""
    length_s = max(measure.mix.duration_s, *(s.end_s for s in measure.sections), 1.0)
    scale = Scale(0.0, length_s, _step(length_s))
    order = {place: i for i, place in enumerate(PLACES)}
    groups = {group.id: i for i, group in enumerate(song.groups)}
    names = {group.id: group.name for group in song.groups}
    tracks = sorted(measure.tracks, key=lambda t: (order[t.place], groups.get(t.group, len(groups)), _first(t)))
    parts = _tiling(measure.sections, length_s)
    blocks: list[Markup] = []
    for place, members in groupby(tracks, key=lambda t: t.place):
        rows = [_row(track, parts, scale, names.get(track.group, "")) for track in members]
        blocks += [element("h3", PLACES[place]), element("ul", rows, class_="rows")]
    head = element("div", element("span"), _section_names(measure.sections, scale), class_="row map axis")
    foot = element("div", element("span"), axis(scale, [clock(t) for t in scale.ticks]), class_="row map axis")
    return element("div", head, blocks, foot, _legend(measure.sections), class_="chart")


Part = tuple[float, float, str]


def _row(track: TrackLevels, parts: Sequence[Part], scale: Scale, group: str) -> Markup:
    group_name = element("small", group) if group and group != track.name else None
    name = element("span", track.name, " ", group_name, class_="name", title=track.name)
    told = f"sounds for {clock(track.active_s)} in {count(len(track.sounds), 'stretch', 'stretches')}"
    levels = {section.name: section.re_mix_lu for section in track.sections}
    shades = [
        _shade(scale, max(start, a), min(end, b), levels.get(section, track.re_mix_lu))
        for start, end in track.sounds
        for a, b, section in parts
        if min(end, b) > max(start, a)
    ]
    seen = picture(_bounds(parts, scale), shades)
    return element("li", name, seen, element("span", told, class_="unseen"), class_="row map")


def _shade(scale: Scale, start_s: float, end_s: float, level_lu: float | None) -> Markup:
    left, right = scale.across(start_s), scale.across(end_s)
    part = 0.0 if level_lu is None else (level_lu - _FAINT_LU) / (_FULL_LU - _FAINT_LU)
    return element(
        "rect",
        x=percent(left),
        width=percent(max(right - left, 0.2)),
        y=4,
        height=ROW_PX - 8,
        class_="sounds",
        fill_opacity=round(_FAINT + (1 - _FAINT) * min(max(part, 0.0), 1.0), 2),
    )


def _tiling(sections: Sequence[Section], length_s: float) -> list[Part]:
    """Return the song cut at the bounds of its sections; what lies in none has no name."""
    parts: list[Part] = []
    end = 0.0
    for section in sections:
        parts += [(end, section.start_s, ""), (section.start_s, section.end_s, section.name)]
        end = section.end_s
    return [part for part in (*parts, (end, length_s, "")) if part[1] > part[0]]


def _bounds(parts: Sequence[Part], scale: Scale) -> list[Markup]:
    x = [percent(scale.across(start)) for start, _, _ in parts if start > 0]
    return [element("line", x1=at, x2=at, y1=0, y2=ROW_PX, class_="bound") for at in x]


def _section_names(sections: Sequence[Section], scale: Scale) -> Markup:
    """Return the names of the sections where they start, or their numbers where a name does not fit."""
    texts = []
    for i, section in enumerate(sections, 1):
        left = scale.across(section.start_s)
        wide = (scale.across(section.end_s) - left) / 100
        needed = len(section.name) * _LETTER_PX + 4
        at = percent(left)
        for class_, width in (("wide", _WIDE_PX), ("narrow", _NARROW_PX)):
            told = section.name if needed <= wide * width else str(i)
            texts.append(element("text", told, x=at, y=14, class_=class_))
    return picture(texts, height_px=18)


def _legend(sections: Sequence[Section]) -> Markup | None:
    if not sections:
        return None
    items = [element("li", f"{section.name} ", element("small", clock(section.start_s))) for section in sections]
    return element("ol", items, class_="inline", aria_label="Sections")


def _first(track: TrackLevels) -> float:
    return track.sounds[0][0] if track.sounds else float("inf")


def _step(length_s: float) -> float:
    """Return the time between two marks: about six across."""
    return next((step for step in (5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0) if length_s / step <= 7), 600.0)
