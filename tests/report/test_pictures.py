# SPDX-License-Identifier: Apache-2.0
"""Pictures of how a song is heard: what is drawn is read back from the markup and held against the data."""

from __future__ import annotations

import itertools
import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

import invented
import invented_hearing
from mixwright.model.hearing import Range, TakenBy
from mixwright.model.song import changed
from mixwright.report import style
from mixwright.report.band_rows import bands_part, bands_sentence
from mixwright.report.covered import PERCENT, band_strips, covered_part, covered_strips, taken_bar
from mixwright.report.findings import finding_sentence, finding_size, findings_part, findings_sentence
from mixwright.report.hearing_parts import hearing_sentences
from mixwright.report.markup import together
from mixwright.report.phrases import PHRASES_CAVEAT
from mixwright.report.song_map import map_strips, song_map
from mixwright.report.stills import stills
from mixwright.report.timeline import time_scale
from mixwright.report.voice_line import (
    Line,
    level_sentence,
    level_shapes,
    line_sentence,
    line_shapes,
    phrase_sentence,
    short_phrases,
    taker_shapes,
    voice_part,
)
from mixwright.units import band_words

LENGTH_S = 202.0
SCALE = time_scale(LENGTH_S)
NAMES = {"lead-vox": "Lead vox", "warm-pad": "Warm pad", "bass-di": "Bass di"}
LINE = Line("lead-vox", invented_hearing.voice_line())


def tree(markup: str) -> ElementTree.Element:
    return ElementTree.fromstring(f"<svg>{markup}</svg>")


def of_class(root: ElementTree.Element, class_: str) -> list[ElementTree.Element]:
    return [one for one in root.iter() if one.get("class") == class_]


def plain(markup: str) -> str:
    return re.sub(r"[\s\u00a0]+", " ", re.sub(r"<[^>]*>", "", markup)).replace("\u2212", "-")


# The voice line


def test_short_phrases_stand_out_by_shape_and_number_and_not_by_colour_alone():
    drawn = tree(together(line_shapes(LINE, invented.SECTIONS, SCALE).shapes))
    assert len(of_class(drawn, "interval")) == 7
    assert (len(of_class(drawn, "step")), len(of_class(drawn, "step short"))) == (5, 2)
    assert len(of_class(drawn, "diamond")) == 2
    numbers = {one.text: float(one.get("x")[:-1]) for one in of_class(drawn, "told-by")}
    # The worst is the last phrase, 160 to 166 s; then the second, 35 to 41 s.
    assert numbers == pytest.approx({"1": 100 * 163 / LENGTH_S, "2": 100 * 38 / LENGTH_S}, abs=0.01)


def test_steps_stand_where_their_margin_is():
    drawn = tree(together(line_shapes(LINE, invented.SECTIONS, SCALE).shapes))
    zero = float(of_class(drawn, "zero")[0].get("y1"))
    steps = sorted(
        [*of_class(drawn, "step"), *of_class(drawn, "step short")], key=lambda one: float(one.get("x1")[:-1])
    )
    heights = [zero - float(one.get("y1")) for one in steps]
    margins = [phrase.margin_db.cued for phrase in LINE.phrases]
    per_db = heights[0] / margins[0]
    assert heights == pytest.approx([margin * per_db for margin in margins], abs=0.2)
    bars = sorted(of_class(drawn, "interval"), key=lambda one: float(one.get("x")[:-1]))
    assert [float(bar.get("height")) for bar in bars] == pytest.approx([3.5 * per_db] * 7, abs=0.2)


def test_the_part_of_the_page_says_it_in_words_too():
    hearing = invented_hearing.hearing_result()
    part = voice_part(hearing, invented.SECTIONS, LENGTH_S)
    text = plain(part)
    assert "Lead vox: in 2 of 7 phrases less than half of its loudness is left." in text
    first, second = text.index("2:40.0 to 2:46.0"), text.index("0:35.0 to 0:41.0")
    assert first < second
    assert "margin -4.2 dB cued, -7.7 dB strict" in text
    assert "Taken by Warm pad 40 %, Bass di 25 %." in text
    assert "1 Warm pad 40 %" in text
    assert PHRASES_CAVEAT in text
    assert len(re.findall("<tr>", part)) == 8
    assert 'tabindex="0"' in part
    assert "not confirmed" not in text
    assert "not confirmed" in plain(voice_part(changed(hearing, followed_by_guess=True), invented.SECTIONS, LENGTH_S))
    assert voice_part(changed(hearing, voice_line=()), invented.SECTIONS, LENGTH_S) is None


def test_a_line_that_is_well_heard_is_told_in_one_sentence():
    well = Line("lead-vox", tuple(p for p in LINE.phrases if p.margin_db.cued >= 0))
    assert line_sentence(well, NAMES) == "Lead vox: in all 5 phrases at least half of its loudness is left."
    assert taker_shapes(well, SCALE, NAMES) is None
    assert short_phrases(well.phrases) == []


def test_beyond_any_fader_is_the_worst_and_lies_at_the_bottom():
    none = Range(cued=None, strict=None)
    lost = changed(LINE.phrases[0], margin_db=none, rise_db=none)
    line = Line("lead-vox", (lost, *LINE.phrases[1:]))
    assert short_phrases(line.phrases)[0] is lost
    told = phrase_sentence(lost, NAMES)
    assert told.startswith("0:10.0 to 0:16.0 (intro): no fader brings back half of its loudness. Taken by Warm pad")
    drawn = tree(together(line_shapes(line, (), SCALE).shapes))
    steps = {one.get("x1"): float(one.get("y1")) for one in of_class(drawn, "step short")}
    assert max(steps.values()) == steps[min(steps, key=lambda x: float(x[:-1]))]


def test_beside_references_a_dot_inside_and_a_ring_outside():
    span = invented_hearing.hearing_result().voice_interval
    drawn = tree(together(level_shapes(LINE, span, (), SCALE).shapes))
    # Levels are margins less 4: 6, -1.5, 3, 8, 0, 2, -4.2 give 2, -5.5, -1, 4, -4, -2, -8.2 beside -4 to 2.
    assert (len(of_class(drawn, "dot")), len(of_class(drawn, "ring"))) == (4, 3)
    unknown = Line("lead-vox", tuple(changed(phrase, re_mix_lu=None) for phrase in LINE.phrases))
    assert level_shapes(unknown, span, (), SCALE) is None
    assert level_sentence(unknown, span, {}) == ""


def test_whether_an_interval_is_of_the_references_or_published_is_told():
    span = invented_hearing.hearing_result().voice_interval
    told = level_sentence(LINE, span, {"lead-vox": "Lead vox"})
    assert told == (
        "Lead vox beside the mix while it sings: -2.0 LU (its phrases -8.2 to 4.0); in 2 references -4.0 to 2.0 LU: "
        "as invented."
    )
    published = level_sentence(LINE, changed(span, references=0), {"lead-vox": "Lead vox"})
    assert "Published, not of your references: -4.0 to 2.0 LU, as invented." in published


@given(
    st.lists(st.floats(0.0, 195.0), min_size=1, max_size=12),
    st.text("abcdefghij ", min_size=1, max_size=40),
)
def test_words_under_the_line_never_overlap(starts, name):
    phrases = tuple(
        changed(LINE.phrases[1], start_s=start_s, end_s=start_s + 5.0, margin_db=Range(cued=-1.0 - i, strict=None))
        for i, start_s in enumerate(starts)
    )
    drawn = taker_shapes(Line("lead-vox", phrases), SCALE, {"warm-pad": name})
    places: dict[float, list[tuple[float, float]]] = {}
    for text in tree(together(drawn.shapes)).iter("text"):
        long = len(text.text) * 7.2
        x = float(text.get("x")[:-1]) * 6.40
        left = {"start": x, "middle": x - long / 2, "end": x - long}[text.get("text-anchor")]
        assert left >= -0.1
        assert left + long <= 640.1
        places.setdefault(float(text.get("y")), []).append((left, left + long))
    assert max(places) < drawn.height_px
    for row in places.values():
        row.sort()
        assert all(before[1] <= after[0] + 0.1 for before, after in itertools.pairwise(row))


# The song map


def test_rows_by_place_and_returns_last():
    strips = map_strips(invented_hearing.hearing_result(), invented.SECTIONS, SCALE)
    assert [(place, strip.name) for place, strip in strips] == [
        ("lead", "Lead vox"), ("support", "Bass di"), ("support", "Shaker"), ("bed", "Warm pad"),
        ("return", "Send voice reverb"),
    ]  # fmt: skip
    assert [strip.off for _, strip in strips] == [True, True, False, False, False]
    told = plain(song_map(invented_hearing.hearing_result(), invented.SECTIONS, SCALE))
    assert "outside its tolerance 0:48 to 1:20" in told
    assert "never louder than 0.05 sone" in told


def test_the_worst_findings_are_numbered_in_the_map_as_in_their_list():
    hearing = invented_hearing.hearing_result()
    drawn = {strip.name: tree(together(strip.shapes)) for _, strip in map_strips(hearing, (), SCALE)}
    assert [one.text for one in of_class(drawn["Bass di"], "told-by wide")] == ["1"]
    assert [one.text for one in of_class(drawn["Lead vox"], "told-by wide")] == ["2"]
    # Two in one place are one line with two numbers; from the eleventh on, lines are thin and have none.
    bass, lead = hearing.findings
    many = (lead, changed(lead, id="again"), *(changed(bass, id=f"b{i}") for i in range(8)))
    last = changed(bass, id="last", start_s=190.0, end_s=200.0)
    found = map_strips(changed(hearing, findings=(*many, last)), (), SCALE)
    drawn = {strip.name: tree(together(strip.shapes)) for _, strip in found}
    assert [one.text for one in of_class(drawn["Lead vox"], "told-by wide")] == ["1, 2"]
    assert [one.text for one in of_class(drawn["Lead vox"], "told-by narrow")] == ["1…"]
    assert len(of_class(drawn["Bass di"], "told worst")) == len(of_class(drawn["Bass di"], "told")) == 1
    assert [one.text for one in of_class(drawn["Bass di"], "told-by wide")] == ["3, 4, 5…"]


@given(st.lists(st.none() | st.integers(0, 100), min_size=1, max_size=300))
def test_every_second_is_drawn_as_high_as_what_is_kept(kept):
    hearing = invented_hearing.hearing_result()
    lead = changed(hearing.layers[0], kept=tuple(kept))
    scale = time_scale(len(kept))
    ((_, strip),) = map_strips(changed(hearing, layers=(lead,), findings=()), (), scale)
    root = tree(together(strip.shapes))
    shares: dict[int, tuple[int, str]] = {}
    for path in root.iter("path"):
        class_ = path.get("class")
        for first, height, end in re.findall(r"M(\d+) 17v-(\d+)H(\d+)v\d+z", path.get("d")):
            for second in range(int(first), int(end)):
                if class_ == "ground":
                    assert kept[second] is not None
                else:
                    assert second not in shares
                    shares[second] = int(height), class_
    assert shares.keys() == {second for second, one in enumerate(kept) if one is not None}
    for second, (height, class_) in shares.items():
        assert height == max(1, round(kept[second] * 15 / 100))
        assert class_ == f"kept-{min(kept[second] // 20, 4) + 1}"


# Who covers whom, and by band


@given(
    st.floats(0.0, 100.0), st.floats(0.0, 1.0), st.lists(st.floats(0.01, 1.0), min_size=0, max_size=6),
)  # fmt: skip
def test_the_parts_of_a_bar_add_up(cued, part, weights):
    total = sum(weights) or 1.0
    taken = tuple(TakenBy(track=f"t{i}", fraction=w / total) for i, w in enumerate(sorted(weights, reverse=True)))
    bar = tree(together(taken_bar(PERCENT, 100.0, cued, part * cued, taken, {one.track: one.track for one in taken})))
    widths = [(float(r.get("x")[:-1]), float(r.get("width")[:-1]), r.get("class")) for r in bar.iter("rect")]
    end = 0.0
    for x, width, _ in widths:
        assert x == pytest.approx(end, abs=0.02)
        end = x + width
    assert end == pytest.approx(100.0, abs=0.25)
    told = [width for _, width, class_ in widths if re.fullmatch("taken-[123]", class_)]
    assert told == pytest.approx([(100.0 - cued) * one.fraction for one in taken[:3]], abs=0.02)


def test_layers_outside_their_tolerance_come_first_and_beds_that_melt_not_at_all():
    strips = covered_strips(invented_hearing.hearing_result())
    assert [(strip.name, strip.off) for strip in strips] == [("Bass di", True), ("Lead vox", True)]
    part = plain(covered_part(invented_hearing.hearing_result()))
    # Left of the bass, 70 phon alone, at 55 phon: 1 / 2 ** 1.5, 35 %; the pad takes 90 % of the other 65 %.
    assert "12 to 35 % left; 1 Warm pad 58 %" in part
    assert "7.5 dB" in part


def test_bands_from_high_to_low_without_those_that_hold_nothing():
    bands = invented_hearing.hearing_result().layers[0].bands
    strips, scale = band_strips(bands, NAMES, [(900.0, 2700.0)])
    assert [strip.name for strip in strips] == ["2.7-5 kHz", "900 Hz-2.7 kHz", "300-900 Hz", "100-300 Hz"]
    assert [strip.off for strip in strips] == [False, True, False, False]
    assert scale.high > max(band.alone_sone for band in bands)
    assert bands_sentence(bands, NAMES).startswith("Most is lost at 300-900 Hz, 50 % of the loss; there it is taken by")


@pytest.mark.parametrize(
    ("edges", "told"),
    [((103.4, 151.9), "100-150 Hz"), ((812.0, 1043.0), "810 Hz-1 kHz"), ((1210.0, 1523.0), "1.2-1.5 kHz")],
)
def test_bands_by_their_edges(edges, told):
    assert band_words(*edges) == told


def test_leads_and_layers_with_findings_band_by_band_and_in_their_sections():
    part = bands_part(invented_hearing.hearing_result())
    summaries = [plain(one).strip() for one in re.findall("<summary>(.*?)</summary>", part)]
    sections = [section.name for section in invented.SECTIONS]
    assert summaries[0] == "Lead vox by band, over the song outside its tolerance"
    assert summaries[1:9] == [
        f"Lead vox in {name}" + (" outside its tolerance" if name == "verse 1" else "") for name in sections
    ]
    assert summaries[9:] == [
        "Bass di by band, over the song outside its tolerance", "Bass di in chorus 1 outside its tolerance"
    ]  # fmt: skip


def test_over_the_song_only_the_worst_band_is_marked():
    hearing = invented_hearing.hearing_result()
    worst = hearing.findings[1]
    lesser = changed(worst, id="lesser", section="chorus 1", band_hz=(300.0, 900.0), excess_db=1.0)
    part = bands_part(changed(hearing, findings=(worst, lesser)))
    whole, *sections = re.split(r"<summary>Lead vox in", part)
    assert re.findall(r'title="([^"]*)">[^<]*</span><svg[^>]*>(?:(?!</li>).)*diamond', whole) == ["900 Hz-2.7 kHz"]
    assert [section.count('class="diamond"') for section in sections] == [0, 1, 1, 0, 0, 0, 0, 0]


# Findings in sentences


def test_findings_say_who_where_how_much_and_because_of_whom():
    hearing = invented_hearing.hearing_result()
    names = {layer.id: layer.name for layer in hearing.layers}
    whole, band = hearing.findings
    assert finding_sentence(whole, names) == (
        "Bass di, chorus 1, 0:48 to 1:20: 9.0 dB (14.0 strict) to be heard as loud as alone; 5.0 may be lost. "
        "Taken by Warm pad 90 %."
    )
    # In a band the part of the whole layer's rise that goes with it is held against the tolerance: here 1.5 dB of 1.0.
    by = (TakenBy(track="bass-di", fraction=0.5), TakenBy(track="warm-pad", fraction=0.4))
    cost = changed(band, tolerance_db=1.0, excess_db=0.5, caused_by=by[1:])
    assert finding_sentence(cost, names) == (
        "Lead vox at 900 Hz-2.7 kHz, verse 1, 0:16 to 0:48: Warm pad takes 40 % of what it loses there, which counts "
        "as 1.5 dB of fader (1.0 may be lost); 7.5 dB (12.5 strict) to be heard there as loud as alone."
    )
    assert "1.0 dB of fader (just over the 1.0 that may be lost)" in finding_sentence(
        changed(cost, excess_db=0.04), names
    )
    # The layer that the band belongs to is told with what counts, though another takes more there.
    second = finding_sentence(changed(cost, caused_by=by), names)
    assert ": Warm pad takes 40 % of" in second
    assert second.endswith(" Also taken by Bass di 50 %.")
    filled = finding_sentence(changed(cost, kind="voice_filled"), names)
    assert ": its range is filled by a return: Warm pad takes 40 % of what it loses there" in filled
    assert plain(findings_part(changed(hearing, findings=(cost,)))).count(finding_size(cost, names)) == 1
    beyond = changed(band, size_db=Range(cued=None, strict=None), depends_on_level=True, caused_by=())
    told = finding_sentence(beyond, names)
    assert "no fader makes it as loud there as it is alone" in told
    assert told.endswith("At one of 65 and 85 dB SPL it lies inside.")


def test_many_findings_are_folded_and_what_is_left_as_is_stands_apart():
    hearing = invented_hearing.hearing_result()
    many = tuple(changed(hearing.findings[0], id=f"covered-{i}", excess_db=20.0 - i) for i in range(14))
    left = changed(hearing.findings[1], verdict="left as is")
    part = findings_part(changed(hearing, findings=(*many, left)))
    assert "14 places lie outside tolerance, furthest first: Bass di." in plain(part)
    assert re.findall("<summary>(.*?)</summary>", part) == ["4 more places", "Left as it is (1)"]
    assert 'start="11"' in part
    assert part.count("<li>") == 15
    assert "<code>covered-13</code>" in part
    assert findings_part(changed(hearing, findings=())) is None
    inside = changed(hearing, findings=(left,))
    assert findings_sentence(inside) == "Nothing lies outside tolerance but what was left as it is."
    none = changed(hearing, findings=())
    assert findings_sentence(none) == "Nothing lies outside tolerance."
    assert hearing_sentences(none)[-1] == findings_sentence(none)
    unheard = tuple(changed(layer, share=None) for layer in none.layers)
    assert findings_sentence(none) not in hearing_sentences(changed(none, layers=unheard))
    assert [strip.off for _, strip in map_strips(inside, (), SCALE)] == [False] * 5


# Without colour


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("colours", [style.LIGHT, style.DARK])
def test_shades_differ_in_grey(colours):
    steps = [colours[name] for name in ("paper", "hair", "kept-1", "kept-2", "kept-3", "kept-4", "sounds")]
    # Each a step from the one before, by more than is needed to see an edge: ours, no source.
    assert all(contrast(one, other) > 1.2 for one, other in itertools.pairwise(steps))
    order = [luminance(colour) for colour in steps]
    assert order in (sorted(order), sorted(order, reverse=True))
    # WCAG 2.2, success criterion 1.4.11: what is needed to understand a picture has 3:1 to what is beside it.
    for name in ("sounds", "ink", "soft", "accent"):
        assert contrast(colours[name], colours["paper"]) >= 3.0
    assert contrast(colours["sounds"], colours["span"]) >= 3.0


# Stills

HOSTILE = '"><script>alert(1)</script>\x1b[31m\u202e&amp;]]>\ufffe<!--'


def test_each_picture_stands_alone_and_is_the_same_every_time():
    hearing = invented_hearing.hearing_result()
    found = stills(hearing, invented.SECTIONS, LENGTH_S)
    pictures = ["voice-line", "song-map", "arrangement", "who-covers-whom", "bands-lead-vox", "bands-bass-di"]
    assert list(found) == pictures
    assert found == stills(hearing, invented.SECTIONS, LENGTH_S)
    for svg in found.values():
        root = ElementTree.fromstring(svg)
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        assert root.get("viewBox") == f"0 0 {root.get('width')} {root.get('height')}"
        assert "var(" not in svg
        assert svg.count("http") == 1
        used = {name for one in root.iter() for name in (one.get("class") or "").split()}
        style = root.find("{http://www.w3.org/2000/svg}style").text
        assert all(f".{name}" in style for name in used - {"wide"})
    assert "1 Warm pad 40 %" in plain(found["voice-line"])
    assert "Shaker" in found["song-map"]
    assert stills(changed(hearing, layers=(), voice_line=(), findings=()), (), LENGTH_S) == {}


def test_hostile_names_stay_text():
    hearing = invented_hearing.hearing_result()
    layers = tuple(changed(layer, name=HOSTILE) for layer in hearing.layers)
    sections = tuple(changed(part, name=HOSTILE) for part in invented.SECTIONS)
    for svg in stills(changed(hearing, layers=layers), sections, LENGTH_S).values():
        root = ElementTree.fromstring(svg)
        assert not any(one.tag.endswith("script") for one in root.iter())
        assert "\x1b" not in svg
        assert "\u202e" not in svg
