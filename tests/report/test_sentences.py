# SPDX-License-Identifier: Apache-2.0
"""The sentences that text and page share."""

import pytest

import invented
from mixwright.model.results import PrintFit, Spread
from mixwright.model.song import Move, changed
from mixwright.report.move_sentences import do_sentence, total_cost
from mixwright.report.page import song_page
from mixwright.report.sentences import (
    before_after,
    intake_counts,
    print_fit_sentence,
    reason_alone,
    sorted_intake,
    spread_sentence,
)
from mixwright.report.spectrum import Band, spectrum_sentence
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


def test_the_total_cost_counts_the_kinds_and_names_the_largest_change():
    """A dip takes off as much as it goes deep; each change counts at its strength."""
    level, *_ = invented.decide_result().moves
    level = changed(level, kind="level", settings={"gain_db": 3.0}, strength=1.0, costs=())
    dip = changed(level, kind="dip", target="pad", settings={"hz": 2000.0, "most_db": 8.0}, key="vox", strength=0.5)
    assert total_cost([level, dip]) == ["Together: 2 moves (1 level, 1 dip) on 2 layers, the largest -4.0 dB."]


def test_the_room_above_the_peaks_is_told_as_what_it_is():
    told = spread_sentence(Spread(low=-6.0, high=-3.0, unit="dbtp", source="common practice, no source"))
    assert told == "The peak is commonly left between -6.0 and -3.0 dBTP."


def test_a_reason_does_not_say_again_what_to_do():
    told = "Raise drums by 6.2 dB: engineers hold it higher."
    assert reason_alone(told, "Drums") == reason_alone(told, "drums") == "Engineers hold it higher."
    assert reason_alone(told, "Bass") == told


def test_a_move_that_does_nothing_says_so():
    move = Move(id="m1", kind="level", target="drums", settings={"gain_db": -2.0}, strength=0.5)
    assert do_sentence(move, "Drums") == "Lower Drums by 1.0 dB."
    assert do_sentence(changed(move, strength=0.0, sections=("verse",)), "Drums") == "Leave Drums as it is in verse."
    assert do_sentence(changed(move, settings={"gain_db": 0.04}), "Drums") == "Leave Drums as it is."
    assert do_sentence(changed(move, kind="pan", settings={"pan": 0.4}, strength=0.0), "Drums").startswith("Leave")


@pytest.mark.parametrize(
    ("kind", "settings", "told"),
    [
        ("band_limit", {"low_hz": 200.0, "high_hz": 4000.0}, "Keep of Pad what lies between 200 Hz and 4 kHz."),
        ("band_limit", {"high_hz": 4000.0}, "Keep of Pad what lies below 4 kHz."),
        ("shape", {"hz": 400.0, "gain_db": -3.0}, "Cut Pad by 1.5 dB at 400 Hz, Q 2."),
        ("tilt", {"hz": 120.0, "gain_db": -3.0}, "Tilt Pad darker by 1.5 dB around 120 Hz."),
        ("dip", {"hz": 2000.0, "most_db": 7.0}, "Dip Pad by up to 3.5 dB at 2 kHz, Q 1, while Lead is heard there."),
        ("duck", {"depth_db": 6.0, "by_hits": 1.0}, "Duck Pad by 3.0 dB at each hit of Lead."),
        ("duck", {"depth_db": 6.0, "low_hz": 200.0}, "Duck Pad above 200 Hz by 3.0 dB while Lead is loud."),
        ("width", {"width": 0.2}, "Narrow Pad to 60 % of its width."),
        ("send", {"gain_db": -4.0}, "Send 2.0 dB less of Pad to Lead."),
        ("even_out", {"threshold_db": -24.0, "ratio": 3.0}, "Even out Pad, 3.0 to 1 above -24.0 dB."),
        ("colour", {"drive_db": 6.0, "mix": 0.5}, "Colour Pad with 6.0 dB of drive, 50 % of it mixed in."),
    ],
)
def test_each_kind_of_move_says_what_a_person_would_do(kind, settings, told):
    move = Move(id="m1", kind=kind, target="pad", settings=settings, strength=0.5, key="lead")
    assert do_sentence(move, "Pad", {"lead": "Lead"}) == told


def test_what_does_not_change_is_not_told_as_before_and_after():
    move = changed(
        invented.decide_result().moves[0],
        measured={"re_mix_lu": -10.0, "pan": 0.0, "integrated_lufs": -20.0},
        predicted={"re_mix_lu": -10.04, "pan": -0.4, "integrated_lufs": -19.0},
    )
    assert before_after(move) == ["position centre now, 40 % left then"]


def test_the_print_beside_its_layers_in_words():
    fit = PrintFit(file="print.wav", residual_db=-41.2, gain_db=0.0, lag_frames=0)
    assert print_fit_sentence(fit) == "Layers against the print print.wav: what is left over is -41.2 dB."
    assert print_fit_sentence(changed(fit, residual_db=-150.0)).endswith("is next to nothing.")
    assert print_fit_sentence(changed(fit, polarity="inverted")).endswith(
        "-41.2 dB; the print is inverted against them."
    )
    assert "silent where they meet" in print_fit_sentence(changed(fit, residual_db=None))


def test_what_reads_as_nothing_outside_is_inside():
    bands = [Band(250.0, -19.96, -24.0, -20.0), Band(500.0, -24.0, -24.0, -20.0), Band(1000.0, -24.04, -24.0, -20.0)]
    assert [band.off_db for band in bands] == [0.0, 0.0, 0.0]
    measure = invented.measure_result()
    assert spectrum_sentence(measure, bands).endswith("all 3 bands lie within what they span.")
    told = spectrum_sentence(measure, [*bands, Band(2000.0, -24.1, -24.0, -20.0)])
    assert told.endswith("the furthest outside is 2 kHz, 0.1 dB below.")
