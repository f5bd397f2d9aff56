# SPDX-License-Identifier: Apache-2.0
"""The voice line in a few lines, and the worst findings in plain words; for text."""

from __future__ import annotations

from collections.abc import Iterable

from mixwright.model.hearing import HeardWithout, HearingResult
from mixwright.report.figures import count, number, with_unit
from mixwright.report.findings import finding_sentence, findings_sentence, outside_tolerance
from mixwright.report.grown import MOST_GROWN, grown_sentence, growth_sentence
from mixwright.report.heard import layer_names, range_words
from mixwright.report.rows import wrapped
from mixwright.report.voice_line import GUESSED, level_sentence, line_sentence, lines_of, phrase_sentence, short_phrases

#: So many phrases and findings are told; all of them are in JSON and on the page.
_PHRASES, _FINDINGS = 3, 10


def ledger_lines(hearing: HearingResult | None) -> list[str]:
    """Return how far the followed line stands above the rest, its worst phrases, and what lies outside tolerance."""
    if hearing is None or not any(layer.share for layer in hearing.layers):
        return []
    names = layer_names(hearing)
    lines = ["Voice line:"] if hearing.voice_line else []
    lines += wrapped(GUESSED) if hearing.voice_line and hearing.followed_by_guess else []
    for line in lines_of(hearing):
        lines += wrapped(line_sentence(line, names))
        lines += wrapped(level_sentence(line, hearing.voice_interval, names)) if hearing.voice_interval else []
        lines += _numbered(phrase_sentence(phrase, names) for phrase in short_phrases(line.phrases)[:_PHRASES])
    found = outside_tolerance(hearing)
    lines += ["", *wrapped(findings_sentence(hearing))]
    lines += _numbered(f"{finding_sentence(finding, names)} [{finding.id}]" for finding in found[:_FINDINGS])
    if len(found) > _FINDINGS:
        lines.append(f"  and {count(len(found) - _FINDINGS, 'more place', 'more places')}, on the page and in JSON")
    if hearing.grew:
        lines += ["", *wrapped(grown_sentence(hearing))]
        lines += _numbered(growth_sentence(one, names) for one in hearing.grew[:MOST_GROWN])
        more = len(hearing.grew) - MOST_GROWN
        lines += [f"  and {count(more, 'more place', 'more places')}, on the page and in JSON"] if more > 0 else []
    for one in hearing.without:
        lines += wrapped(without_sentence(one, names))
    left = len(hearing.findings) - len(found)
    lines += [f"Left as {'it is' if left == 1 else 'they are'}: {count(left, 'place')}."] if left else []
    return [*lines, ""]


def without_sentence(one: HeardWithout, names: dict[str, str]) -> str:
    """Return what muting a layer would give back to another."""
    muted, gains = names.get(one.without, one.without), names.get(one.track, one.track)
    back = f"{with_unit(one.gives_back_phon.cued, 'phon')} back ({number(one.gives_back_phon.strict)} strict)"
    return f"Muting {muted} would give {gains} {back}: {range_words(one.in_mix_phon, 'phon')} would be left."


def _numbered(sentences: Iterable[str]) -> list[str]:
    told: list[str] = []
    for k, sentence in enumerate(sentences, 1):
        head = f"{k:4}. "
        told += wrapped(sentence, head, " " * len(head))
    return told
