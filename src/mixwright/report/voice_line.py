# SPDX-License-Identifier: Apache-2.0
"""The voice line: the followed line phrase by phrase over the song, and who takes most where it falls short."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from statistics import median
from typing import NamedTuple

from mixwright.model.hearing import HearingResult
from mixwright.model.ledger import VoiceInterval, VoicePhrase
from mixwright.model.song import Section
from mixwright.report.figures import clock, count, number, with_unit
from mixwright.report.heard import layer_names, takers_words
from mixwright.report.markup import Markup, element
from mixwright.report.phrases import PHRASES_CAVEAT
from mixwright.report.strips import Scale, mark, percent, picture
from mixwright.report.tables import scrolled, table_of
from mixwright.report.timeline import (
    LETTER_PX,
    NARROW_PX,
    WIDE_PX,
    bounds,
    section_list,
    section_names,
    time_axis,
    time_scale,
)

#: The margin is drawn between these, in dB, what lies beyond at the edge; 0 and a little more are always seen.
_DEEPEST_DB, _HIGHEST_DB, _LEAST_DB = -24.0, 12.0, 4.0
_TICK_DB = 6.0
_HEIGHT_PX, _EDGE_PX = 210.0, 20.0
#: Words under the line: so many phrases are named, in lines so high.
_NAMED, _LANE_PX, _NUMBER_PX = 5, 17.0, 10.0
#: Phrases nearer to each other are joined.
_JOINED_S = 2.0
_LEVEL_PX = 74.0
#: Figures have one decimal: what would read as 0.0 dB short is not.
_EDGE_DB = 0.05
GUESSED = "The lead is not confirmed: this is the line that intake takes for it."
NOTE = (
    "Each step is a phrase, its bar the interval from the strict to the cued reading of the ear. Its height is the "
    "margin: how far the fader could go down before less than half of the loudness is left. Below the line at 0 "
    "(heavy, with a diamond) less than half is left already; the worst are numbered."
)
LEVEL_NOTE = (
    "Under it, in LU: a dot is a phrase on the interval of other mixes, taken over whole songs; a ring lies outside."
)


class Line(NamedTuple):
    """The phrases of one layer."""

    layer: str
    phrases: tuple[VoicePhrase, ...]


def lines_of(hearing: HearingResult) -> list[Line]:
    """Return the followed lines, one a lead, the one that sings most first."""
    layers = dict.fromkeys(phrase.track for phrase in hearing.voice_line)
    lines = [Line(one, tuple(p for p in hearing.voice_line if p.track == one)) for one in layers]
    return sorted(lines, key=lambda line: -sum(phrase.end_s - phrase.start_s for phrase in line.phrases))


def short_phrases(phrases: Sequence[VoicePhrase]) -> list[VoicePhrase]:
    """Return the phrases with a margin below 0, the furthest first."""
    return sorted((phrase for phrase in phrases if _short(phrase)), key=lambda phrase: _at(phrase.margin_db.cued))


def line_sentence(line: Line, names: Mapping[str, str]) -> str:
    """Return in one sentence how many phrases fall short."""
    name, total, short = names.get(line.layer, line.layer), len(line.phrases), len(short_phrases(line.phrases))
    phrases = "1 phrase" if total == 1 else f"{total} phrases"
    if not short:
        return f"{name}: in {'its phrase' if total == 1 else f'all {phrases}'} at least half of its loudness is left."
    return f"{name}: in {short} of {phrases} less than half of its loudness is left."


def phrase_sentence(phrase: VoicePhrase, names: dict[str, str]) -> str:
    """Return one phrase in words."""
    where = f" ({phrase.section})" if phrase.section else ""
    rise, cued = phrase.rise_db.cued, phrase.margin_db.cued
    told = f"margin {_margin(cued)} cued, {_margin(phrase.margin_db.strict)} strict."
    if cued is None:
        told = "no fader brings back half of its loudness."
    elif rise is not None:
        told += f" It would have to rise by {with_unit(rise, 'dB')} to be as loud as alone."
    taken = takers_words(phrase.taken_by, names)
    when = f"{clock(phrase.start_s, tenths=True)} to {clock(phrase.end_s, tenths=True)}"
    return f"{when}{where}: {told}" + (f" Taken by {taken}." if taken else "")


def voice_part(hearing: HearingResult, sections: Sequence[Section], length_s: float) -> Markup | None:
    """Return the part of the page: the lines as pictures, the worst phrases as sentences, all of them as a table."""
    lines = lines_of(hearing)
    if not lines:
        return None
    names = layer_names(hearing)
    scale = time_scale(length_s)
    blocks: list[Markup | None] = []
    if hearing.followed_by_guess:
        blocks.append(element("p", GUESSED))
    for line in lines:
        worst = short_phrases(line.phrases)[:_NAMED]
        told = [element("li", phrase_sentence(phrase, names)) for phrase in worst]
        blocks += [
            element("p", line_sentence(line, names)),
            _drawn(line, hearing.voice_interval, sections, scale, names),
            element("ol", told, class_="worst") if told else None,
        ]
    table = scrolled(phrase_table(hearing, names), "Phrases")
    return element(
        "div",
        blocks,
        section_list(sections, scale),
        element("p", f"{NOTE} {LEVEL_NOTE}" if hearing.voice_interval else NOTE, class_="note"),
        element("p", PHRASES_CAVEAT, class_="note") if _are_words(hearing) else None,
        element("details", element("summary", "Every phrase in figures"), table),
        class_="voice",
    )


def phrase_table(hearing: HearingResult, names: dict[str, str]) -> Markup:
    """Return every phrase with its figures, in order of time."""
    several = len(lines_of(hearing)) > 1
    words = _are_words(hearing)
    head = ["phrase", "section", *(["layer"] if several else []), "margin, cued", "strict", "to rise, cued"]
    head += ["most of the loss to", *(["glimpses", "bands"] if words else [])]
    head.append("beside the mix")
    body = []
    for phrase in hearing.voice_line:
        row = [f"{clock(phrase.start_s, tenths=True)} to {clock(phrase.end_s, tenths=True)}", phrase.section or "-"]
        row += [names.get(phrase.track, phrase.track)] if several else []
        row += [_margin(phrase.margin_db.cued), _margin(phrase.margin_db.strict)]
        row += [with_unit(phrase.rise_db.cued, "dB"), takers_words(phrase.taken_by, names) or "-"]
        row += [_percent(phrase.glimpse_share), _percent(phrase.band_audibility)] if words else []
        row.append(with_unit(phrase.re_mix_lu, "LU"))
        body.append(row)
    return table_of(head, body)


def line_shapes(line: Line, sections: Sequence[Section], scale: Scale) -> Picture:
    """Return the picture of a line: its shapes, the labels of its heights, and how high it is."""
    down, ticks = _heights(line.phrases)
    shapes = [*bounds(sections, scale, _HEIGHT_PX)]
    shapes += [_across(down(tick), "zero" if tick == 0 else "grid") for tick in ticks]
    for before, after in pairwise(line.phrases):
        if 0.0 <= after.start_s - before.end_s < _JOINED_S:
            shapes.append(_segment(scale, before.end_s, after.start_s, (_y(before, down), _y(after, down)), "joint"))
    for phrase in sorted(line.phrases, key=_short):
        shapes += _step(phrase, scale, down)
    worst = short_phrases(line.phrases)[:_NAMED]
    places = [scale.across((phrase.start_s + phrase.end_s) / 2) for phrase in worst]
    for i, (phrase, at) in enumerate(zip(worst, places, strict=True)):
        # On a phone the number of a phrase that stands next to a worse one goes.
        crowded = any(abs(at - other) * NARROW_PX / 100 < _NUMBER_PX for other in places[:i])
        class_ = "told-by wide" if crowded else "told-by"
        x, y = percent(at), _y(phrase, down) - 10
        shapes.append(element("text", str(i + 1), x=x, y=y, text_anchor="middle", class_=class_))
    return Picture(shapes, _labels(ticks, down), _HEIGHT_PX)


def taker_shapes(line: Line, scale: Scale, names: Mapping[str, str]) -> Picture | None:
    """Return who takes most of the worst phrases, under them in as many lines as it takes; None where all is well."""
    texts: list[Markup] = []
    ends: list[float] = []  # where the words of each line end so far
    worst = enumerate(short_phrases(line.phrases)[:_NAMED], 1)
    for number_, phrase in sorted(worst, key=lambda one: one[1].start_s):
        told = f"{number_} {_first_taker(phrase, names)}"
        long_px = len(told) * LETTER_PX + 8
        middle_px = scale.across((phrase.start_s + phrase.end_s) / 2) * WIDE_PX / 100
        start_px = min(max(middle_px - long_px / 2, 0.0), max(WIDE_PX - long_px, 0.0))
        lane = next((i for i, end in enumerate(ends) if end <= start_px), len(ends))
        ends[lane : lane + 1] = [start_px + long_px]
        at, anchor = _anchored(middle_px, long_px, WIDE_PX)
        texts.append(element("text", told, x=at, y=lane * _LANE_PX + 12, text_anchor=anchor, class_="told-by"))
    return Picture(texts, [], len(ends) * _LANE_PX) if texts else None


class Picture(NamedTuple):
    """Shapes across, labels at their left, and how high both are."""

    shapes: list[Markup]
    labels: list[Markup]
    height_px: float


def level_sentence(line: Line, interval: VoiceInterval, names: Mapping[str, str]) -> str:
    """Return how loud the line is beside the mix, and where lead voices stand in other mixes; "" where not known."""
    found = _beside_the_mix(line)
    if not found:
        return ""
    told = f"{names.get(line.layer, line.layer)} beside the mix while it sings: {with_unit(median(found), 'LU')}"
    told += f" (its phrases {number(min(found))} to {number(max(found))})" if len(found) > 1 else ""
    span = f"{number(interval.low_lu)} to {with_unit(interval.high_lu, 'LU')}"
    if interval.references:
        return f"{told}; in {count(interval.references, 'reference')} {span}: {interval.source}."
    return f"{told}. Published, not of your references: {span}, {interval.source}."


def _beside_the_mix(line: Line) -> list[float]:
    return [phrase.re_mix_lu for phrase in line.phrases if phrase.re_mix_lu is not None]


def level_shapes(line: Line, interval: VoiceInterval, sections: Sequence[Section], scale: Scale) -> Picture | None:
    """Return the loudness beside the mix as dots on the interval of other mixes, rings outside; None without any."""
    held = [phrase for phrase in line.phrases if phrase.re_mix_lu is not None]
    if not held:
        return None
    values = [*_beside_the_mix(line), interval.low_lu, interval.high_lu]
    low, high = min(values) - 1.0, max(values) + 1.0

    def down(value: float) -> float:
        return round(_EDGE_PX + (high - value) / (high - low) * (_LEVEL_PX - 2 * _EDGE_PX), 1)

    box = {"y": down(interval.high_lu), "height": max(down(interval.low_lu) - down(interval.high_lu), 2.0)}
    shapes = [element("rect", x="0", width="100%", class_="interval", **box), *bounds(sections, scale, _LEVEL_PX)]
    for phrase in held:
        level_lu, middle_s = phrase.re_mix_lu or 0.0, (phrase.start_s + phrase.end_s) / 2
        inside = interval.low_lu <= level_lu <= interval.high_lu
        # No diamond: what is known is of whole verses and choruses, and a phrase that lies beyond may be meant to.
        shapes.append(mark(scale.across(middle_s), down(level_lu), "inside" if inside else "before"))
    labels = [
        element("text", number(edge), x="100%", y=down(edge) + shift_px, text_anchor="end")
        for edge, shift_px in ((interval.high_lu, 0.0), (interval.low_lu, 9.0))
    ]
    return Picture(shapes, labels, _LEVEL_PX)


def _drawn(
    line: Line,
    interval: VoiceInterval | None,
    sections: Sequence[Section],
    scale: Scale,
    names: Mapping[str, str],
) -> Markup:
    rows = [_plot(None, section_names(sections, scale), "axis")]
    drawn = line_shapes(line, sections, scale)
    rows.append(_plot(picture(drawn.labels, height_px=drawn.height_px), _seen(drawn)))
    takers = taker_shapes(line, scale, names)
    rows += [_plot(None, _seen(takers), "wide")] if takers else []
    level = None if interval is None else level_shapes(line, interval, sections, scale)
    if level is not None and interval is not None:
        told = level_sentence(line, interval, names)
        rows += [element("p", told), _plot(picture(level.labels, height_px=level.height_px), _seen(level))]
    rows.append(_plot(element("span", "dB", class_="unit"), time_axis(scale), "axis"))
    return element("div", rows, class_="chart")


def _labels(ticks: Sequence[float], down: Callable[[float], float]) -> list[Markup]:
    return [element("text", number(t, 0, sign=True), x="100%", y=down(t) + 4, text_anchor="end") for t in ticks]


def _plot(left: Markup | None, right: Markup, class_: str = "") -> Markup:
    return element("div", left or element("span"), right, class_=f"plot {class_}".strip())


def _seen(drawn: Picture) -> Markup:
    return picture(drawn.shapes, height_px=drawn.height_px)


def _step(phrase: VoicePhrase, scale: Scale, down: Callable[[float], float]) -> list[Markup]:
    """Return one phrase: the interval between the readings, the cued one as a step, a diamond where it is short."""
    a, b = scale.across(phrase.start_s), scale.across(phrase.end_s)
    top, bottom = _y(phrase, down), down(_at(phrase.margin_db.strict))
    wide, high = percent(max(b - a, 0.3)), max(bottom - top, 1.0)
    short = _short(phrase)
    shapes = [
        element("rect", x=percent(a), width=wide, y=top, height=high, class_="interval"),
        _segment(scale, phrase.start_s, phrase.end_s, (top, top), "step short" if short else "step"),
    ]
    return [*shapes, mark((a + b) / 2, top, "outside")] if short else shapes


def _anchored(middle_px: float, long_px: float, width_px: float) -> tuple[str, str]:
    """Return where words stand so that they stay within the picture."""
    if middle_px < long_px / 2:
        return "0%", "start"
    if middle_px > width_px - long_px / 2:
        return "100%", "end"
    return percent(100 * middle_px / width_px), "middle"


def _first_taker(phrase: VoicePhrase, names: Mapping[str, str]) -> str:
    taker = next((one for one in phrase.taken_by if one.track in names), None)
    if taker is None:
        return ""
    name = names[taker.track]
    return f"{name if len(name) <= 18 else name[:17] + '…'} {100 * taker.fraction:.0f} %"


def _heights(phrases: Sequence[VoicePhrase]) -> tuple[Callable[[float], float], list[float]]:
    """Return how far down a margin is drawn, and the ticks."""
    values = [_at(v) for phrase in phrases for v in (phrase.margin_db.cued, phrase.margin_db.strict)]
    low = max(min([-_LEAST_DB, *values]) - 1.0, _DEEPEST_DB)
    high = min(max([_LEAST_DB, *values]) + 1.0, _HIGHEST_DB)

    def down(margin_db: float) -> float:
        part = (high - min(max(margin_db, low), high)) / (high - low)
        return float(round(_EDGE_PX + part * (_HEIGHT_PX - 2 * _EDGE_PX), 1))

    step_db = _TICK_DB if high - low >= 3 * _TICK_DB else _TICK_DB / 2
    ticks = [k * step_db for k in range(math.ceil(low / step_db), math.floor(high / step_db) + 1)]
    return down, ticks


def _short(phrase: VoicePhrase) -> bool:
    return _at(phrase.margin_db.cued) < -_EDGE_DB


def _at(margin_db: float | None) -> float:
    """Return a margin to draw and to order by: beyond any fader is further than any."""
    return -math.inf if margin_db is None else margin_db


def _margin(margin_db: float | None) -> str:
    return "beyond any fader" if margin_db is None else with_unit(margin_db, "dB")


def _y(phrase: VoicePhrase, down: Callable[[float], float]) -> float:
    return down(_at(phrase.margin_db.cued))


def _segment(scale: Scale, start_s: float, end_s: float, y_px: tuple[float, float], class_: str) -> Markup:
    a, b = scale.across(start_s), scale.across(end_s)
    return element("line", x1=percent(a), x2=percent(max(b, a + 0.3)), y1=y_px[0], y2=y_px[1], class_=class_)


def _across(y_px: float, class_: str) -> Markup:
    return element("line", x1="0", x2="100%", y1=y_px, y2=y_px, class_=class_)


def _percent(part: float | None) -> str:
    return "-" if part is None else f"{100 * part:.0f} %"


def _are_words(hearing: HearingResult) -> bool:
    return any(phrase.glimpse_share is not None for phrase in hearing.voice_line)
