# SPDX-License-Identifier: Apache-2.0
"""Phrases of the lead in text."""

from __future__ import annotations

from mixwright.model.hearing import HearingResult, Phrase, Range
from mixwright.model.song import changed
from mixwright.report.phrases import PHRASES_CAVEAT, phrase_lines

RESULT = HearingResult(
    layers=(), listening_level_db_spl=79.0, listening="headphones", k_offset_db=Range(cued=-10.0, strict=0.0)
)


def phrase(start_s, glimpses, bands, *flags, layer="vox"):
    return Phrase(
        layer=layer, start_s=start_s, end_s=start_s + 2.5, glimpse_share=glimpses, band_audibility=bands, flags=flags
    )


def lines(*phrases, why=""):
    first, *told = phrase_lines(changed(RESULT, phrases=phrases, why_no_phrases=why))
    assert first == ""
    return told


def test_worst_first_with_times_and_what_it_is_worth():
    found = lines(
        phrase(10.0, 0.5, 0.7),
        phrase(20.0, 0.1, 0.5, "few_glimpses"),
        phrase(75.5, 0.08, 0.1, "few_glimpses", "bands_covered"),
    )
    assert found[0].startswith("3 phrases of the lead; 2 stand out as much less than its middle phrase as a voice 3 dB")
    times = [line.split()[0] for line in found[3:-2]]
    assert times == ["1:15.5", "0:20.0", "0:10.0"]
    assert found[3].split() == ["1:15.5", "to", "1:18.0", "8", "%", "10", "%"]
    assert " ".join(found[-2:]) == PHRASES_CAVEAT


def test_no_more_than_five_and_whose_where_there_are_several():
    found = lines(*(phrase(3.0 * k, 0.5, 0.7, layer=f"vox-{k % 2}") for k in range(8)))
    assert len(found) == 3 + 5 + 2
    assert [line.split()[-1] for line in found[3:5]] == ["vox-0", "vox-1"]


def test_none_for_a_reason():
    assert phrase_lines(None) == []
    assert phrase_lines(RESULT) == []  # told of other layers alone
    assert lines(why="no lead is confirmed") == ["Phrases of the lead: none, no lead is confirmed."]
