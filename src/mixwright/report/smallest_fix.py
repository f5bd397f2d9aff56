# SPDX-License-Identifier: Apache-2.0
"""The smallest thing that mends a phrase or a finding: a move that a plan proposes for it, else the fader."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from mixwright.model.ledger import Finding, VoicePhrase
from mixwright.model.results import PlannedMove, PlanResult
from mixwright.report.figures import with_unit
from mixwright.report.move_sentences import do_sentence

#: Words for a move that waits, or that sounds already.
_STATES = {"proposed": "Proposed", "accepted": "Accepted"}


def answers(plan: PlanResult | None, findings: Collection[str]) -> list[PlannedMove]:
    """Return the moves of a plan that answer any of these findings and are not refused, in the order of the plan."""
    return [move for move in plan.moves if move.finding in findings and move.state in _STATES] if plan else []


def move_words(move: PlannedMove, names: Mapping[str, str]) -> str:
    """Return a move with its state: ``Proposed: Lower Warm pad by 2.0 dB in chorus 1.``."""
    return f"{_STATES[move.state]}: {do_sentence(move, names.get(move.target, move.target), names)}"


def phrase_fix(
    phrase: VoicePhrase, findings: Sequence[Finding], plan: PlanResult | None, names: Mapping[str, str]
) -> str:
    """Return the smallest thing that would mend a phrase, "" where it keeps at least half of its loudness.

    That is the first move of the plan for a finding that its layer has in that time; without one, how far its fader
    would have to go up until half of its loudness is left, its margin.
    """
    margin_db = phrase.margin_db.cued
    if margin_db is not None and margin_db >= 0.0:
        return ""
    there = {
        one.id
        for one in findings
        if one.track == phrase.track and one.start_s < phrase.end_s and phrase.start_s < one.end_s
    }
    moves = answers(plan, there)
    if moves:
        return move_words(moves[0], names)
    if margin_db is None:
        return "No fader brings back half of it: make room in the others."
    return f"{with_unit(-margin_db, 'dB')} up on its fader, and half of it is left."
