# SPDX-License-Identifier: Apache-2.0
"""Layers as heard, in text and on the page."""

from __future__ import annotations

import re

import pytest

import invented_hearing
from mixwright.model.hearing import Range
from mixwright.model.song import changed
from mixwright.report.heard import heard_lines, heard_sentence
from mixwright.report.heard_rows import heard_part, phon_scale, share_by_section


def test_rows_tell_the_fader_equivalent_first_and_largest_first():
    lines = heard_lines(invented_hearing.hearing_result())
    assert lines[1] == "Layers as heard at 79 dB SPL on headphones."
    told = " ".join(lines[2:4])
    assert "by how many dB a layer would have to rise in this mix to be heard as loud as it is alone" in told
    table = [re.split(r" {2,}", line.strip()) for line in lines if line.startswith("  ")]
    assert table[0] == ["layer", "place", "to rise", "strict", "alone", "in the mix", "most of the loss to"]
    assert table[1:] == [
        ["Send voice reverb", "return", "40.0 dB", "45.0", "30 phon", "inaudible", "Lead vox 100 %"],
        ["Bass di", "support", "7.5 dB", "15.0", "70 phon", "40 to 55 phon", "Warm pad 90 %"],
        ["Lead vox", "lead", "1.5 dB", "2.9", "61 phon", "55 to 58 phon", "Warm pad 40 %, Bass di 25 %"],
        ["Warm pad", "bed", "1.5 dB", "3.0", "66 phon", "60 to 63 phon", "Lead vox 30 %, Bass di 28 % (about equal)"],
        ["Shaker", "support", "-", "-", "-", "-", "never louder than 0.05 sone"],
    ]  # fmt: skip


def test_what_depends_on_the_ear_and_loud_listening_are_told():
    hearing = invented_hearing.hearing_result()
    told = " ".join(heard_lines(hearing))
    assert "For 2 of 4 layers the two readings lie more than 5 phon apart" in told
    assert "how well the ear can pull them out" in told
    assert not any("harms hearing" in line for line in heard_lines(hearing))
    assert any("harms hearing" in line for line in heard_lines(changed(hearing, listening_level_db_spl=85.0)))


@pytest.mark.parametrize(
    ("figures", "told"),
    [
        (
            Range(cued=5.4, strict=8.8),
            "it would have to rise by 5.4 dB to be heard as loud as alone (8.8 by the strict",
        ),
        (Range(cued=30.0, strict=None), "rise by 30.0 dB to be heard as loud as alone (beyond any fader, strict)"),
        (None, "no fader makes it as loud in the mix as it is alone"),
    ],
)
def test_the_lead_in_one_sentence(figures, told):
    hearing = invented_hearing.hearing_result()
    lead, *others = hearing.layers
    sentence = heard_sentence(changed(hearing, layers=(*others, changed(lead, fader_equivalent_db=figures))))
    assert sentence.startswith("Lead vox, the lead: ")
    assert told in sentence


def test_a_rough_guess_is_called_one():
    hearing = invented_hearing.hearing_result()
    lead, *others = hearing.layers
    rough = changed(hearing, layers=(changed(lead, correlated=0.6), *others))
    assert sum("(a rough guess)" in line for line in heard_lines(rough)) == 1


def test_the_page_shows_marks_that_need_no_colour():
    part = heard_part(invented_hearing.hearing_result())
    rows = re.findall(r'<li class="row level">.*?</li>', part)
    assert len(rows) == 5
    bass = next(row for row in rows if "Bass di" in row)
    # One dot for what it is alone, one bar between two stops for what is left.
    assert (bass.count('class="dot"'), bass.count('class="interval"'), bass.count('class="stop"')) == (1, 1, 2)
    assert "70 alone, 40 to 55" in bass
    inaudible = next(row for row in rows if "voice reverb" in row)
    assert "inaudible" in inaudible
    assert 'class="interval"' not in inaudible
    assert "Section by section" in share_by_section(invented_hearing.hearing_result())
    assert 'tabindex="0"' in part


def test_the_scale_holds_every_layer_and_is_never_empty():
    hearing = invented_hearing.hearing_result()
    scale = phon_scale(hearing)
    assert scale.low == 0.0
    assert scale.high == 73.0
    alone = changed(hearing, layers=(invented_hearing.heard_layer("lead-vox", "lead", 60.0, 59.9, 60.0),))
    assert len(phon_scale(alone).ticks) >= 2
    nothing = changed(hearing, layers=hearing.layers[-1:])
    assert "Shaker" in heard_part(nothing)
    assert heard_sentence(nothing) == "No layer is heard."


def test_names_are_escaped():
    hostile = changed(invented_hearing.heard_layer("lead-vox", "lead", 61.0, 55.0, 58.0), name="<b>x</b>", id="x")
    part = heard_part(invented_hearing.hearing_result(hostile))
    assert "<b>x" not in part
    assert "&lt;b&gt;x" in part
