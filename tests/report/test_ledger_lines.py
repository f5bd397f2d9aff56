# SPDX-License-Identifier: Apache-2.0
"""The voice line and the worst findings in text."""

from __future__ import annotations

import invented
import invented_hearing
from mixwright.model.ledger import Growth
from mixwright.model.ranges import Range, TakenBy
from mixwright.model.song import changed
from mixwright.report.arranged import arrangement_lines
from mixwright.report.grown import grown_part, growth_sentence
from mixwright.report.heard import layer_names
from mixwright.report.ledger_lines import ledger_lines
from mixwright.report.rows import wrapped
from mixwright.report.text import measure_text


def test_the_voice_line_comes_first_then_the_worst_places():
    lines = measure_text(invented.measure_result())
    assert lines[0] == "Voice line:"
    told = "\n".join(lines)
    assert told.index("Voice line:") < told.index("outside tolerance") < told.index("The mix as it stands:")
    assert "   1. Bass di, chorus 1" in told
    assert all(len(line) <= 100 for line in ledger_lines(invented_hearing.hearing_result()))


def test_ten_findings_are_told_and_the_rest_counted():
    hearing = invented_hearing.hearing_result()
    one = hearing.findings[0]
    lines = ledger_lines(changed(hearing, findings=tuple(changed(one, id=f"one-{k}") for k in range(12))))
    told = lines[lines.index("12 places lie outside tolerance, furthest first: Bass di.") :]
    assert sum(line.strip().startswith(f"{k}.") for line in told for k in range(1, 13)) == 10
    assert not any(line.startswith("  11.") for line in lines)
    assert "  and 2 more places, on the page and in JSON" in lines


def test_what_was_left_as_it_is_is_counted_and_a_guessed_lead_said():
    hearing = invented_hearing.hearing_result()
    left = changed(hearing, findings=(changed(hearing.findings[0], verdict="left as is"),), followed_by_guess=True)
    told = "\n".join(ledger_lines(left))
    assert "Left as it is: 1 place." in told
    assert "Nothing lies outside tolerance but what was left as it is." in told
    assert "The lead is not confirmed" in told
    assert "The lead is not confirmed" not in "\n".join(ledger_lines(hearing))


def test_what_was_buried_deeper_since_the_last_measure_is_told_and_nothing_where_nothing_was():
    hearing = invented_hearing.hearing_result()
    one = Growth(
        track="lead-vox",
        section="chorus 1",
        start_s=48.0,
        end_s=80.0,
        band_hz=(900.0, 2700.0),
        size_db=Range(cued=1.1, strict=None),
        step_db=0.15,
        excess_db=0.6,
        share=0.31,
        share_before=0.67,
        caused_by=(TakenBy(track="warm-pad", fraction=0.9), TakenBy(track="others", fraction=0.1)),
    )
    told = ledger_lines(changed(hearing, grew=(one,)))
    assert "Since the last measure 1 place is buried deeper, what is missed most first." in told
    sentence = growth_sentence(one, layer_names(hearing))
    assert sentence == (
        "Lead vox at 900 Hz-2.7 kHz, chorus 1, 0:48 to 1:20: 31 % of it is left there, 67 % was; "
        "1.1 dB of fader (beyond any fader, strict) would make up for it. Taken by Warm pad 90 %."
    )
    assert sentence in " ".join(" ".join(told).split())
    assert "buried" not in "\n".join(ledger_lines(hearing))
    assert grown_part(hearing) is None
    many = changed(hearing, grew=(one,) * 7)
    assert "  and 2 more places, on the page and in JSON" in ledger_lines(many)
    before, _, folded = str(grown_part(many)).partition("<details>")
    assert (before.count("<li>"), folded.count("<li>")) == (5, 2)
    assert '<ol class="worst" start="6">' in folded


def test_nothing_heard_nothing_told():
    assert ledger_lines(None) == []
    assert ledger_lines(changed(invented_hearing.hearing_result(), layers=())) == []


def test_ids_and_figures_are_not_broken_at_the_end_of_a_line():
    for width in range(40, 100):
        (line, *more) = wrapped(
            f"{'x' * width} 50 % of it, by 11.6 dB at 2.6 kHz [covered_band-tamb-only-choruses-25dd9c]"
        )
        told = [line, *more]
        assert " ".join(told).split() == [
            *f"{'x' * width} 50 % of it, by 11.6 dB at 2.6 kHz".split(),
            more[-1].split()[-1],
        ]
        assert all(
            any(whole in each for each in told) for whole in ("50 %", "11.6 dB", "2.6 kHz", "tamb-only-choruses")
        )
        assert max(map(len, told)) <= 100
    assert wrapped("a" * 200, "  ") == ["  " + "a" * 200]


def test_layers_with_long_names_are_told_in_lines_that_fit():
    hearing = invented_hearing.hearing_result()
    layers = tuple(changed(layer, name=f"{layer.name} {'take after take ' * 8}") for layer in hearing.layers)
    told = ledger_lines(changed(hearing, layers=layers)) + arrangement_lines(changed(hearing, layers=layers))
    assert max(map(len, told)) <= 100
