# SPDX-License-Identifier: Apache-2.0
"""Receipts of moves: against the same mixes made by hand, and what is said where there is nothing to prove."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from test_hearing_song import LAYERS, by_id, edit_track, heard, song_of, sound, three

from mixwright.app import receipt_hearing
from mixwright.app.clean import clean
from mixwright.app.decide import accept, add, change
from mixwright.app.listening import layers_of
from mixwright.app.prove import prove
from mixwright.app.receipt_hearing import _covered
from mixwright.app.receipt_spans import Purpose, Worst
from mixwright.app.session import open_song
from mixwright.errors import Cancelled, SettingError
from mixwright.hearing.feed import held
from mixwright.hearing.hear import hear
from mixwright.hearing.heard import Heard
from mixwright.hearing.places import calibration_db
from mixwright.hearing.statistics import loudness_of
from mixwright.io.kept import read_kept, write_kept
from mixwright.io.song_file import edit_song, load_song
from mixwright.jobs.progress import Cancel
from mixwright.meter.measure import Meter
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.receipts import ProveResult, Receipt
from mixwright.model.results import PlannedMove, PlanResult
from mixwright.model.song import Group, Move, Section, Song, changed
from mixwright.model.strip import Master

PHON, FADER = "cued_phon_change", "fader_equivalent_db"
PAD_DB = -6.0


@pytest.fixture(scope="module")
def song(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A pad over a voice, lowered by a move of the engineer's own."""
    folder = song_of(tmp_path_factory.mktemp("proved"), three(), lead=("vox",))
    add(folder, f"level pad {PAD_DB} dB")
    return folder


@pytest.fixture(scope="module")
def proved(song: Path) -> ProveResult:
    return prove(song)


def only(result: ProveResult) -> Receipt:
    (receipt,) = result.moves
    return receipt


def lufs(audio: np.ndarray) -> float:
    meter = Meter(48000, 2)
    meter.push(audio)
    found = meter.loudness().integrated_lufs()
    assert found is not None
    return found


def by_hand(gains_db: dict[str, float], level_lufs: float) -> dict[str, Heard]:
    """Hear layers that are mixed with numpy, the mix as loud as given by this much at 79 dB SPL."""
    layers = {
        id_: np.repeat(sound(k, hz, level_db, 48000) * np.float32(10.0 ** (gains_db.get(id_, 0.0) / 20.0)), 2, axis=1)
        for k, (id_, hz, level_db, _) in enumerate(LAYERS)
    }
    mix = np.sum(list(layers.values()), axis=0)
    level_lufs += lufs(mix)
    offset_db = calibration_db(level_lufs, 79.0, "headphones")
    return dict(
        hear({k: held(v) for k, v in layers.items()}, rate_hz=48000, frames=len(mix), offset_db=offset_db).layers
    )


def cued(layer: Heard) -> float:
    found = loudness_of(layer).in_mix_phon
    assert found is not None
    assert found.cued is not None
    return found.cued


def test_what_is_measured_is_what_the_same_mixes_made_by_hand_sound_like(proved: ProveResult) -> None:
    receipt = only(proved)
    # Both mixes play at 79 dB SPL: they are as loud as each other.
    before, after = by_hand({}, 0.0), by_hand({"pad": PAD_DB}, 0.0)
    layers = {layer.id: layer for layer in receipt.spans[0].layers}
    assert set(layers) == {"vox", "pad", "bass"}
    for id_, layer in layers.items():
        assert layer.before_phon is not None
        assert layer.after_phon is not None
        assert layer.change_phon is not None
        assert layer.before_phon.cued == pytest.approx(cued(before[id_]), abs=0.05)
        assert layer.after_phon.cued == pytest.approx(cued(after[id_]), abs=0.05)
        assert layer.change_phon.cued == pytest.approx(cued(after[id_]) - cued(before[id_]), abs=0.05)
    assert (receipt.victim, receipt.needed) == ("vox", True)
    assert receipt.measured[PHON] == layers["vox"].change_phon.cued
    assert receipt.error_phon is None
    assert receipt.predicted[PHON] is None
    assert receipt.why_not_predicted == "nothing was predicted: the move is your own"
    assert [cost.track for cost in receipt.costs] == ["pad"]


def test_the_shift_is_the_difference_of_both_loudnesses(proved: ProveResult) -> None:
    layers = [np.repeat(sound(k, hz, db, 48000), 2, axis=1) for k, (_, hz, db, _) in enumerate(LAYERS)]
    gains = [10.0 ** (PAD_DB / 20.0) if id_ == "pad" else 1.0 for id_, *_ in LAYERS]
    with_it = lufs(np.sum([layer * gain for layer, gain in zip(layers, gains, strict=True)], axis=0))
    assert only(proved).spans[0].shift_lu == pytest.approx(with_it - lufs(np.sum(layers, axis=0)), abs=0.01)


def test_a_fader_raised_by_what_the_move_is_worth_does_the_same(proved: ProveResult) -> None:
    worth_db = only(proved).measured[FADER]
    assert worth_db is not None
    assert worth_db > 1.0
    raised = {"vox": worth_db}
    # The rest stays as loud as it was without the move: the mix is then louder by what the voice adds.
    layers = {id_: np.repeat(sound(k, hz, db, 48000), 2, axis=1) for k, (id_, hz, db, _) in enumerate(LAYERS)}
    before = lufs(np.sum(list(layers.values()), axis=0))
    layers["vox"] = layers["vox"] * 10.0 ** (worth_db / 20.0)
    more_lu = before - lufs(np.sum(list(layers.values()), axis=0))
    after = only(proved).measured["cued_phon_after"]
    assert cued(by_hand(raised, more_lu)["vox"]) == pytest.approx(after, abs=0.3)


def test_what_was_heard_is_not_heard_again_and_comes_out_the_same(song: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    prove(song)
    kept = (song / "kept" / "receipts.json").read_bytes()
    with monkeypatch.context() as patched:
        patched.setattr(receipt_hearing, "hear_stretch", None)
        prove(song)
    assert (song / "kept" / "receipts.json").read_bytes() == kept
    clean(song)
    prove(song)
    assert (song / "kept" / "receipts.json").read_bytes() == kept


def test_it_can_be_stopped_and_goes_on(song: Path) -> None:
    clean(song)
    cancel = Cancel()
    with pytest.raises(Cancelled):
        prove(song, report=lambda told: cancel.cancel() if told.job == "proving moves" else None, cancel=cancel)
    told = []
    prove(song, report=told.append)
    assert any(one.job == "proving moves" and one.done == one.total for one in told)


def test_without_accepted_moves_there_is_nothing_to_prove(tmp_path: Path) -> None:
    folder = song_of(tmp_path, three())
    result = prove(folder)
    assert result.moves == ()
    assert "nothing to prove" in result.notes[0]
    with pytest.raises(SettingError, match="no move is called"):
        prove(folder, ["pad"])
    level = Move(id="level-pad-1", kind="level", target="pad", settings={"gain_db": -3.0})
    edit_song(folder, "plan", lambda now: changed(now, moves=(level,)))
    with pytest.raises(SettingError, match="level-pad-1 is proposed, not accepted"):
        prove(folder, ["pad"])


def test_moves_that_change_nothing_are_told_as_not_needed(tmp_path: Path) -> None:
    folder = song_of(tmp_path, three(), lead=("vox",), sections=(Section(name="late", start_s=2.0, end_s=3.0),))
    for sentence in ("level bass -0.2 dB", "level pad -3 dB in late", "level master -2 dB"):
        add(folder, sentence)
    edit_track(folder, "pad", mute=True)
    result = {receipt.target: receipt for receipt in prove(folder).moves}
    assert [receipt.needed for receipt in result.values()] == [False, False, False]
    assert "without it Vox loses" in result["bass"].why or "softer" in result["bass"].why
    assert "pad no longer sounds" in result["pad"].why
    assert "peaks at" in result["master"].why
    before, after = (result["master"].measured[f"true_peak_dbtp_{when}"] for when in ("before", "after"))
    assert before - after == pytest.approx(2.0, abs=0.011)


def test_sections_in_which_a_move_is_silent_are_named(tmp_path: Path) -> None:
    files = three()
    files["pad"][48000:] = 0.0
    parts = Section(name="a", start_s=0.0, end_s=1.5), Section(name="b", start_s=1.5, end_s=3.0)
    folder = song_of(tmp_path, files, lead=("vox",), sections=(*parts, Section(name="c", start_s=5.0, end_s=6.0)))
    add(folder, "level pad -6 dB")
    receipt = only(prove(folder))
    assert [span.section for span in receipt.spans] == ["a"]
    assert [left.section for left in receipt.left_out] == ["b", "c"]


def test_where_not_all_sections_can_be_heard_the_one_of_the_finding_is(tmp_path: Path) -> None:
    """However little is at stake there beside others: the move was made for it."""
    files = three()
    files["pad"][48000:] *= 0.1
    edges = {"a": (0.0, 1.0), "b": (1.0, 2.0), "c": (2.0, 3.0)}
    parts = tuple(Section(name=name, start_s=start, end_s=end) for name, (start, end) in edges.items())
    folder = song_of(tmp_path, files, lead=("vox",), sections=parts)
    level = Move(id="level-pad-1", kind="level", target="pad", settings={"gain_db": -6.0}, state="accepted")
    answers = changed(_covered("vox", parts[2]), verdict="mended")
    with open_song(folder) as session:
        worst = Worst(session, tuple(layers_of(session.song, session.graph)), None)
        spans, left_out = worst.spans(level, Purpose(("pad",), "vox", (answers,), answers), 1)
        assert [span.section for span in spans] == ["c"]
        assert [(left.section, left.for_time) for left in left_out] == [("a", True), ("b", True)]
        spans, _ = worst.spans(level, Purpose(("pad",), "vox"), 1)
        assert [span.section for span in spans] == ["a"]


def planned(move: Move, **fields: object) -> PlannedMove:
    own = {name: getattr(move, name) for name in ("id", "kind", "target", "sections", "settings", "strength")}
    return PlannedMove(**own, state="accepted", by="plan", reason="why", **fields)


def test_a_finding_comes_back_without_the_move_that_answers_it(tmp_path: Path) -> None:
    folder = song_of(tmp_path, three(), lead=("vox",))
    edit_track(folder, "pad", strip=changed(load_song(folder).tracks[1].strip, fader_db=8.0))
    finding = next(
        one for one in heard(folder).findings if one.track == "vox" and "pad" in (one.taker, one.caused_by[0].track)
    )
    level = Move(id="level-pad-1", kind="level", target="pad", settings={"gain_db": -12.0}, state="accepted")
    edit_song(folder, "plan", lambda now: changed(now, moves=(level,)))
    told = planned(level, predicted={PHON: 5.0, FADER: 3.0}, finding=finding.id)
    write_kept(folder, "plan", PlanResult(lead=("vox",), moves=(told,), left_as_is=(), findings=(finding,)))
    receipt = only(prove(folder))
    assert finding.id in {one.id for one in receipt.spans[0].back}
    assert receipt.needed
    assert "is back" in receipt.why or "outside its tolerance" in receipt.why
    assert receipt.error_phon == pytest.approx(receipt.measured[PHON] - 5.0, abs=0.001)
    change(folder, "pad", {"gain_db": "-11"})
    again = only(prove(folder))
    assert again.predicted[PHON] is None
    assert again.error_phon is None
    assert again.why_not_predicted == "nothing was predicted: it was changed since it was planned"


def moved(folder: Path, *moves: Move) -> None:
    edit_song(folder, "moves", lambda now: changed(now, moves=moves))


def test_mixes_that_are_not_linear_are_heard_with_the_gains_that_each_makes(tmp_path: Path) -> None:
    squeeze = Compressor(threshold_db=-30.0, ratio=6.0, attack_ms=5.0, release_ms=120.0)
    folder = song_of(tmp_path, three(), lead=("vox",), master=Master(inserts=(squeeze,)))
    add(folder, "level bass -9 dB")
    receipt = only(prove(folder))
    assert receipt.spans[0].excerpt
    layers = {layer.id: layer for layer in receipt.spans[0].layers}
    with_it = by_id(heard(folder))
    moved(folder)
    (folder / "kept" / "calibration.json").unlink()  # each plays as loud as the other
    without = by_id(heard(folder))
    for id_ in ("vox", "bass"):
        then, now, change_phon = without[id_].in_mix_phon, with_it[id_].in_mix_phon, layers[id_].change_phon
        assert change_phon is not None
        assert now is not None
        assert then is not None
        assert change_phon.cued == pytest.approx(now.cued - then.cued, abs=0.03)


def test_moves_of_all_kinds_have_receipts(tmp_path: Path) -> None:
    folder = song_of(tmp_path, three(), lead=("vox",), groups=(Group(id="beds", name="Beds"),))
    edit_track(folder, "pad", group="beds")
    bell = Move(
        id="shape-pad-1", kind="shape", target="pad", settings={"hz": 900.0, "gain_db": -6.0, "q": 1.0},
        state="accepted", by="engineer",
    )  # fmt: skip
    dip = Move(
        id="dip-beds-1", kind="dip", target="beds", key="vox", state="accepted", by="engineer",
        settings={
            "hz": 1000.0, "q": 1.0, "most_db": 6.0, "margin_db": 12.0,
            "attack_ms": 8.0, "hold_ms": 50.0, "release_ms": 200.0,
        },
    )  # fmt: skip
    moved(folder, bell, dip)
    result = prove(folder)
    for receipt in result.moves:
        assert receipt.victim == "vox"
        assert receipt.measured[PHON] > 0.3
        assert [layer.id for layer in receipt.spans[0].layers if layer.part == "moved"] == ["pad"]
        assert receipt.spans[0].excerpt


def test_receipts_of_other_moves_are_kept_and_those_of_moves_taken_back_are_not(tmp_path: Path) -> None:
    folder = song_of(tmp_path, three(), lead=("vox",))
    add(folder, "level pad -6 dB")
    first = prove(folder)
    assert "needed</small>" in (folder / "page.html").read_text()
    add(folder, "level bass -3 dB")
    prove(folder, ["bass"])
    kept = read_kept(folder, "receipts", ProveResult)
    assert kept is not None
    assert [one.target for one in kept.moves] == ["pad", "bass"]
    assert kept.moves[0] == only(first)
    assert kept.moves[0].sounding != kept.moves[1].sounding
    page = (folder / "page.html").read_text()
    assert page.count("of an earlier state of the song: prove again") == 1
    song: Song = load_song(folder)
    moved(folder, *(move for move in song.moves if move.target == "bass"))
    accept(folder, ["bass"])
    prove(folder)
    kept = read_kept(folder, "receipts", ProveResult)
    assert kept is not None
    assert [one.target for one in kept.moves] == ["bass"]


def test_without_a_lead_or_a_finding_it_is_not_told_whether_a_move_is_needed(tmp_path: Path) -> None:
    folder = song_of(tmp_path, three())
    add(folder, "level pad -6 dB")
    receipt = only(prove(folder))
    assert (receipt.victim, receipt.needed, receipt.measured) == (None, None, {})
    assert "no lead is confirmed" in receipt.why
    assert {layer.part for layer in receipt.spans[0].layers} == {"moved", "other"}


def test_a_song_of_two_files(tmp_path: Path) -> None:
    files = three()
    folder = song_of(tmp_path, {"vox": files["vox"], "music": files["pad"]}, lead=("vox",), tracks_are="as mixed")
    add(folder, "level music -3 dB")
    receipt = only(prove(folder))
    assert (receipt.victim, [cost.track for cost in receipt.costs]) == ("vox", ["music"])
    assert receipt.needed
