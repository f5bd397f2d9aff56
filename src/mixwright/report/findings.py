# SPDX-License-Identifier: Apache-2.0
"""Findings in sentences: who, where, which band, by how much, because of whom; furthest outside first."""

from __future__ import annotations

from collections.abc import Sequence

from mixwright.errors import listed
from mixwright.model.hearing import HearingResult
from mixwright.model.ledger import Finding, FindingKind, Growth
from mixwright.report.figures import clock, count, number, with_unit
from mixwright.report.heard import layer_names, takers_words
from mixwright.report.markup import Markup, element, together
from mixwright.units import band_words

#: So many are told at once; the others are folded away.
MOST = 10


#: What a kind of finding means, where the size alone does not say it.
_KINDS: dict[FindingKind, str] = {
    "low_pile_up": "in the low end ",
    "voice_filled": "its range is filled by a return: ",
    "only_covered": "it is only ever covered: ",
}


def outside_tolerance(hearing: HearingResult) -> list[Finding]:
    """Return the findings that are not left as they are, furthest first."""
    return [finding for finding in hearing.findings if finding.verdict == "outside"]


def findings_sentence(hearing: HearingResult) -> str:
    """Return how many places lie outside their tolerance, and of which layers."""
    found = outside_tolerance(hearing)
    if not found and hearing.findings:
        return "Nothing lies outside tolerance but what was left as it is."
    if not found:
        return "Nothing lies outside tolerance."
    names = layer_names(hearing)
    layers = list(dict.fromkeys(names.get(finding.track, finding.track) for finding in found))
    lie = "lies" if len(found) == 1 else "lie"
    return f"{count(len(found), 'place')} {lie} outside tolerance, furthest first: {listed(layers, 5)}."


def finding_sentence(finding: Finding, names: dict[str, str]) -> str:
    """Return a finding in words: its place first."""
    return f"{finding_place(finding, names)}: {finding_size(finding, names)}"


def finding_place(finding: Finding | Growth, names: dict[str, str]) -> str:
    """Return who and where: ``Lead vox at 900 Hz-2.7 kHz, chorus 1, 0:48 to 1:20``."""
    band = f" at {band_words(*finding.band_hz)}" if finding.band_hz is not None else ""
    section = f", {finding.section}" if finding.section else ""
    where = f"{clock(finding.start_s)} to {clock(finding.end_s)}"
    return f"{names.get(finding.track, finding.track)}{band}{section}, {where}"


def finding_size(finding: Finding, names: dict[str, str]) -> str:
    """Return by how much, because of whom, and how sure: what is held against the tolerance comes first."""
    if finding.kind == "brighter":
        lead = names.get(finding.taker or "", "the lead")
        size = with_unit(finding.size_db.cued, "dB")
        return f"{size} brighter than {lead}, as was asked about; told above {with_unit(finding.tolerance_db, 'dB')}."
    told = _KINDS.get(finding.kind, "") + (_whole(finding, names) if finding.band_hz is None else _band(finding, names))
    return told + (" At one of 65 and 85 dB SPL it lies inside." if finding.depends_on_level else "")


def _whole(finding: Finding, names: dict[str, str]) -> str:
    """Return the rise that a layer needs as a whole, and who takes what it loses."""
    due, taken = _due(finding), takers_words(finding.caused_by, names)
    rise = f"{due} to be heard as loud as alone" if due else "no fader makes it as loud as it is alone"
    return f"{rise}; {_allowed(finding)}." + (f" Taken by {taken}." if taken else "")


def _band(finding: Finding, names: dict[str, str]) -> str:
    """Return who takes how much in a band, which part of the layer's rise counts for that, and the rise there."""
    owner = next((by for by in finding.caused_by if by.track == finding.taker), None)
    # What one layer takes in a band is held against the tolerance as a part of the rise of the whole layer.
    counts = f"counts as {with_unit(_counted_db(finding), 'dB')} of fader ({_allowed(finding)})"
    lost = "what it loses there"
    if owner is not None:
        told = f"{names.get(owner.track, owner.track)} takes {100 * owner.fraction:.0f} % of {lost}, which {counts}"
    else:
        told = f"{lost} {counts}"
    due, others = _due(finding), takers_words(tuple(by for by in finding.caused_by if by != owner), names)
    told += f"; {due} to be heard there as loud as alone" if due else "; no fader makes it as loud there as it is alone"
    return f"{told}." + (f" Also taken by {others}." if others else "")


def _counted_db(finding: Finding) -> float:
    """Return what is held against the tolerance."""
    return finding.excess_db + finding.tolerance_db


def _due(finding: Finding) -> str:
    """Return by how much a layer would have to rise, ``7.9 dB (12.8 strict)``; "" beyond any fader."""
    cued, strict = finding.size_db.cued, finding.size_db.strict
    reading = "beyond any fader, strict" if strict is None else f"{number(strict)} strict"
    return "" if cued is None else f"{with_unit(cued, 'dB')} ({reading})"


def _allowed(finding: Finding) -> str:
    """Return what may be lost in words; what would read the same lies just over it."""
    tolerance = number(finding.tolerance_db)
    just = number(_counted_db(finding)) == tolerance
    return f"just over the {tolerance} that may be lost" if just else f"{tolerance} may be lost"


def findings_part(hearing: HearingResult) -> Markup | None:
    """Return the part of the page; None where nothing was found."""
    if not hearing.findings:
        return None
    names = layer_names(hearing)
    found = outside_tolerance(hearing)
    left = [finding for finding in hearing.findings if finding.verdict != "outside"]
    return together(
        element("p", findings_sentence(hearing)),
        _list(found[:MOST], names, 1),
        _folded(f"{count(len(found) - MOST, 'more place', 'more places')}", found[MOST:], names, MOST + 1),
        _folded(f"Left as {'it is' if len(left) == 1 else 'they are'} ({len(left)})", left, names, 1),
    )


def _folded(title: str, findings: Sequence[Finding], names: dict[str, str], start: int) -> Markup | None:
    return element("details", element("summary", title), _list(findings, names, start)) if findings else None


def _list(findings: Sequence[Finding], names: dict[str, str], start: int) -> Markup | None:
    items = [
        element(
            "li",
            element("b", finding_place(one, names)),
            f": {finding_size(one, names)} ",
            element("small", element("code", one.id)),
        )
        for one in findings
    ]
    return element("ol", items, class_="worst", start=start) if items else None
