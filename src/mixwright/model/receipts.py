# SPDX-License-Identifier: Apache-2.0
"""Receipts: what accepted moves were predicted to do, what they do, what they cost, what fails without them."""

from __future__ import annotations

from typing import Literal

from mixwright.model.ledger import Finding
from mixwright.model.ranges import Range
from mixwright.model.record import Record
from mixwright.model.words import MoveKind

#: Who a layer is to a move: the one it is made for, one that it moves, any other one.
Part = Literal["victim", "moved", "other"]


class ReceiptLayer(Record, frozen=True, kw_only=True):
    """A layer in an excerpt without a move and with it, at equal loudness of the mix.

    `before_phon` and `after_phon`: its loudness in the mix without the move and with it; None where it sounds for less
    than a second.
    `change_phon`: their difference. `fader_db`: by how many dB its fader would have to go in the mix without the move
    to be heard as with it, cued; None beyond any fader, or where the change is less than 0.1 phon.
    """

    id: str
    part: Part
    before_phon: Range | None
    after_phon: Range | None
    change_phon: Range | None
    fader_db: float | None = None


class ReceiptSpan(Record, frozen=True, kw_only=True):
    """What was heard of a move in the worst stretch of a section, from `start_s` to `end_s` of the song.

    `shift_lu`: by how much the mix without the move was raised to be as loud as with it (integrated loudness of both).
    `excerpt`: moved strips ran for this stretch alone, within -80 dBFS of the whole mix. `back`: findings that lie
    outside their tolerance without the move and inside it with it. `others`: how many layers were not heard by
    themselves, as a rough estimate changes them by less than those that were; `others_phon`: the most that it has for
    one of them, None without any.
    """

    section: str
    start_s: float
    end_s: float
    shift_lu: float
    excerpt: bool
    layers: tuple[ReceiptLayer, ...]
    back: tuple[Finding, ...] = ()
    others: int = 0
    others_phon: float | None = None


class ReceiptCost(Record, frozen=True, kw_only=True):
    """What a move costs another layer where it costs most: `phon` lost, cued; `fader_db` would make up for it."""

    track: str
    section: str
    phon: float
    fader_db: float | None


class SpanLeftOut(Record, frozen=True, kw_only=True):
    """A section in which a move was not measured, and why; `for_time`: it was left out to keep the time."""

    section: str
    why: str
    for_time: bool = False


class Receipt(Record, frozen=True, kw_only=True):
    """One accepted move.

    `victim`: the layer that it is made for, None where it is made for none. `section`: where what is predicted and
    measured was heard: the section of the finding, or else that in which the victim changes most. `predicted` and
    `measured`: ``cued_phon_change`` and ``fader_equivalent_db`` of the victim, measured also ``strict_phon_change``,
    ``cued_phon_before`` and ``cued_phon_after``; of a level of the whole mix its true peak. `why_not_predicted`: why
    there is no prediction. `error_phon`: measured minus predicted. `needed`: without it the victim loses a phon or
    more, cued, or a finding comes back; None where it could not be told. `why`: that in one sentence. `sounding`: as in
    MeasureResult; another one means that the receipt is out of date.
    """

    id: str
    kind: MoveKind
    target: str
    sections: tuple[str, ...]
    settings: dict[str, float]
    strength: float
    by: Literal["plan", "engineer"]
    key: str = ""
    send: str = ""
    victim: str | None
    section: str | None
    predicted: dict[str, float | None]
    measured: dict[str, float | None]
    error_phon: float | None
    costs: tuple[ReceiptCost, ...]
    needed: bool | None
    why: str
    why_not_predicted: str = ""
    spans: tuple[ReceiptSpan, ...] = ()
    left_out: tuple[SpanLeftOut, ...] = ()
    sounding: str = ""


class ProveResult(Record, frozen=True, kw_only=True):
    """The receipts of a song; `names`: of the layers and targets in them, by id."""

    moves: tuple[Receipt, ...]
    listening_level_db_spl: float
    names: dict[str, str] = {}
    notes: tuple[str, ...] = ()
    sounding: str = ""
