# SPDX-License-Identifier: Apache-2.0
"""The voice line and the worst findings in text."""

from __future__ import annotations

import invented
import invented_hearing
from mixwright.model.song import changed
from mixwright.report.ledger_lines import ledger_lines
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
    assert sum(line.strip().startswith(f"{k}.") for line in lines for k in range(1, 13)) >= 10
    assert not any(line.startswith("  11.") for line in lines)
    assert "  and 2 more places, on the page and in JSON" in lines


def test_what_was_left_as_it_is_is_counted_and_a_guessed_lead_said():
    hearing = invented_hearing.hearing_result()
    left = changed(hearing, findings=(changed(hearing.findings[0], verdict="left as is"),), followed_by_guess=True)
    told = "\n".join(ledger_lines(left))
    assert "Left as it is: 1 place." in told
    assert "Every layer is heard within the tolerance of its place." in told
    assert "The lead is not confirmed" in told
    assert "The lead is not confirmed" not in "\n".join(ledger_lines(hearing))


def test_nothing_heard_nothing_told():
    assert ledger_lines(None) == []
    assert ledger_lines(changed(invented_hearing.hearing_result(), layers=())) == []
