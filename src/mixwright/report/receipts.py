# SPDX-License-Identifier: Apache-2.0
"""Receipts of moves: as lines of text, and as a part of a move on the page."""

from __future__ import annotations

import shlex
from collections.abc import Sequence

from mixwright.model.receipts import ProveResult, Receipt, ReceiptLayer, ReceiptSpan
from mixwright.model.song import Move
from mixwright.report.figures import capital, clock, count, number, with_unit
from mixwright.report.markup import Markup, element, together
from mixwright.report.move_sentences import do_sentence
from mixwright.report.rows import wrapped
from mixwright.report.strips import Scale, axis, grid, mark, picture, span

#: So many costs of a move are told one by one, and changes of layers are drawn up to so many phon.
_MOST_COSTS, _MOST_PHON = 3, 12.0
_SMALLEST_PHON = 3.0
#: A smaller change that nobody predicted is no change.
_TELLING_PHON = 0.05


def prove_text(result: ProveResult, song: str) -> list[str]:
    """Return the receipts: how many moves are needed and what they cost, then each in a line or two."""
    lines = [capital(head) for head in (proved_sentence(result),) if head]
    if any(receipt.spans for receipt in result.moves):
        level = with_unit(result.listening_level_db_spl, "dB SPL", 0)
        lines.append(f"Heard in excerpts, the worst 20 s of each section, at equal loudness of the mix and {level}.")
    lines += result.notes
    for receipt in result.moves:
        sentence = f"{_do(receipt, result)[:-1]}: {receipt_sentence(receipt, result)}"
        lines += ["", *wrapped(sentence, "  ", "    "), f"    {receipt.id}"]
    here = shlex.quote(song)
    # What was made for another reason than loudness is not for this test to refuse.
    useless = [
        one.id for one in result.moves if one.needed is False and one.predicted.get("cued_phon_change") is not None
    ]
    commands = [f"mixwright refuse {here} {useless[0]}   (not needed)"] if useless else []
    return [*lines, "", "Next:", *(f"  {command}" for command in (*commands, f"mixwright mix {here}"))]


def proved_sentence(result: ProveResult, sounding: str | None = None) -> str:
    """Return the whole in one sentence; empty where nothing was proved.

    `sounding`: hash of what the song sounds like now: receipts of an earlier state are left out.
    """
    moves = [one for one in result.moves if sounding in (None, one.sounding)]
    if not moves:
        return ""
    needed = sum(receipt.needed is True for receipt in moves)
    not_needed = sum(receipt.needed is False for receipt in moves)
    told = [f"{needed} needed", f"{not_needed} not needed"]
    told += [f"{len(moves) - needed - not_needed} could not be told"] if needed + not_needed < len(moves) else []
    costs = [
        (cost.fader_db or 0.0, cost, receipt)
        for receipt in moves
        for cost in receipt.costs
        if cost.track not in _own(receipt)
    ]
    if not costs:
        return f"{count(len(moves), 'move')} proved: {', '.join(told)}; they cost no other layer."
    _, cost, receipt = max(costs, key=lambda one: (one[0], one[1].phon))
    name, where = _name(result, cost.track), _in(cost.section)
    return (
        f"{count(len(moves), 'move')} proved: {', '.join(told)}. The largest cost to another layer: {name} loses "
        f"{_cost(cost.phon, cost.fader_db)}{where}, by {_name(result, receipt.target)} ({receipt.kind})."
    )


def receipt_sentence(receipt: Receipt, result: ProveResult) -> str:
    """Return what a move was predicted to do and does, what it costs, and whether it is needed."""
    clauses = [*_figures(receipt, result), *_costs(receipt, result)]
    told = f"{'; '.join(clauses)}. " if clauses else ""
    ends = " Needed." if receipt.needed else ""
    return f"{told}{receipt.why if told else _uncapital(receipt.why)}{ends}{_left_out(receipt)}"


def _figures(receipt: Receipt, result: ProveResult) -> list[str]:
    change = receipt.measured.get("cued_phon_change")
    if change is None or receipt.victim is None:
        return []
    if abs(change) < _TELLING_PHON and receipt.predicted.get("cued_phon_change") is None:
        return []
    name, where = _name(result, receipt.victim), _in(receipt.section or "")
    predicted = receipt.predicted.get("cued_phon_change")
    worth = receipt.measured.get("fader_equivalent_db")
    of_fader = f", worth {_db(worth)} of its fader" if worth is not None else ""
    before = f"predicted {number(predicted, sign=True)} phon for {name}, " if predicted is not None else ""
    after = f"measured {number(change, sign=True)}{'' if before else f' phon for {name}'}{of_fader}{where}"
    shift = next((one.shift_lu for one in receipt.spans if one.section == receipt.section), 0.0)
    shifted = f" (mix without it shifted by {with_unit(shift, 'LU', sign=True)})" if abs(shift) >= 0.05 else ""
    return [f"{before}{after}{shifted}"]


def _costs(receipt: Receipt, result: ProveResult) -> list[str]:
    told = [
        f"{'its own ' if cost.track in _own(receipt) else ''}{_name(result, cost.track)} "
        f"{_cost(cost.phon, cost.fader_db)}"
        for cost in receipt.costs[:_MOST_COSTS]
    ]
    more = len(receipt.costs) - len(told)
    if more:
        told.append(f"{count(more, 'more layer')} up to {number(receipt.costs[_MOST_COSTS].phon)} phon")
    return [f"costs {', '.join(told)}"] if told else []


def _left_out(receipt: Receipt) -> str:
    cut = [one.section for one in receipt.left_out if one.for_time]
    return f" Not heard: {', '.join(cut)}." if cut else ""


def _own(receipt: Receipt) -> set[str]:
    """Return the layers that the move itself moves."""
    return {layer.id for one in receipt.spans for layer in one.layers if layer.part == "moved"}


def _cost(phon: float, fader_db: float | None) -> str:
    return f"{number(phon)} phon" + (f" ({_db(fader_db)} of fader)" if fader_db is not None else "")


def _db(value: float) -> str:
    return with_unit(value, "dB")


def _in(section: str) -> str:
    return f" in {section}" if section else ""


def _uncapital(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _name(result: ProveResult, id_: str) -> str:
    return result.names.get(id_, id_)


def _do(receipt: Receipt, result: ProveResult) -> str:
    shared = {name: getattr(receipt, name) for name in receipt.__struct_fields__ if name in Move.__struct_fields__}
    return do_sentence(Move(**shared), _name(result, receipt.target), result.names)


def receipt_part(receipt: Receipt, result: ProveResult, *, current: bool) -> Markup:
    """Return the receipt of a move for the page: one sentence, and before and after of each layer on one line.

    Parameters
    ----------
    receipt, result
        one of the receipts, and all of them with the names
    current : bool
        whether the song still sounds as it did
    """
    stale = (
        None
        if current
        else element("p", "This receipt is of an earlier state of the song: prove again.", class_="note")
    )
    where = next((one for one in receipt.spans if one.section == receipt.section), None)
    return element(
        "div",
        element("p", element("i", "Receipt: "), receipt_sentence(receipt, result)),
        stale,
        None if where is None else _picture(where, receipt, result),
        class_="receipt",
    )


def verdict(receipt: Receipt | None, *, current: bool) -> str:
    """Return in two words whether a move is needed, empty where that is not known of the song as it sounds."""
    if receipt is None or receipt.needed is None or not current:
        return ""
    return "needed" if receipt.needed else "not needed"


def _picture(one: ReceiptSpan, receipt: Receipt, result: ProveResult) -> Markup | None:
    layers = [layer for layer in one.layers if layer.change_phon is not None and layer.change_phon.cued is not None]
    if not layers:
        return None
    most = max(abs(layer.change_phon.cued or 0.0) for layer in layers if layer.change_phon)
    end = min(max(_SMALLEST_PHON, -(-most // 3) * 3), _MOST_PHON)
    scale = Scale(-end, end, end)
    rows = [_row(layer, scale, result) for layer in layers]
    labels = [number(tick, 0, sign=True) for tick in scale.ticks]
    labels[-1] += " phon"
    foot = element(
        "li", element("span"), axis(scale, labels), element("span"), class_="row proof axis", aria_hidden="true"
    )
    span_words = f"{clock(one.start_s)} to {clock(one.end_s)}{_in(one.section)}"
    told = f"Without the move (ring) and with it (dot), {span_words}, cued, at equal loudness of the mix"
    told += f" (shifted by {with_unit(one.shift_lu, 'LU', 2, sign=True)}); in brackets the same in dB of its fader"
    if one.others:
        told += f"; {count(one.others, 'other layer')} changed less by a rough estimate"
    predicted = receipt.error_phon
    missed = "" if predicted is None else f" Measured minus predicted: {with_unit(predicted, 'phon', sign=True)}."
    why_not = f" {capital(receipt.why_not_predicted)}." if receipt.why_not_predicted else ""
    note = element("p", f"{told}.{missed}{why_not}", class_="note")
    return together(element("div", element("ul", rows, foot, class_="rows"), class_="chart"), note)


def _row(layer: ReceiptLayer, scale: Scale, result: ProveResult) -> Markup:
    change = layer.change_phon.cued or 0.0 if layer.change_phon else 0.0
    shapes: Sequence[Markup] = [
        *grid(scale),
        span(scale, min(0.0, change), max(0.0, change)),
        mark(scale.across(0.0), 11, "before"),
        mark(scale.across(change), 11, "then"),
    ]
    figure = with_unit(change, "phon", sign=True)
    worth = f" ({with_unit(layer.fader_db, 'dB', sign=True)})" if layer.fader_db is not None else None
    name = _name(result, layer.id)
    return element(
        "li",
        element("span", name, class_="name", title=name),
        picture(shapes),
        element("span", figure, element("small", worth) if worth else None),
        class_="row proof",
    )
