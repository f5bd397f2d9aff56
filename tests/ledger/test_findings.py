# SPDX-License-Identifier: Apache-2.0
"""Findings in invented clashes, of which it is known who covers whom, where and when."""

from __future__ import annotations

import numpy as np
import pytest
from clashes import SECONDS, SECTIONS, band, found, heard, iou

from mixwright.ledger import findings
from mixwright.ledger.findings import LedgerRow, as_heard_now, ledger_of
from mixwright.ledger.tolerances import BAND, STEP, WHOLE
from mixwright.model.ledger import finding_id
from mixwright.model.ranges import TakenBy
from mixwright.model.song import LeftAsIs, changed

BAND_HZ = (1000.0, 1700.0)
#: A voice over three octaves, one layer far away from it, one that may be put in its way in the chorus.
VOICE = band(1, 300.0, 3400.0, -30.0)
FAR = band(2, 60.0, 120.0, -30.0)


def way(level_db: float, seed: int = 3, start_s: float = SECONDS, end_s: float = 99.0) -> np.ndarray:
    return band(seed, *BAND_HZ, level_db, start_s, end_s)


def scene(level_db: float) -> dict[str, np.ndarray]:
    return {"voice": VOICE, "far": FAR, "pad": way(level_db)}


@pytest.fixture(scope="module")
def covered():
    """The pad stands about 10 dB above the voice in its band."""
    return heard(scene(-26.0))


def rows(place="lead", **fields):
    return [LedgerRow("voice", place, **fields), LedgerRow("far", "bed"), LedgerRow("pad", "bed")]


@pytest.mark.parametrize("place", ["lead", "support"])
def test_a_masker_in_a_band_is_told_with_layer_section_band_and_culprit(covered, place):
    first, *_ = findings = ledger_of(covered, rows(place), SECTIONS, workers=1)
    assert (first.kind, first.track, first.section) == ("covered_band", "voice", "chorus")
    assert first.caused_by[0].track == "pad"
    assert first.caused_by[0].fraction > 0.9
    assert iou(first.band_hz, BAND_HZ) >= 0.5
    assert first.size_db.cued > 5.0
    assert first.size_db.strict > first.size_db.cued
    assert first.tolerance_db == BAND[place].db
    assert first.excess_db > 0.0
    assert 0.0 <= first.in_mix_sone.strict < first.in_mix_sone.cued < first.alone_sone
    assert first.id == finding_id("covered_band", "voice", "chorus", first.band_hz)
    assert all(one.section == "chorus" for one in findings)


def test_a_bed_that_melts_is_no_finding(covered):
    assert ledger_of(covered, rows("bed"), SECTIONS, workers=1) == ()


def test_the_place_in_the_section_counts(covered):
    assert ledger_of(covered, rows("lead", place_in={"chorus": "bed"}), SECTIONS, workers=1) == ()
    assert ledger_of(covered, rows("bed", place_in={"chorus": "lead"}), SECTIONS, workers=1)


def test_without_sections_the_song_is_one(covered):
    (first, *_) = ledger_of(covered, rows(), (), workers=1)
    assert (first.track, first.section) == ("voice", "")
    assert first.start_s >= SECONDS - 0.2


def test_threads_change_nothing(covered):
    assert ledger_of(covered, rows(), SECTIONS, workers=2) == ledger_of(covered, rows(), SECTIONS, workers=1)


def test_inside_the_tolerance_is_silence_and_the_size_grows_with_the_masker():
    sizes = []
    for level_db in (-60.0, -48.0, -38.0, -32.0, -26.0, -20.0):
        findings = [one for one in found(scene(level_db), {"voice": "lead"}) if one.kind == "covered_band"]
        sizes.append(findings[0].size_db.cued if findings else 0.0)
    assert sizes[:2] == [0.0, 0.0]
    assert sizes[-1] > sizes[-2] > sizes[-3] > 0.0


def test_of_a_band_of_which_more_than_half_is_left_less_counts(monkeypatch):
    """Our own rule (tolerances.LEFT): what loses a quarter of itself there counts a quarter, without a step at half."""
    soft, loud = heard(scene(-34.0)), heard(scene(-30.0))
    assert ledger_of(soft, rows(), SECTIONS, workers=1) == ()
    (graded,) = ledger_of(loud, rows(), SECTIONS, workers=1)
    left = graded.in_mix_sone.cued / graded.alone_sone
    assert 0.5 < left < 0.6
    monkeypatch.setattr(findings, "LEFT", 0.9)
    assert [one.track for one in ledger_of(soft, rows(), SECTIONS, workers=1)] == ["voice"]
    (whole,) = ledger_of(loud, rows(), SECTIONS, workers=1)
    counted, full = (one.excess_db + one.tolerance_db for one in (graded, whole))
    assert counted == pytest.approx(full * (2.0 * (1.0 - left)) ** 2, rel=1e-3)


def test_two_maskers_are_named_in_order():
    layers = {"voice": VOICE, "soft": way(-30.0, 4), "loud": way(-26.0, 5)}
    (first, *_) = found(layers, {"voice": "lead"})
    assert [one.track for one in first.caused_by[:2]] == ["loud", "soft"]
    # About by their powers, 4 dB apart: 0.72 and 0.28.
    assert first.caused_by[0].fraction == pytest.approx(0.72, abs=0.08)


def test_loss_that_is_spread_over_many_is_no_clash_but_told_as_a_whole():
    wall = {f"wall {k}": band(10 + k, 200.0, 5000.0, -24.0) for k in range(8)}
    findings = found({"voice": VOICE, **wall}, {"voice": "lead"})
    assert {one.kind for one in findings} == {"covered"}
    assert {one.section for one in findings} == {"verse", "chorus"}
    assert findings[0].tolerance_db == WHOLE["lead"].db
    assert findings[0].excess_db == pytest.approx(findings[0].size_db.cued - WHOLE["lead"].db)


def test_what_is_only_ever_covered_is_told_over_the_song():
    layers = {"voice": VOICE, "pad": band(4, 400.0, 2000.0, -66.0), "wall": band(5, 200.0, 5000.0, -18.0)}
    places = {"voice": "lead", "pad": "support"}
    (only,) = [one for one in found(layers, places) if one.kind == "only_covered"]
    assert (only.track, only.section, only.caused_by[0].track) == ("pad", "", "wall")
    # It is covered in both sections as well, and told once.
    assert [one.kind for one in found(layers, places) if one.track == "pad" and one.band_hz is None] == ["only_covered"]
    assert not any(one.kind == "only_covered" for one in found(layers, {"voice": "lead"}))


def test_a_band_belongs_to_who_stands_out_there_though_another_takes_more(monkeypatch):
    asked = []
    cost_db = findings._Heard._cost_db

    def noted(self, rise, where, taker):
        if rise is not self._rise:
            asked.append(self._rows[taker].id)
        return cost_db(self, rise, where, taker)

    monkeypatch.setattr(findings._Heard, "_cost_db", noted)
    layers = {"voice": VOICE, "wide": band(4, 300.0, 3400.0, -23.0), "pad": way(-30.0)}
    (first,) = [one for one in found(layers, {"voice": "lead"}) if one.section == "chorus" and one.taker == "pad"]
    assert [one.track for one in first.caused_by[:2]] == ["wide", "pad"]
    # At other listening levels, too, it is what the pad costs that counts.
    assert "pad" in asked


def test_two_bands_that_one_layer_takes_most_of_are_told_once_where_the_smaller_lies_half_in_the_other(covered):
    first, *_ = ledger_of(covered, rows(), SECTIONS, workers=1)
    wide = changed(first, band_hz=(1669.0, 3595.0))
    # 0.41 of 0.63 natural logarithms of the second band lie in the first, and 0.12 of 0.34 in the third.
    assert findings._same(changed(first, band_hz=(2393.0, 4514.0)), wide)
    assert not findings._same(changed(first, band_hz=(3200.0, 4514.0)), wide)
    other = (TakenBy(track="far", fraction=1.0),)
    assert not findings._same(changed(first, band_hz=(2393.0, 4514.0), caused_by=other), wide)


def test_it_is_told_when_it_happens():
    half_s = 1.5 * SECONDS
    (first, *_) = found({"voice": VOICE, "pad": way(-26.0, start_s=half_s)}, {"voice": "lead"})
    assert first.start_s == pytest.approx(half_s, abs=0.15)
    assert first.end_s == pytest.approx(2 * SECONDS, abs=0.15)


def test_the_bottom_is_told_as_the_low_end():
    layers = {"bass": band(1, 40.0, 250.0, -24.0), "sub": band(2, 50.0, 120.0, -12.0, SECONDS)}
    findings = found(layers, {"bass": "support"})
    assert {one.kind for one in findings} == {"low_pile_up"}
    assert findings[0].caused_by[0].track == "sub"


def test_a_return_that_fills_the_voice_is_told_as_that():
    layers = {"voice": VOICE, "send hall": band(7, 300.0, 3400.0, -28.0, SECONDS)}
    findings = found(layers, {"voice": "lead"})
    filled = [one for one in findings if one.kind == "voice_filled"]
    assert [one.section for one in filled] == ["chorus"]
    assert filled[0].caused_by[0].track == "send hall"
    dry = {"voice": VOICE, "send hall": band(7, 300.0, 3400.0, -50.0, SECONDS)}
    assert found(dry, {"voice": "lead"}) == ()


def test_no_layer_takes_from_itself_and_what_is_told_lies_in_its_section(covered):
    places = {"voice": "lead", "far": "support", "pad": "support"}
    all_rows = [LedgerRow(id_, place) for id_, place in places.items()]
    for one in ledger_of(covered, all_rows, SECTIONS, workers=1):
        part = next(part for part in SECTIONS if part.name == one.section)
        assert one.track not in {by.track for by in one.caused_by}
        assert part.start_s <= one.start_s < one.end_s <= part.end_s
        assert sum(by.fraction for by in one.caused_by) == pytest.approx(1.0, abs=1e-3)


def test_what_was_left_as_it_is_stays_so_until_it_grows(covered):
    first, *_ = ledger_of(covered, rows(), SECTIONS, workers=1)
    fields = {"id": first.id, "kind": first.kind, "track": first.track, "section": first.section}
    band_hz = (first.band_hz[0] * 1.05, first.band_hz[1] * 1.05)  # another take moves it a little

    def verdicts(size_db, **other):
        left = LeftAsIs(**{**fields, "band_hz": band_hz, **other}, size_db=size_db)
        found_again = ledger_of(covered, rows(), SECTIONS, left=[left], workers=1)
        return {one.verdict for one in found_again if one.id == first.id}

    size_db = first.size_db.cued
    assert verdicts(size_db) == {"left as is"}
    assert verdicts(size_db - STEP.db + 0.1) == {"left as is"}
    assert verdicts(size_db - STEP.db - 0.1) == {"outside"}
    assert verdicts(size_db, section="verse") == {"outside"}
    assert verdicts(size_db, band_hz=(100.0, 150.0)) == {"outside"}


def test_what_lies_near_the_tolerance_depends_on_the_listening_level():
    # A noise 8 dB below a like one must rise by 6.4, 6.8 and about 7 dB at 65, 79 and 85 dB SPL: near 7 it flips.
    # Four layers make it, so that none of them is to blame for a band.
    near, far = (
        next(one for one in found({"voice": VOICE, **wall(level_db)}, {"voice": "lead"}) if one.kind == "covered")
        for level_db in (-25.8, -22.0)
    )
    assert near.size_db.cued == pytest.approx(WHOLE["lead"].db, abs=0.5)
    assert near.depends_on_level
    assert not far.depends_on_level


def wall(level_db: float) -> dict[str, np.ndarray]:
    return {f"wall {k}": band(20 + k, 300.0, 3400.0, level_db) for k in range(4)}


def test_a_finding_is_the_same_when_it_is_looked_for_again_and_gone_where_there_is_room(covered):
    told = ledger_of(covered, rows(), SECTIONS, workers=1)
    chorus = next(one for one in SECTIONS if one.name == "chorus")
    again = [as_heard_now(covered, rows(), chorus, one) for one in told]
    for one, same in zip(told, again, strict=True):
        assert (same.kind, same.track, same.taker) == (one.kind, one.track, one.taker)
        assert same.excess_db == pytest.approx(one.excess_db, abs=0.05)
    clear = heard(scene(-60.0))
    assert all(as_heard_now(clear, rows(), chorus, one).excess_db < 0.0 for one in told)
    assert as_heard_now(covered, rows("bed"), chorus, told[0]) is None
    assert as_heard_now(covered, rows(), chorus, changed(told[0], track="nobody")) is None
