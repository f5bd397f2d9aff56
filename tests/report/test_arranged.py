# SPDX-License-Identifier: Apache-2.0
"""The arrangement as told and drawn: what is drawn is read back and held against the data."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

import invented
import invented_hearing
from mixwright.model.arrangement import Arrangement, Job, MissingJob, SharedPlace
from mixwright.model.hearing import HearingResult
from mixwright.model.song import changed
from mixwright.report.arranged import arrangement_lines, facts, questions
from mixwright.report.arranged_rows import arrangement_part, arrangement_strips, asked_strip, motion_shape
from mixwright.report.markup import together
from mixwright.report.stills import stills

HEARING = invented_hearing.hearing_result()


def with_(**fields: object) -> HearingResult:
    return changed(HEARING, arrangement=changed(HEARING.arrangement, **fields))


def tree(*shapes: str) -> ElementTree.Element:
    return ElementTree.fromstring(f"<svg>{together(*shapes)}</svg>")


def plain(markup: str) -> str:
    return re.sub(r"[\s\u00a0]+", " ", re.sub(r"<[^>]*>", " ", markup))


def test_nothing_is_said_where_nothing_is_worth_saying() -> None:
    assert arrangement_lines(None) == []
    assert arrangement_lines(changed(HEARING, arrangement=Arrangement())) == []
    quiet = with_(shared=(), holes=(), missing=(), never_heard=(), twins=())
    assert arrangement_lines(quiet) == []
    assert arrangement_part(changed(HEARING, arrangement=Arrangement()), ()) is None


def test_what_a_section_lacks_is_asked_with_its_neighbours() -> None:
    hole, missing = questions(HEARING)
    assert hole == (
        "In bridge (2:16 to 2:32) there is 9 dB less between 400 and 820 Hz than in chorus 2 and chorus 3 beside it: "
        "is that meant?"
    )
    assert missing == (
        "In bridge no layer holds a chord; in chorus 2 and chorus 3 beside it Warm pad holds: is that meant?"
    )


@pytest.mark.parametrize(
    ("job", "who", "words"),
    [
        ("pulse", ("lead-vox", "bass-di"), "no layer pulses; in a and c beside it Lead vox and Bass di pulse"),
        ("high", ("lead-vox",), "next to nothing sounds above 5 kHz; in a and c beside it Lead vox does"),
        ("low", (), "next to nothing sounds below 120 Hz; in a and c beside it others do"),
    ],
)
def test_every_job_has_its_words(job: Job, who: tuple[str, ...], words: str) -> None:
    one = MissingJob(section="b", job=job, beside=("a", "c"), done_by=who)
    assert questions(with_(holes=(), missing=(one,))) == [f"In b {words}: is that meant?"]


def test_few_of_a_kind_are_told_and_how_many_more_there_are() -> None:
    told = questions(with_(missing=(), holes=HEARING.arrangement.holes * 5))
    assert (len(told), told[-1]) == (4, "And 2 more holes of this kind, in JSON.")


def test_a_pair_is_told_once_with_its_sections_and_only_if_it_shares_much() -> None:
    (told,) = (fact for fact in facts(HEARING) if " share " in fact)
    where = "in chorus 1 and chorus 2, most of it between 230 and 820 Hz."
    assert told == f"Warm pad and Bass di share up to 66 % of their energy {where}"


def test_twins_are_not_told_again_as_a_pair() -> None:
    shared = SharedPlace(layers=("lead-vox", "warm-pad"), section="verse 1", share=0.9, low_hz=200.0, high_hz=2000.0)
    assert not [fact for fact in facts(with_(shared=(shared,))) if " share " in fact]


def test_text_is_wrapped() -> None:
    lines = arrangement_lines(HEARING)
    assert lines[:2] == ["", "Arrangement:"]
    assert max(map(len, lines)) <= 100


def test_what_layers_do_differs_by_shape_and_not_by_colour() -> None:
    drawn = {word: tree(*motion_shape(word, 0.0, 50.0, 11.0, 14.0)) for word in ("sustains", "between", "pulses")}
    classes = {word: [one.get("class") for one in root] for word, root in drawn.items()}
    assert classes == {"sustains": ["held"], "between": ["strokes", "held"], "pulses": ["strokes"]}
    heights = {word: [one.get("stroke-width") for one in root] for word, root in drawn.items()}
    assert len({tuple(one) for one in heights.values()}) == 3
    assert not motion_shape("silent", 0.0, 50.0, 11.0, 14.0)


def test_rows_are_sorted_by_what_layers_mostly_do_and_drawn_where_they_do_it() -> None:
    blocks = dict(arrangement_strips(HEARING, invented.SECTIONS))
    assert {word: [strip.name for strip in strips] for word, strips in blocks.items()} == {
        "sustains": ["Warm pad"],
        "between": ["Bass di", "Lead vox"],
        "pulses": ["Send voice reverb"],
    }
    (pad,) = blocks["sustains"]
    bands = [one for one in tree(*pad.shapes) if one.get("class") == "held"]
    # Eight sections of one width; in the sixth, the bridge, it is silent.
    columns = [k for k, part in enumerate(invented.SECTIONS) if part.name != "bridge"]
    assert [one.get("x1") for one in bands] == [f"{12.5 * k:.2f}%" for k in columns]
    assert [one.get("x2") for one in bands] == [f"{12.5 * (k + 1):.2f}%" for k in columns]
    assert pad.unseen.startswith("intro holds; verse 1 holds")


def test_a_layer_that_does_two_things_has_two_rows_in_one() -> None:
    bass = dict(arrangement_strips(HEARING, invented.SECTIONS))["between"][0]
    assert "chorus 1 holds low and pulses high" in bass.unseen
    heights = {float(one.get("y1")) for one in tree(*bass.shapes) if one.get("class") == "strokes"}
    assert {6.0, 11.0} <= heights


def test_a_layer_that_does_the_same_low_and_high_has_one_row() -> None:
    motion = [one for one in HEARING.arrangement.motion if one.layer == "bass-di"]
    motion = [changed(one, ranges=(*one.ranges, *one.ranges[:1])) for one in motion]
    bass = dict(arrangement_strips(with_(motion=tuple(motion)), invented_hearing.SECTIONS))["between"][0]
    assert "chorus 1 in between" in bass.unseen
    assert "low and" not in bass.unseen


def test_questions_are_marked_where_they_are_asked() -> None:
    strip = asked_strip(HEARING, invented.SECTIONS)
    (mark,) = tree(*strip.shapes)
    assert (mark.text, mark.get("x")) == ("?", "68.75%")


def test_the_page_and_the_still_have_all_of_it() -> None:
    part = arrangement_part(HEARING, invented.SECTIONS)
    assert part is not None
    words = plain(part)
    for told in (*questions(HEARING), *facts(HEARING), "holds 0.12, 0.1", "Layers that mostly hold", "in between"):
        assert told in words
    assert "shaker" not in words.lower().replace("the same in figures", "").split("modulation")[0]
    still = plain(stills(HEARING, invented.SECTIONS, 202.0)["arrangement"])
    assert "Layers that mostly pulse" in still
    assert "Asked about" in still
