# SPDX-License-Identifier: Apache-2.0
"""The time of a song from left to right: its clock and its sections, under and over a picture."""

from __future__ import annotations

from collections.abc import Sequence

from mixwright.model.song import Section
from mixwright.report.figures import clock
from mixwright.report.markup import Markup, element
from mixwright.report.strips import Scale, axis, percent, picture

#: How wide a picture is on a phone and on a wide screen, and a letter in it, to tell which words fit.
NARROW_PX, WIDE_PX, LETTER_PX = 180.0, 640.0, 7.2


def time_scale(length_s: float) -> Scale:
    """Return the scale of a song so long: about six marks across."""
    length_s = max(length_s, 1.0)
    step = next((step for step in (5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0) if length_s / step <= 7), 600.0)
    return Scale(0.0, length_s, step)


def time_axis(scale: Scale) -> Markup:
    """Return the clock under a picture."""
    return axis(scale, [clock(tick) for tick in scale.ticks])


def bounds(sections: Sequence[Section], scale: Scale, height_px: float) -> list[Markup]:
    """Return upright lines where sections begin and end."""
    times = sorted({time for part in sections for time in (part.start_s, part.end_s)})
    within = [percent(scale.across(time)) for time in times if 0.0 < time < scale.high]
    return [element("line", x1=x, x2=x, y1=0, y2=height_px, class_="bound") for x in within]


def section_names(sections: Sequence[Section], scale: Scale) -> Markup:
    """Return the names of the sections where they start, or their numbers where a name does not fit."""
    texts = []
    for class_, width_px in (("wide", WIDE_PX), ("narrow", NARROW_PX)):
        end_px = 0.0
        for i, section in enumerate(sections, 1):
            told = section.name if _fits(section, scale, width_px) else str(i)
            across = scale.across(section.start_s)
            if across * width_px / 100 < end_px:
                continue  # a number that would stand on the one before
            end_px = across * width_px / 100 + len(told) * LETTER_PX
            texts.append(element("text", told, x=percent(across), y=14, class_=class_))
    return picture(texts, height_px=18)


def section_list(sections: Sequence[Section], scale: Scale) -> Markup | None:
    """Return the sections by number, name and start, where the numbers in a picture stand for them."""
    if not sections:
        return None
    items = [element("li", f"{section.name} ", element("small", clock(section.start_s))) for section in sections]
    everywhere = not all(_fits(section, scale, WIDE_PX) for section in sections)
    return element("ol", items, class_="inline" if everywhere else "inline phone", aria_label="Sections")


def _fits(section: Section, scale: Scale, width_px: float) -> bool:
    wide = (scale.across(section.end_s) - scale.across(section.start_s)) / 100
    return len(section.name) * LETTER_PX + 4 <= wide * width_px
