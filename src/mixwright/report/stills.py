# SPDX-License-Identifier: Apache-2.0
"""The pictures of how a song is heard as files that stand alone: SVG with all its words, light, of one width."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence

from mixwright.model.comparison import CompareResult
from mixwright.model.hearing import HeardLayer, HearingResult
from mixwright.model.ledger import VoiceInterval
from mixwright.model.song import Section
from mixwright.report.arranged import questions
from mixwright.report.arranged_rows import NOTE as SHAPES_NOTE
from mixwright.report.arranged_rows import TITLES, arrangement_strips, asked_strip, section_heads
from mixwright.report.band_rows import band_layers, bands_hz, bands_sentence
from mixwright.report.compared import attribute_sentences, lead_sentence
from mixwright.report.compared_rows import LABELS as BESIDE_LABELS
from mixwright.report.compared_rows import NOTE as BESIDE_NOTE
from mixwright.report.compared_rows import SCALE, band_groups, row_strips, section_groups
from mixwright.report.covered import LEGEND, PERCENT, band_strips, covered_strips
from mixwright.report.figures import clean, clock, number
from mixwright.report.findings import MOST, finding_place, outside_tolerance
from mixwright.report.heard import layer_names
from mixwright.report.markup import Child, Markup, element
from mixwright.report.song_map import MAP_NOTE, PLACES, map_strips
from mixwright.report.strips import Scale, Strip, axis
from mixwright.report.style import LIGHT, SHAPES
from mixwright.report.timeline import section_names, time_axis, time_scale
from mixwright.report.voice_line import (
    LEVEL_NOTE,
    NOTE,
    Line,
    level_sentence,
    level_shapes,
    line_sentence,
    line_shapes,
    lines_of,
    phrase_sentence,
    short_phrases,
    taker_shapes,
)

_WIDTH_PX, _MARGIN_PX, _LINE_PX = 960.0, 24.0, 18.0
_NAME_PX, _WORDS_PX = 190.0, 290.0
#: Letters that fit beside a picture, and across all of it.
_NAME_LETTERS, _WORDS_LETTERS, _LETTERS = 26, 46, 130
_NAMED = 5
_STYLE = (
    "text{font-family:system-ui,'DejaVu Sans',Helvetica,Arial,sans-serif}"
    "text.title{fill:var(--ink);font-size:18px}text.ink{fill:var(--ink)}text.off-mark{fill:var(--accent);"
    "font-weight:650}.narrow{display:none}.paper{fill:var(--paper)}"
)
#: Not to be written in XML, and never removed as unprintable.
_NO_XML = re.compile("[\ufffe\uffff]")


def stills(hearing: HearingResult, sections: Sequence[Section], length_s: float) -> dict[str, str]:
    """Return every picture as an SVG file by its name, without suffix; those without anything to show are left out.

    Parameters
    ----------
    hearing : HearingResult
    sections : sequence of Section
    length_s : float
        of the song
    """
    scale = time_scale(length_s)
    names = layer_names(hearing)
    span = hearing.voice_interval
    found = {
        "voice-line" if i == 0 else f"voice-line-{i + 1}": _voice_line(line, span, sections, scale, names)
        for i, line in enumerate(lines_of(hearing))
    }
    if any(layer.kept for layer in hearing.layers):
        found["song-map"] = _song_map(hearing, sections, scale)
    if arrangement_strips(hearing, sections):
        found["arrangement"] = _arrangement(hearing, sections)
    covered = covered_strips(hearing)
    if covered:
        sheet = _Sheet("Who covers whom")
        sheet.rows(covered, _WORDS_PX)
        labels = [f"{tick:.0f}" for tick in PERCENT.ticks]
        sheet.under(axis(PERCENT, [*labels[:-1], f"{labels[-1]} %"]), _WORDS_PX)
        sheet.words(LEGEND)
        found["who-covers-whom"] = sheet.drawn()
    # An id may hold a blank or, of a send, begin with a word of its own: in a file name it is one word.
    found |= {f"bands-{re.sub('[^a-z0-9]+', '-', layer.id)}": _bands(hearing, layer) for layer in band_layers(hearing)}
    return found


def beside_still(result: CompareResult) -> str:
    """Return the picture of a mix beside its references: one dot on one interval a row, then section by section."""
    sheet = _Sheet("Beside the references")
    sheet.words(lead_sentence(result), "ink")
    for sentence in attribute_sentences(result):
        sheet.words(sentence, "ink")
    whole = [row for row in result.rows if not row.section]
    groups = [
        ("The whole", row_strips([row for row in whole if row.low_hz is None])),
        *band_groups(whole),
        *section_groups(result),
    ]
    for title, strips in groups:
        if strips:
            sheet.words("")
            sheet.words(title, "ink")
            sheet.rows(strips, _WORDS_PX)
            sheet.under(axis(SCALE, BESIDE_LABELS), _WORDS_PX)
    sheet.words(BESIDE_NOTE)
    return sheet.drawn()


class _Sheet:
    """A page that grows downwards."""

    def __init__(self, title: str) -> None:
        self._title = title
        self._shapes: list[Markup] = []
        self._y = 2 * _MARGIN_PX
        self._text(title, _MARGIN_PX, self._y - 12, "title")

    def words(self, text: str, class_: str | None = None) -> None:
        """Write a sentence, in as many lines as it takes."""
        for line in textwrap.wrap(clean(text), _LETTERS) or [""]:
            self._text(line, _MARGIN_PX, self._y + 14, class_)
            self._y += _LINE_PX

    def plot(self, left: Child, right: Child, height_px: float) -> None:
        """Draw a picture across, with the labels of its heights at its left."""
        self._placed(left, _MARGIN_PX, 34.0, height_px)
        self._placed(right, _MARGIN_PX + 42.0, _WIDTH_PX - 2 * _MARGIN_PX - 42.0, height_px)
        self._y += height_px

    def rows(self, strips: Sequence[Strip], words_px: float) -> None:
        """Draw rows: names, pictures, words."""
        for strip in strips:
            told = ((strip.words or "") + strip.more) if words_px else ""
            lines = textwrap.wrap(clean(told), _WORDS_LETTERS)[:3]
            high = max(strip.height_px + 4, len(lines) * 15.0 + 4)
            middle = self._y + high / 2
            self._text(_cut(strip.name, _NAME_LETTERS), _MARGIN_PX, middle + 4, "off-mark" if strip.off else "ink")
            if strip.figure is not None:
                x = _MARGIN_PX + _NAME_PX + 50
                self._text(strip.figure, x, middle + 4, "off-mark" if strip.off else None, "end")
            top, self._y = self._y, middle - strip.height_px / 2
            self._placed(strip.shapes, *self._across(words_px), strip.height_px)
            self._y = top
            for i, line in enumerate(lines):
                x = _WIDTH_PX - _MARGIN_PX - words_px + 14
                self._text(line, x, middle + 4 + 15.0 * (i - (len(lines) - 1) / 2))
            self._y += high

    def under(self, content: Markup, words_px: float) -> None:
        """Draw what stands over or under the pictures of rows."""
        self._placed(content, *self._across(words_px), _LINE_PX)
        self._y += _LINE_PX

    def drawn(self) -> str:
        """Return the file."""
        height = self._y + _MARGIN_PX
        style = re.sub(r"var\(--([\w-]+)\)", lambda found: LIGHT[found[1]], SHAPES + _STYLE)
        svg = element(
            "svg",
            element("title", self._title),
            element("style", Markup(style)),
            element("rect", width=_WIDTH_PX, height=height, class_="paper"),
            self._shapes,
            xmlns="http://www.w3.org/2000/svg",
            width=_WIDTH_PX,
            height=height,
            viewBox=f"0 0 {_WIDTH_PX:g} {height:g}",
            role="img",
        )
        return _NO_XML.sub("", svg) + "\n"

    def _across(self, words_px: float) -> tuple[float, float]:
        left = _MARGIN_PX + _NAME_PX + (62.0 if words_px else 0.0)
        return left, _WIDTH_PX - _MARGIN_PX - words_px - left

    def _placed(self, content: Child, x: float, width: float, height: float) -> None:
        inside = {"x": x, "y": self._y, "width": width, "height": height}
        self._shapes.append(element("svg", content, overflow="visible", **inside))

    def _text(self, text: str, x: float, y: float, class_: str | None = None, anchor: str | None = None) -> None:
        self._shapes.append(element("text", text, x=x, y=y, class_=class_, text_anchor=anchor))


def _voice_line(
    line: Line, interval: VoiceInterval | None, sections: Sequence[Section], scale: Scale, names: dict[str, str]
) -> str:
    sheet = _Sheet("The voice, phrase by phrase")
    sheet.words(line_sentence(line, names), "ink")
    sheet.plot(None, section_names(sections, scale), _LINE_PX)
    drawn, takers = line_shapes(line, sections, scale), taker_shapes(line, scale, names)
    sheet.plot(drawn.labels, drawn.shapes, drawn.height_px)
    if takers is not None:
        sheet.plot(None, takers.shapes, takers.height_px)
    level = None if interval is None else level_shapes(line, interval, sections, scale)
    if level is not None and interval is not None:
        sheet.words(level_sentence(line, interval, names))
        sheet.plot(level.labels, level.shapes, level.height_px)
    sheet.plot(element("text", "dB", x="100%", y=14, text_anchor="end"), time_axis(scale), _LINE_PX)
    for i, phrase in enumerate(short_phrases(line.phrases)[:_NAMED], 1):
        sheet.words(f"{i}. {phrase_sentence(phrase, names)}", "ink")
    sheet.words(NOTE if level is None else f"{NOTE} {LEVEL_NOTE}")
    return sheet.drawn()


def _song_map(hearing: HearingResult, sections: Sequence[Section], scale: Scale) -> str:
    sheet = _Sheet("Song map")
    sheet.under(section_names(sections, scale), 0.0)
    strips = map_strips(hearing, sections, scale)
    for place in dict.fromkeys(place for place, _ in strips):
        sheet.words(PLACES[place], "ink")
        sheet.rows([strip for where, strip in strips if where == place], 0.0)
    sheet.under(time_axis(scale), 0.0)
    for i, finding in enumerate(outside_tolerance(hearing)[:MOST], 1):
        sheet.words(f"{i}. {finding_place(finding, layer_names(hearing))}", "ink")
    sheet.words(MAP_NOTE)
    return sheet.drawn()


def _arrangement(hearing: HearingResult, sections: Sequence[Section]) -> str:
    sheet = _Sheet("Arrangement")
    asked = questions(hearing)
    for question in asked:
        sheet.words(question, "ink")
    sheet.under(section_heads(sections), 0.0)
    for word, strips in arrangement_strips(hearing, sections):
        sheet.words(TITLES[word], "ink")
        sheet.rows(strips, 0.0)
    if asked:
        sheet.rows([asked_strip(hearing, sections)], 0.0)
    sheet.words("; ".join(f"{i}. {part.name} {clock(part.start_s)}" for i, part in enumerate(sections, 1)))
    sheet.words(SHAPES_NOTE)
    return sheet.drawn()


def _bands(hearing: HearingResult, layer: HeardLayer) -> str:
    names = layer_names(hearing)
    worst = [finding for finding in outside_tolerance(hearing) if finding.track == layer.id][:1]
    strips, scale = band_strips(layer.bands, names, bands_hz(worst))
    sheet = _Sheet(f"{layer.name} by band")
    sheet.words(bands_sentence(layer.bands, names), "ink")
    sheet.rows(strips, _WORDS_PX)
    sheet.under(axis(scale, [*(number(tick, 2) for tick in scale.ticks[:-1]), "sone"]), _WORDS_PX)
    sheet.words(LEGEND)
    return sheet.drawn()


def _cut(text: str, letters: int) -> str:
    text = clean(text)
    return text if len(text) <= letters else text[: letters - 1] + "…"
