# SPDX-License-Identifier: Apache-2.0
"""Moves as they were dialled: the mix with bounces heard beside the mix without them, at equal loudness."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from mixwright.app.ledger import ledger_rows
from mixwright.app.listening import followed
from mixwright.app.prove import calibrated_lufs, heard_at, kept_or_none
from mixwright.app.receipt import receipt_of
from mixwright.app.receipt_audio import Variant
from mixwright.app.receipt_hearing import Setting, SpanHeard
from mixwright.app.receipt_spans import LEAST_SPANS, Span, Worst, purpose_of
from mixwright.app.session import Session
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.model.bounces import DialledCost
from mixwright.model.known import names_of
from mixwright.model.receipts import Receipt, ReceiptSpan
from mixwright.model.results import MeasureResult, PlanResult
from mixwright.model.song import Move, changed

_FADER = "fader_equivalent_db"


@dataclass(frozen=True)
class Dialled:
    """What was heard of a move, as in `model.bounces.DialledMove`."""

    victim: str = ""
    predicted_db: float | None = None
    got_db: float | None = None
    costs: tuple[DialledCost, ...] = ()


def dialled(
    session: Session, old: Session, moves: Sequence[Move], *, report: Report = silent, cancel: Cancel | None = None
) -> dict[str, Dialled]:
    """Hear what bounces did for the layers that moves are made for.

    Parameters
    ----------
    session : Session
        the song with the bounces
    old : Session
        the same with what they superseded
    moves : sequence of Move
        that the bounces hold; none of them sounds in what is compared
    report, cancel

    Returns
    -------
    dict
        by id of a move; several that were dialled at once are heard together
    """
    plan = kept_or_none(session.folder, "plan", PlanResult)
    measured = kept_or_none(session.folder, "measure", MeasureResult)
    now, then = (_without(one, moves) for one in (session, old))
    whole, before = Variant(now), Variant(then, now)
    rows = tuple(whole.rows.values())
    names = names_of(session.song) | {row.id: row.name for row in rows}
    level_db_spl, listening = heard_at(measured)
    lufs = calibrated_lufs(now, level_db_spl, report, cancel)
    if lufs is None:
        return {}
    setting = Setting(lufs, level_db_spl, listening, ledger_rows(now.song, rows, followed(now)))
    worst = Worst(now, rows, measured)
    purposes = {move.id: purpose_of(now.song, move, rows, followed(now), plan, measured) for move in moves}
    spans: dict[Span, list[str]] = {}
    for move in moves:
        for span in worst.spans(move, purposes[move.id], LEAST_SPANS)[0]:
            spans.setdefault(span, []).append(move.id)
    heard: dict[str, list[ReceiptSpan]] = {move.id: [] for move in moves}
    job = Job("hearing bounces", max(1, len(spans)), report, cancel)
    for span, ids in spans.items():
        one = SpanHeard(span, whole, setting, cancel)
        for id_ in [id_ for id_ in ids if one.take(id_, before, purposes[id_])]:
            heard[id_].append(one.receipt(id_))
        job.step()
    planned = {one.id: one for one in plan.moves} if plan is not None else {}
    found = {}
    for move in moves:
        evidence = planned.get(move.id)
        receipt = receipt_of(move, evidence, purposes[move.id], heard[move.id], (), names, "")
        found[move.id] = _short(receipt, names)
    return found


def _without(session: Session, moves: Sequence[Move]) -> Session:
    gone = {move.id for move in moves}
    left = tuple(move for move in session.song.moves if move.id not in gone)
    return dataclasses.replace(session, song=changed(session.song, moves=left))


def _short(receipt: Receipt, names: Mapping[str, str]) -> Dialled:
    victim = receipt.victim or ""
    costs = tuple(
        DialledCost(track=cost.track, name=names.get(cost.track, cost.track), fader_db=cost.fader_db)
        for cost in receipt.costs
        if cost.fader_db is not None and cost.track != receipt.target
    )
    return Dialled(
        victim=names.get(victim, victim),
        predicted_db=receipt.predicted.get(_FADER),
        got_db=receipt.measured.get(_FADER),
        costs=costs[:3],
    )
