# SPDX-License-Identifier: Apache-2.0
"""The receipt of a move, from what was heard of it section by section."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from mixwright.app.receipt_hearing import LEAST_PHON
from mixwright.app.receipt_spans import Purpose
from mixwright.errors import listed
from mixwright.model.receipts import Receipt, ReceiptCost, ReceiptLayer, ReceiptSpan, SpanLeftOut
from mixwright.model.results import PlannedMove
from mixwright.model.song import Move
from mixwright.units import band_words

#: Without a move that is needed its victim loses so much, cued, or a finding comes back.
NEEDED_PHON = 1.0
#: A section in which the victim is softer by more than this than in its loudest one does not speak for a move.
_AS_LOUD_PHON = 15.0
_PHON, _FADER = "cued_phon_change", "fader_equivalent_db"


def receipt_of(
    move: Move,
    planned: PlannedMove | None,
    purpose: Purpose,
    spans: Sequence[ReceiptSpan],
    left_out: Sequence[SpanLeftOut],
    names: Mapping[str, str],
    sounding: str,
) -> Receipt:
    """Return the receipt of a move.

    Parameters
    ----------
    move : Move
    planned : PlannedMove, optional
        the move as it was planned, with what was predicted
    purpose : Purpose
    spans, left_out
        what was heard, and where nothing was
    names : mapping
        of layers, by id
    sounding : str
        hash of what the song sounds like
    """
    section = _section(purpose, spans)
    here = next((span for span in spans if span.section == section), None)
    layer = _victim(here) if here is not None else None
    measured: dict[str, float | None] = {}
    if layer is not None and layer.change_phon and layer.before_phon and layer.after_phon:
        measured = {
            _PHON: layer.change_phon.cued,
            "strict_phon_change": layer.change_phon.strict,
            "cued_phon_before": layer.before_phon.cued,
            "cued_phon_after": layer.after_phon.cued,
            _FADER: layer.fader_db,
        }
    predicted, why_not = _predicted(move, planned, purpose)
    error = None
    if predicted.get(_PHON) is not None and measured.get(_PHON) is not None:
        error = round((measured[_PHON] or 0.0) - (predicted[_PHON] or 0.0), 3)
    needed, why = judgement(move, purpose, spans, left_out, names)
    if needed is False and planned is not None and planned.without_it and not planned.finding:
        why += f" The plan made it for another reason: {planned.without_it}"
    return made(
        move,
        victim=purpose.victim,
        section=section,
        predicted=predicted,
        measured=measured,
        error_phon=error,
        costs=_costs(spans),
        needed=needed,
        why=why,
        why_not_predicted=why_not,
        spans=tuple(spans),
        left_out=tuple(left_out),
        sounding=sounding,
    )


def made(move: Move, **fields: object) -> Receipt:
    """Return a receipt with what a move says of itself and the fields given; without figures where none are."""
    own = {name: getattr(move, name) for name in Move.__struct_fields__ if name in Receipt.__struct_fields__}
    empty: dict[str, object] = {
        "victim": None, "section": None, "predicted": {}, "measured": {}, "error_phon": None, "costs": ()
    }  # fmt: skip
    return Receipt(**{**own, **empty, **fields})


def judgement(
    move: Move,
    purpose: Purpose,
    spans: Sequence[ReceiptSpan],
    left_out: Sequence[SpanLeftOut],
    names: Mapping[str, str],
) -> tuple[bool | None, str]:
    """Return whether a move is needed, and why in one sentence."""
    if not spans:
        whys = listed(list(dict.fromkeys(one.why for one in left_out)))
        return (False, f"It was heard nowhere: {whys}.") if left_out else (None, "It was heard nowhere.")
    if purpose.victim is None:
        return None, "It is made for no layer that is known: no lead is confirmed and no finding speaks of it."
    name = names.get(purpose.victim, purpose.victim)
    told = []
    losing = [(change, span.section) for span in spans if (change := _change(_victim(span))) is not None]
    most, where = max(losing, default=(0.0, ""))
    if most >= NEEDED_PHON:
        told.append(f"{name} loses {most:.1f} phon{_in(where)}")
    back: dict[tuple[str, tuple[float, float] | None], list[str]] = {}
    for span in spans:
        for finding in span.back:
            back.setdefault((finding.track, finding.band_hz), []).append(span.section)
    told += [_returns(key, sections, names, purpose.victim) for key, sections in back.items()]
    if told:
        return True, f"Without it {', and '.join(told)}."
    if not losing:
        return False, f"Not needed: {name} does not sound where it applies."
    place = " It may still be wanted for where layers stand." if move.kind in ("pan", "width") else ""
    least, where = min(losing)
    if least <= -LEAST_PHON and -least > most:
        return False, f"Not needed: {name} is softer with it, by {-least:.1f} phon{_in(where)}.{place}"
    slight = f"loses no more than {most:.1f} phon" if most >= LEAST_PHON else "loses nothing"
    return False, f"Not needed: without it {name} {slight} and no finding comes back.{place}"


def _returns(
    key: tuple[str, tuple[float, float] | None], sections: Sequence[str], names: Mapping[str, str], victim: str
) -> str:
    track, band_hz = key
    name = names.get(track, track)
    *most, last = [one for one in sections if one] or [""]
    where = _in(f"{', '.join(most)} and {last}" if most else last)
    if band_hz is None:
        return f"{'it' if track == victim else name} is outside its tolerance as a whole{where}"
    return f"the finding at {band_words(*band_hz, ' to ')}{where} is back" + ("" if track == victim else f" for {name}")


def _in(section: str) -> str:
    return f" in {section}" if section else ""


def _victim(span: ReceiptSpan) -> ReceiptLayer | None:
    return next((layer for layer in span.layers if layer.part == "victim"), None)


def _change(layer: ReceiptLayer | None) -> float | None:
    return None if layer is None or layer.change_phon is None else layer.change_phon.cued


def _section(purpose: Purpose, spans: Sequence[ReceiptSpan]) -> str | None:
    """Return the section by which a move is judged: that of the finding it answers, else where it does most."""
    known = {span.section: _change(_victim(span)) for span in spans}
    if purpose.answers is not None and known.get(purpose.answers.section) is not None:
        return purpose.answers.section
    loud = {span.section: _loudest(_victim(span)) for span in spans}
    found = [
        (abs(change), section)
        for section, change in known.items()
        if change is not None and loud[section] >= max(loud.values()) - _AS_LOUD_PHON
    ]
    return max(found, key=lambda one: one[0])[1] if found else None


def _loudest(layer: ReceiptLayer | None) -> float:
    """Return how loud a layer is with or without the move, cued; 0 where it does not sound."""
    both = (layer.before_phon, layer.after_phon) if layer is not None else ()
    return max((one.cued or 0.0 for one in both if one is not None), default=0.0)


def _predicted(move: Move, planned: PlannedMove | None, purpose: Purpose) -> tuple[dict[str, float | None], str]:
    """Return what was predicted for the victim, or why nothing was."""
    if planned is None:
        whose = "the move is your own" if move.by == "engineer" else "the plan that made it is gone"
        return {_PHON: None, _FADER: None}, f"nothing was predicted: {whose}"
    if planned.settings != move.settings or planned.strength != move.strength:
        return {_PHON: None, _FADER: None}, "nothing was predicted: it was changed since it was planned"
    found = {key: planned.predicted.get(key) for key in (_PHON, _FADER)}
    if found[_PHON] is None:
        return found, "nothing was predicted of loudness: the plan made it for another reason"
    if purpose.answers is None and planned.finding:
        return found, "what was predicted is of a finding that is no longer known"
    return found, ""


def _costs(spans: Sequence[ReceiptSpan]) -> tuple[ReceiptCost, ...]:
    """Return what other layers lose, each where it loses most, the largest first."""
    worst: dict[str, ReceiptCost] = {}
    for span in spans:
        for layer in span.layers:
            change = _change(layer)
            if layer.part == "victim" or change is None or change > -LEAST_PHON:
                continue
            if layer.id not in worst or -change > worst[layer.id].phon:
                fader_db = None if layer.fader_db is None else round(-layer.fader_db, 3) + 0.0
                worst[layer.id] = ReceiptCost(track=layer.id, section=span.section, phon=-change, fader_db=fader_db)
    return tuple(sorted(worst.values(), key=lambda cost: (-cost.phon, cost.track)))
