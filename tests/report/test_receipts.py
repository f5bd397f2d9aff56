# SPDX-License-Identifier: Apache-2.0
"""Receipts in words."""

from __future__ import annotations

from mixwright.model.ranges import Range
from mixwright.model.receipts import (
    ProveResult,
    Receipt,
    ReceiptCost,
    ReceiptLayer,
    ReceiptSpan,
    SpanLeftOut,
)
from mixwright.report.receipts import prove_text, proved_sentence, receipt_part, receipt_sentence

NAMES = {"vox": "Lead vocal", "guitar": "Clean <guitar>", "keys": "Keys"}


def layer(id_: str, part: str, change: float, fader_db: float | None) -> ReceiptLayer:
    before = Range(cued=70.0, strict=68.0)
    after = Range(cued=70.0 + change, strict=68.0 + change)
    return ReceiptLayer(
        id=id_, part=part, before_phon=before, after_phon=after,
        change_phon=Range(cued=change, strict=change), fader_db=fader_db,
    )  # fmt: skip


def receipt(**fields: object) -> Receipt:
    heard = ReceiptSpan(
        section="verse-3", start_s=61.0, end_s=81.0, shift_lu=-0.31, excerpt=True,
        layers=(
            layer("vox", "victim", 1.7, 1.5),
            layer("guitar", "moved", -0.4, -0.3),
            layer("keys", "other", 0.2, None),
        ),
        others=5, others_phon=0.1,
    )  # fmt: skip
    own: dict[str, object] = {
        "id": "level-guitar-1", "kind": "level", "target": "guitar", "sections": ("verse-3",),
        "settings": {"gain_db": -3.0}, "strength": 1.0, "by": "plan", "victim": "vox", "section": "verse-3",
        "predicted": {"cued_phon_change": 1.9, "fader_equivalent_db": 1.6},
        "measured": {"cued_phon_change": 1.7, "fader_equivalent_db": 1.5}, "error_phon": -0.2,
        "costs": (ReceiptCost(track="guitar", section="verse-3", phon=0.4, fader_db=0.3),),
        "needed": True, "why": "Without it the finding at 1.4 to 2.9 kHz in verse-3 is back.", "spans": (heard,),
        "sounding": "now",
    }  # fmt: skip
    return Receipt(**{**own, **fields})


def result(*moves: Receipt) -> ProveResult:
    return ProveResult(moves=moves, listening_level_db_spl=79.0, names=NAMES, sounding="now")


def test_a_receipt_tells_what_was_predicted_measured_paid_and_what_fails_without() -> None:
    one = receipt()
    assert receipt_sentence(one, result(one)) == (
        "predicted +1.9 phon for Lead vocal, measured +1.7, worth 1.5 dB of its fader in verse-3 "
        "(mix without it shifted by -0.3 LU); costs its own Clean <guitar> 0.4 phon (0.3 dB of fader). "
        "Without it the finding at 1.4 to 2.9 kHz in verse-3 is back. Needed."
    )


def test_what_was_not_predicted_has_no_figure_and_what_was_not_heard_is_named() -> None:
    left = SpanLeftOut(section="outro", why="of 5 sections the worst 3 were heard", for_time=True)
    one = receipt(predicted={"cued_phon_change": None}, error_phon=None, left_out=(left,), costs=())
    told = receipt_sentence(one, result(one))
    assert told.startswith("measured +1.7 phon for Lead vocal, worth 1.5 dB of its fader in verse-3")
    assert told.endswith("Not heard: outro.")
    assert "costs" not in told


def test_the_whole_is_told_first() -> None:
    paid = ReceiptCost(track="keys", section="verse-3", phon=0.9, fader_db=0.6)
    idle = receipt(
        id="level-keys-1", needed=False, why="Not needed: without it Lead vocal loses nothing.", costs=(paid,)
    )
    lines = prove_text(result(receipt(), idle), "the song")
    assert lines[0] == (
        "2 moves proved: 1 needed, 1 not needed. The largest cost to another layer: Keys loses 0.9 phon "
        "(0.6 dB of fader) in verse-3, by Clean <guitar> (level)."
    )
    assert "  mixwright refuse 'the song' level-keys-1   (not needed)" in lines
    assert proved_sentence(result()) == ""
    assert all(len(line) <= 100 for line in lines[1:])


def test_receipts_of_an_earlier_state_are_not_counted_with_those_of_now() -> None:
    both = result(receipt(), receipt(id="level-keys-1", sounding="then"))
    assert proved_sentence(both).startswith("2 moves proved")
    assert proved_sentence(both, "now").startswith("1 move proved")
    assert proved_sentence(both, "later") == ""


def test_a_move_that_the_plan_made_for_another_reason_is_not_to_be_refused_for_this() -> None:
    balance = receipt(needed=False, predicted={"cued_phon_change": None})
    assert not any("refuse" in line for line in prove_text(result(balance), "song"))


def test_the_page_draws_before_and_after_and_escapes_names() -> None:
    one = receipt()
    told = receipt_part(one, result(one), current=True)
    assert told.count('class="ring"') == told.count('class="dot"') == 3
    assert "Clean &lt;guitar&gt;" in told
    assert "<guitar>" not in told
    assert "prove again" not in told
    assert "prove again" in receipt_part(one, result(one), current=False)
