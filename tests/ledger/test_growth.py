# SPDX-License-Identifier: Apache-2.0
"""What a change buried, in invented clashes: who, where, in which band, because of whom; and when nothing is told."""

from __future__ import annotations

import functools

import numpy as np
import pytest
from clashes import FRAMES, RATE_HZ, SECONDS, SECTIONS, band, heard, iou
from hypothesis import given, settings
from hypothesis import strategies as st

from mixwright.hearing.heard import Hearing
from mixwright.ledger.findings import LedgerRow
from mixwright.ledger.growth import growth
from mixwright.ledger.tolerances import GROWTH
from mixwright.model.ledger import Growth

#: A voice, and a pad beside it that covers some of all of it in both sections.
VOICE, PAD = band(1, 300.0, 3400.0, -30.0), band(2, 200.0, 5000.0, -36.0)
#: What comes into the chorus.
BAND_HZ = (1000.0, 1700.0)
PLANTED = band(3, *BAND_HZ, -28.0, SECONDS)
LAYERS = {"voice": VOICE, "pad": PAD}
#: A major and a minor third: each is wider than a filter of the ear, 133 Hz at 1 kHz (Glasberg and Moore 1990).
CHORD_HZ = (1000.0, 1250.0, 1500.0)
#: Two fourths: between its partials lie two to three filters.
WIDE_CHORD_HZ = (1000.0, 1330.0, 1780.0)


def chord(level_db: float, chord_hz: tuple[float, ...] = CHORD_HZ) -> np.ndarray:
    """Return partials (frames, 2) that sound in the chorus; their level there, re full scale."""
    at_s = np.arange(FRAMES) / RATE_HZ
    audio = sum(np.sin(2.0 * np.pi * hz * at_s) for hz in chord_hz) * np.sqrt(2.0 / len(chord_hz))
    audio *= 10.0 ** (level_db / 20.0) * (at_s >= SECONDS)
    return np.repeat(audio[:, None], 2, axis=1).astype(np.float32)


@functools.cache
def of(name: str) -> Hearing:
    """Return a mix as heard: `then`, and after a change."""
    made = {
        "then": LAYERS,
        "boost": {**LAYERS, "pad": PAD + band(3, *BAND_HZ, -28.0, SECONDS)},
        "added": {**LAYERS, "noise": PLANTED},
        "two": {**LAYERS, "noise": PLANTED, "pad": PAD + band(4, *BAND_HZ, -34.0, SECONDS)},
        "a little": {**LAYERS, "noise": band(3, *BAND_HZ, -60.0, SECONDS)},
        "voice down": {**LAYERS, "voice": VOICE * np.float32(0.5)},
        "voice up": {**LAYERS, "voice": VOICE * np.float32(2.0)},
        "beside": {**LAYERS, "noise": band(3, 6000.0, 9000.0, -28.0, SECONDS)},
        "narrow": {**LAYERS, "noise": band(3, 1000.0, 1100.0, -28.0, SECONDS)},
        "chord": {**LAYERS, "noise": chord(-34.0)},
        "wide chord": {**LAYERS, "noise": chord(-34.0, WIDE_CHORD_HZ)},
        "no voice": {"pad": PAD},
    }
    return heard(made[name])


def grew(then: str, now: str, **places: str) -> tuple[Growth, ...]:
    known = {"voice": "lead", **places}
    rows = [LedgerRow(id_, known.get(id_, "bed")) for id_ in of(now).layers]
    return growth(of(then), of(now), rows, SECTIONS)


@pytest.mark.parametrize(("change", "by"), [("boost", "pad"), ("added", "noise")])
def test_what_is_buried_is_told_with_layer_section_band_and_who_grew(change, by):
    (one,) = grew("then", change)
    assert (one.track, one.section, one.caused_by[0].track) == ("voice", "chorus", by)
    # The pad takes of all of the voice in both: the band is that of the change alone.
    assert iou(one.band_hz, BAND_HZ) > 0.5
    assert one.caused_by[0].fraction > 0.9
    assert (one.start_s, one.end_s) == (SECTIONS[1].start_s, pytest.approx(SECTIONS[1].end_s, abs=0.07))
    assert one.share < one.share_before
    assert one.size_db.cued > one.excess_db > 0.0
    assert one.step_db == GROWTH["lead"].db


def test_of_two_that_grew_who_adds_more_energy_comes_first():
    one, *_ = grew("then", "two")
    assert [by.track for by in one.caused_by[:2]] == ["noise", "pad"]  # 6 dB apart as they are made
    assert one.caused_by[0].fraction > 2.0 * one.caused_by[1].fraction


@pytest.mark.parametrize("change", ["then", "a little", "voice up", "beside"])
def test_nothing_is_told_where_nothing_is_buried(change):
    assert grew("then", change) == ()


def test_a_layer_that_was_turned_down_itself_is_no_news():
    assert grew("then", "voice down") == ()


def test_what_came_back_is_not_told():
    assert grew("added", "then") == ()


def test_a_bed_may_be_buried_and_so_may_who_was_not_there():
    assert grew("then", "added", voice="bed") == ()
    assert grew("no voice", "added") == ()


def test_sections_that_are_cut_anew_are_not_compared():
    then = of("then")
    halves = Hearing(then.layers, then.stretches[:1], then.taken[:1])
    rows = [LedgerRow("voice", "lead")]
    assert growth(halves, of("added"), rows, SECTIONS) == ()


def covered(pad_db: float) -> tuple[Growth, ...]:
    """Return what is told where all of the voice had been covered, and more of it is then."""
    then = {**LAYERS, "pad": band(2, 200.0, 5000.0, pad_db)}
    now = {**then, "noise": band(3, *BAND_HZ, pad_db + 6.0, SECONDS)}
    return growth(heard(then), heard(now), [LedgerRow("voice", "lead")], SECTIONS)


@pytest.mark.parametrize(("pad_db", "left"), [(-22.0, 0.54), (-18.0, 0.32)])
def test_what_was_covered_anyhow_counts_less(pad_db, left):
    (one,) = covered(pad_db)
    assert one.share_before == pytest.approx(left, abs=0.03)
    counts = (one.excess_db + one.step_db) / one.size_db.cued
    assert counts == pytest.approx(min(one.share_before / 0.5, 1.0))


def test_who_was_heard_comes_before_who_was_covered():
    # Of two leads, a hum covers one; a noise takes some of both where they meet.
    then = {
        "voice": band(1, 300.0, 3000.0, -20.0),
        "second": band(2, 150.0, 700.0, -26.0),
        "hum": band(3, 150.0, 700.0, -18.0),
    }
    now = {**then, "noise": band(4, 450.0, 700.0, -22.0, SECONDS)}
    told = growth(heard(then), heard(now), [LedgerRow("voice", "lead"), LedgerRow("second", "lead")], SECTIONS)
    assert [one.track for one in told] == ["voice", "second"]
    heard_one, covered_one = told
    assert heard_one.share_before > 0.5
    assert covered_one.share_before < 0.4
    assert covered_one.excess_db > heard_one.excess_db > 0.0


def test_a_band_that_holds_little_of_the_layer_counts_less():
    (wide,), (narrow,) = grew("then", "added"), grew("then", "narrow")
    assert wide.excess_db + wide.step_db == pytest.approx(wide.size_db.cued)  # a quarter of the voice
    assert narrow.excess_db + narrow.step_db < 0.7 * narrow.size_db.cued  # about a tenth of it


@pytest.mark.parametrize(("now", "chord_hz"), [("chord", CHORD_HZ), ("wide chord", WIDE_CHORD_HZ)])
def test_what_lies_between_the_partials_of_a_chord_does_not_cut_the_band(now, chord_hz):
    one, *_ = grew("then", now)
    assert one.band_hz[0] < chord_hz[0] < chord_hz[-1] < one.band_hz[1]


@settings(max_examples=4, deadline=None)
@given(st.floats(-40.0, -24.0), st.floats(2.0, 10.0))
def test_the_more_is_added_the_more_is_told(level_db, more_db):
    soft, loud = (
        growth(
            of("then"),
            heard({**LAYERS, "noise": band(3, *BAND_HZ, db, SECONDS)}),
            [LedgerRow("voice", "lead")],
            SECTIONS,
        )
        for db in (level_db, level_db + more_db)
    )
    assert sum(one.excess_db for one in loud[:1]) >= sum(one.excess_db for one in soft[:1])
