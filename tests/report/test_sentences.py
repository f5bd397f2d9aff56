# SPDX-License-Identifier: Apache-2.0
"""The sentences that text and page share."""

import invented
from mixwright.model.results import Spread
from mixwright.model.song import changed
from mixwright.report.page import song_page
from mixwright.report.sentences import intake_counts, reason_alone, sorted_intake, spread_sentence, total_cost
from mixwright.report.text import start_text

WHY = "a click, not a part of the song"


def with_a_click():
    """Return the invented intake with one good track that takes no part."""
    result = invented.start_result()
    tracks = [changed(t, use=False, why=WHY) if t.id == "shaker" else t for t in result.tracks]
    return changed(result, tracks=tuple(tracks))


def test_every_track_is_counted_once_and_what_is_left_out_is_not_ready():
    before, after = sorted_intake(invented.start_result().tracks), sorted_intake(with_a_click().tracks)
    assert [t.id for t in after.left_out] == ["shaker"]
    assert len(after.ready) == len(before.ready) - 1
    assert sum(map(len, after)) == len(with_a_click().tracks)
    assert ", 1 left out, 1 cannot be used." in intake_counts(with_a_click())
    assert "left out" not in intake_counts(invented.start_result())


def test_text_and_page_say_why_a_track_is_left_out():
    text = "\n".join(start_text(with_a_click()))
    assert f"Left out:\n  shaker.wav: {WHY}" in text
    page = song_page(invented.song(), with_a_click())
    assert f"<li><b>shaker.wav</b>: {WHY}.</li>" in page


def test_the_total_cost_names_the_layer_of_each_cost():
    moves = invented.decide_result().moves
    costly = [changed(move, costs=("In mono it is lower.",)) for move in moves]
    told = total_cost(costly)
    assert told[1:] == ["Costs:", *(f"  {move.target}: In mono it is lower." for move in moves)]
    assert len(total_cost([changed(move, costs=()) for move in moves])) == 1


def test_the_room_above_the_peaks_is_told_as_what_it_is():
    told = spread_sentence(Spread(low=-6.0, high=-3.0, unit="dbtp", source="common practice, no source"))
    assert told == "The peak is commonly left between -6.0 and -3.0 dBTP."


def test_a_reason_does_not_say_again_what_to_do():
    told = "Raise drums by 6.2 dB: engineers hold it higher."
    assert reason_alone(told, "Drums") == reason_alone(told, "drums") == "Engineers hold it higher."
    assert reason_alone(told, "Bass") == told
