# SPDX-License-Identifier: Apache-2.0
"""Phrases of the lead in text, the least audible first."""

from __future__ import annotations

from mixwright.hearing.lyric import BANDS_COVERED, FEW_GLIMPSES, usual_of
from mixwright.model.hearing import HearingResult, Phrase
from mixwright.report.figures import clock, count
from mixwright.report.rows import rows, wrapped

#: Lines of phrases in text; all of them are in JSON.
_MOST = 5
#: What the figures are worth: stands wherever they do.
PHRASES_CAVEAT = (
    "Audibility of the voice, not how well words are understood: they may still be hard to follow for reasons of "
    "diction. Compare the same voice before and after a change."
)


def phrase_lines(result: HearingResult | None) -> list[str]:
    """Return how audible the lead's words are: how many phrases stand out little, and the worst of them."""
    if result is None:
        return []
    if not result.phrases:  # without a reason, none was asked about
        return ["", f"Phrases of the lead: none, {result.why_no_phrases}."] if result.why_no_phrases else []
    flagged = sum(bool(phrase.flags) for phrase in result.phrases)
    marks = "stands" if flagged < 2 else "stand"
    several = len({phrase.layer for phrase in result.phrases}) > 1
    body = [
        (
            f"{clock(phrase.start_s, tenths=True)} to {clock(phrase.end_s, tenths=True)}",
            f"{100 * phrase.glimpse_share:.0f} %",
            f"{100 * phrase.band_audibility:.0f} %",
            phrase.layer if several else "",
        )
        for phrase in least_audible(result)[:_MOST]
    ]
    return [
        "",
        *wrapped(
            f"{count(len(result.phrases), 'phrase')} of the lead; {flagged or 'none'} {marks} out as much less than "
            "its middle phrase as a voice 3 dB softer would, or less still. The least audible:"
        ),
        *rows(("", "glimpses", "bands", ""), body, right="12"),
        *wrapped(PHRASES_CAVEAT),
    ]


def least_audible(result: HearingResult) -> list[Phrase]:
    """Return the phrases, the least audible by either measure first, equals in order of time."""
    glimpses, bands = usual_of(result.phrases)
    return sorted(
        result.phrases,
        key=lambda phrase: min(
            _part(phrase.glimpse_share, FEW_GLIMPSES * glimpses), _part(phrase.band_audibility, BANDS_COVERED * bands)
        ),
    )


def _part(value: float, usual: float) -> float:
    return value / usual if usual > 0.0 else 0.0
