# SPDX-License-Identifier: Apache-2.0
"""What the page shows of moves, read from `song.toml`, the plan and the receipts; nothing is measured."""

from __future__ import annotations

from pathlib import Path

from mixwright.app.decide import with_evidence
from mixwright.app.heard_view import Kept
from mixwright.app.move_grammar import FORMS
from mixwright.app.scene import sounding_hash
from mixwright.errors import StateError
from mixwright.io.kept import read_kept, read_lanes
from mixwright.model.known import names_of
from mixwright.model.ledger import Finding
from mixwright.model.move_settings import MOVE_SETTINGS
from mixwright.model.moves_view import MovesView, ViewedMove, ViewedSetting
from mixwright.model.receipts import ProveResult, Receipt
from mixwright.model.results import PlannedMove
from mixwright.model.song import Move, Song
from mixwright.report.figures import capital
from mixwright.report.move_sentences import do_sentence
from mixwright.report.receipts import proved_sentence, receipt_sentence
from mixwright.report.sentences import before_after, reason_alone

_ORDER = ("proposed", "accepted", "refused")
_LONGEST_S = 20.0


def moves_view(folder: Path) -> MovesView:
    """Return everything that the page shows of moves.

    Raises
    ------
    SettingError, StateError
        where `song.toml` is wrong or not there
    """
    kept = Kept(folder)
    try:
        proved = read_kept(folder, "receipts", ProveResult)
    except StateError:
        proved = None  # it is damaged: moves are shown without receipts
    receipts = {one.id: one for one in proved.moves} if proved else {}
    planned = {one.id: one for one in kept.plan.moves} if kept.plan else {}
    findings = {one.id: one for one in kept.plan.findings} if kept.plan else {}
    sounding = sounding_hash(kept.song, read_lanes(folder, kept.song.automation))
    found = []
    for move in sorted(kept.song.moves, key=lambda one: _ORDER.index(one.state)):
        receipt = receipts.get(move.id) if move.state == "accepted" else None
        evidence = with_evidence(move, planned.get(move.id))
        found.append(_viewed(kept.song, move, evidence, receipt, proved, sounding, findings.get(evidence.finding)))
    told = proved_sentence(proved, sounding) if proved else ""
    return MovesView(moves=tuple(found), told=capital(told), forms=tuple(one.example for one in FORMS.values()))


def _viewed(
    song: Song,
    move: Move,
    evidence: PlannedMove,
    receipt: Receipt | None,
    proved: ProveResult | None,
    sounding: str,
    finding: Finding | None,
) -> ViewedMove:
    names = names_of(song)
    name = names.get(move.target, move.target)
    start_s, end_s = _where(song, move, receipt, finding)
    figures = before_after(evidence)
    return ViewedMove(
        id=move.id,
        kind=move.kind,
        target=move.target,
        name=name,
        sections=move.sections,
        settings=tuple(
            ViewedSetting(
                key=key,
                name=key.rpartition("_")[0].replace("_", " ") if one.unit and "_" in key else key.replace("_", " "),
                value=move.settings.get(key),
                low=one.low,
                high=one.high,
                unit=one.unit,
                usual=one.usual,
            )
            for key, one in MOVE_SETTINGS[move.kind].items()
        ),
        key=names.get(move.key, move.key),
        send=names.get(move.send, move.send),
        state=move.state,
        strength=move.strength,
        by=move.by,
        told=do_sentence(move, name, names),
        reason=reason_alone(evidence.reason, name),
        predicted=f"{capital('; '.join(figures))}." if figures else "",
        measured=capital(receipt_sentence(receipt, proved)) if receipt is not None and proved is not None else "",
        costs=evidence.costs,
        without_it=evidence.without_it,
        needed=receipt.needed if receipt is not None else None,
        outdated=receipt is not None and receipt.sounding != sounding,
        start_s=start_s,
        end_s=end_s,
    )


def _where(song: Song, move: Move, receipt: Receipt | None, finding: Finding | None) -> tuple[float, float]:
    """Return where a move is heard best: where it was proved, else where it is needed, else where it begins."""
    spans = receipt.spans if receipt is not None else ()
    span = next((one for one in spans if receipt is not None and one.section == receipt.section), None)
    if span is not None:
        start_s, end_s = span.start_s, span.end_s
    elif finding is not None:
        start_s, end_s = finding.start_s, finding.end_s
    else:
        sections = [one for one in song.sections if not move.sections or one.name in move.sections]
        start_s, end_s = (sections[0].start_s, sections[0].end_s) if sections else (0.0, _LONGEST_S)
    return start_s, min(end_s, start_s + _LONGEST_S)
