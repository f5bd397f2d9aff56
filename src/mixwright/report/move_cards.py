# SPDX-License-Identifier: Apache-2.0
"""Moves as sentences, with their evidence."""

from __future__ import annotations

from collections.abc import Mapping

from mixwright.model.known import names_of
from mixwright.model.receipts import ProveResult
from mixwright.model.results import MeasureResult, PlannedMove, PlanResult
from mixwright.model.song import Move, Song
from mixwright.report.figures import capital, number, with_unit
from mixwright.report.level_rows import level_scale
from mixwright.report.markup import Markup, element, together
from mixwright.report.move_sentences import do_sentence
from mixwright.report.receipts import receipt_part, verdict
from mixwright.report.sentences import before_after, reason_alone, spread_sentence
from mixwright.report.strips import Scale, axis, grid, interval, mark, picture

_STATES = {"proposed": "Proposed", "accepted": "Accepted", "refused": "Refused"}


def move_cards(
    song: Song,
    plan: PlanResult | None,
    measure: MeasureResult | None,
    proved: ProveResult | None = None,
    sounding: str = "",
) -> Markup:
    """Return the moves: first those to decide on, then the accepted ones, one line each, the refused folded away.

    `proved`: receipts of accepted moves; `sounding`: hash of what the song sounds like now.
    """
    evidence = {move.id: move for move in plan.moves} if plan else {}
    names = names_of(song)
    scale = level_scale(measure) if measure else Scale(-40.0, 0.5, 10.0)
    receipts = _Receipts(proved, sounding)
    blocks: list[Markup] = []
    for state, title in _STATES.items():
        moves = [move for move in song.moves if move.state == state]
        if not moves:
            continue
        cards = element("ul", [_card(m, evidence.get(m.id), names, scale, receipts) for m in moves], class_="cards")
        counted = f"{title} ({len(moves)})"
        if state == "refused":
            blocks.append(element("details", element("summary", counted), cards))
        else:
            blocks += [element("h3", counted), cards]
    sources = dict.fromkeys(m.spread.source for m in evidence.values() if m.spread)
    if sources:
        told = element("ul", [element("li", capital(source)) for source in sources])
        blocks.append(element("details", element("summary", "Where the intervals come from"), told))
    return element("div", blocks)


class _Receipts:
    """The receipts of accepted moves, and whether they are of the song as it sounds now."""

    def __init__(self, proved: ProveResult | None, sounding: str) -> None:
        self._proved, self._sounding = proved, sounding
        self._by_id = {receipt.id: receipt for receipt in proved.moves} if proved is not None else {}

    def part(self, move: Move) -> Markup | None:
        """Return what is told of a move, None where it has no receipt."""
        receipt = self._by_id.get(move.id) if move.state == "accepted" else None
        if receipt is None or self._proved is None:
            return None
        return receipt_part(receipt, self._proved, current=receipt.sounding == self._sounding)

    def verdict(self, move: Move) -> str:
        """Return whether an accepted move is needed, in two words, empty where that is not known."""
        receipt = self._by_id.get(move.id)
        return verdict(receipt, current=receipt is not None and receipt.sounding == self._sounding)


def _card(move: Move, found: PlannedMove | None, names: Mapping[str, str], scale: Scale, receipts: _Receipts) -> Markup:
    name = names.get(move.target, move.target)
    do = do_sentence(move, name, names)
    reason = reason_alone(move.reason or (found.reason if found else ""), name)
    parts: list[Markup | None] = [_paragraph(reason)]
    if move.strength < 1:
        parts.append(_paragraph(f"At {100 * move.strength:.0f} % of its strength."))
    if found is not None:
        same = found.settings == move.settings and found.strength == move.strength
        changed = None if same else "Changed since it was planned; the figures are those of the plan."
        parts += [_paragraph(changed), _before_after(found, scale)]
        parts.append(_paragraph(found.without_it))
        parts += [_paragraph(cost, "Costs: ") for cost in found.costs]
        parts.append(element("p", spread_sentence(found.spread), class_="note") if found.spread else None)
    parts.append(receipts.part(move))
    by = "the engineer's own" if move.by == "engineer" else "from the plan"
    parts.append(element("p", element("code", move.id), " ", element("small", by), class_="id"))
    if move.state == "accepted":  # decided: the evidence opens
        said = receipts.verdict(move)
        inside = element("details", element("summary", do, element("small", f" {said}") if said else None), parts)
    else:
        inside = together(element("p", do, class_="do"), *parts)
    return element("li", inside, class_=f"card {move.state}")


def _paragraph(text: str | None, lead_in: str = "") -> Markup | None:
    return element("p", element("i", lead_in) if lead_in else None, text) if text else None


def _before_after(move: PlannedMove, scale: Scale) -> Markup | None:
    """Return now and then: on the interval for a level, in words for anything else."""
    now, then = move.measured.get("re_mix_lu"), move.predicted.get("re_mix_lu")
    if now is None or then is None or move.spread is None or move.spread.unit != "lu_re_mix":
        told = before_after(move)
        return _paragraph(f"{capital('; '.join(told))}.") if told else None
    shapes = [*grid(scale), *interval(scale, move.spread.low, move.spread.high)]
    shapes += [mark(scale.across(now), 11, "before"), mark(scale.across(then), 11, "then")]
    labels = [number(tick, 0) for tick in scale.ticks]
    labels[-1] += " LU"
    sentence = f"Beside the mix: now {with_unit(now, 'LU')} (ring), with all moves {with_unit(then, 'LU')} (dot)."
    strip = element("div", picture(shapes), axis(scale, labels), class_="chart")
    return element("div", element("p", sentence), strip)
