# SPDX-License-Identifier: Apache-2.0
import pytest

from made_songs import copy_song, make_song
from mixwright.app.decide import accept, add, change, refuse
from mixwright.app.measure import measure
from mixwright.app.plan import plan
from mixwright.errors import SettingError, StateError
from mixwright.io.kept import read_kept, write_kept
from mixwright.io.song_file import edit_song, load_song
from mixwright.model.results import PlanResult, StartResult
from mixwright.model.song import Lock, changed


def intake(folder, guess):
    result = StartResult(
        folder="x", title="x", rate_hz=32000, duration_s=12.0, tempo_bpm=None, lead_guess=guess,
        tracks=(), sections=(), references=(), rough=None, questions=(),
    )  # fmt: skip
    write_kept(folder, "intake", result)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A song measured once, so that copies of it need no rendering."""
    folder = make_song(tmp_path_factory.mktemp("made"))
    measure(folder)
    return folder


@pytest.fixture
def song(made, tmp_path):
    return copy_song(made, tmp_path / "copy")


def without_lead(folder):
    edit_song(folder, "lead", lambda now: changed(now, lead=()))
    return folder


def test_there_is_no_plan_before_the_lead_is_confirmed(song):
    folder = without_lead(song)
    intake(folder, "vox")
    with pytest.raises(StateError) as caught:
        plan(folder)
    for words in ("the guess is vox", "--lead auto", "--lead ID"):
        assert words in str(caught.value)
    assert load_song(folder).moves == ()
    assert plan(folder, lead="auto").lead == ("vox",)
    assert load_song(folder).lead == ("vox",)
    assert plan(folder).lead == ("vox",)


def test_a_lead_may_be_named_and_an_unknown_one_is_refused(song):
    folder = without_lead(song)
    with pytest.raises(StateError, match="there is no guess"):
        plan(folder, lead="auto")
    with pytest.raises(SettingError, match="no track, source or group is called 'singer'"):
        plan(folder, lead="singer")
    with pytest.raises(SettingError, match="did you mean"):
        plan(folder, lead="kees")
    with pytest.raises(SettingError, match="allowed: 0 to 1"):
        plan(folder, lead="keys", strength=1.5)
    assert plan(folder, lead="Keys").lead == ("keys",)


@pytest.fixture(scope="module")
def accepted(made, tmp_path_factory):
    folder = copy_song(made, tmp_path_factory.mktemp("accepted") / "copy")
    before = measure(folder)
    planned = plan(folder)
    accept(folder, (), everything=True)
    return folder, before, planned, measure(folder)


def test_what_is_rendered_after_accepting_is_what_was_predicted(accepted):
    _, before, planned, after = accepted
    levels = {track.id: track.re_mix_lu for track in after.tracks}
    moves = {move.target: move for move in planned.moves if move.kind == "level"}
    assert {"vox", "pad", "master"} <= set(moves)
    assert after.mix.true_peak_dbtp == pytest.approx(moves.pop("master").predicted["true_peak_dbtp"], abs=0.02)
    for id_, move in moves.items():
        assert levels[id_] == pytest.approx(move.predicted["re_mix_lu"], abs=0.5)
        assert next(t for t in before.tracks if t.id == id_).re_mix_lu == pytest.approx(
            move.measured["re_mix_lu"], abs=0.1
        )
    pans = [move for move in planned.moves if move.kind == "pan"]
    assert after.mix.side_to_mid_db == pytest.approx(pans[0].predicted["mix_side_to_mid_db"], abs=0.5)
    change_lu = after.mix.integrated_lufs - before.mix.integrated_lufs
    assert change_lu == pytest.approx(planned.moves[0].predicted["mix_change_lu"], abs=0.3)


def test_a_song_already_balanced_gets_no_level_moves(accepted):
    folder, _, planned, _ = accepted
    again = plan(folder)
    assert [move for move in again.moves if move.kind == "level" and not move.finding] == []
    # Nor would it without the accepted moves in the way: the same balance as hand settings, and nothing but that. What
    # makes room after it, as the plan above proposes, is another question.
    song = load_song(folder)
    balance = {move.id for move in planned.moves if move.kind == "level" and not move.finding}
    gains = {move.target: move.settings["gain_db"] for move in song.moves if move.id in balance}
    assert {move.state for move in song.moves if move.id in balance} == {"accepted"}
    tracks = tuple(
        changed(track, strip=changed(track.strip, fader_db=gains.get(track.id, 0.0))) for track in song.tracks
    )
    master = changed(song.master, fader_db=gains["master"])
    edit_song(folder, "settle", lambda now: changed(now, tracks=tracks, master=master, moves=()))
    assert [move for move in plan(folder).moves if move.kind == "level" and not move.finding] == []


def test_decisions_bind_every_later_plan(song):
    folder = song
    first = plan(folder)
    assert [move.id for move in plan(folder).moves] == [move.id for move in first.moves]
    levels = {move.target: move.id for move in first.moves if move.kind == "level"}
    refuse(folder, [levels["pad"]])
    add(folder, "level vox +9 dB")
    second = plan(folder)
    assert not {move.target for move in second.moves if move.kind == "level"} & {"pad", "vox"}
    assert any("your own move" in text for text in second.left_as_is)
    kept = {move.id: move for move in load_song(folder).moves}
    assert kept[levels["pad"]].state == "refused"
    assert kept[levels["vox"]].settings == {"gain_db": 9.0}
    assert read_kept(folder, "plan", PlanResult).left_as_is == second.left_as_is


def test_a_later_plan_keeps_the_evidence_of_what_was_decided(song):
    folder = song
    first = {move.id: move for move in plan(folder).moves}
    accepted, refused = list(first)[:2]
    accept(folder, [accepted])
    refuse(folder, [refused])
    second = plan(folder)
    assert not {accepted, refused} & {move.id for move in second.moves}
    kept = {move.id: move for move in read_kept(folder, "plan", PlanResult).moves}
    assert set(kept) == {accepted, refused, *(move.id for move in second.moves)}
    assert kept[accepted] == first[accepted]
    assert change(folder, accepted, {"strength": "0.5"}).moves[0].evidence == first[accepted].evidence
    # What the song no longer has, nobody needs evidence of.
    edit_song(folder, "clear", lambda now: changed(now, moves=()))
    assert plan(folder).moves == read_kept(folder, "plan", PlanResult).moves


def test_a_plan_that_fails_confirms_no_lead(tmp_path):
    folder = without_lead(make_song(tmp_path, gains_db={"vox": -200.0}))
    with pytest.raises(StateError, match="silent or muted"):
        plan(folder, lead="vox")
    assert load_song(folder).lead == ()


def test_a_layer_in_the_place_of_a_lead_that_nobody_named_is_pointed_out(song):
    edit_song(
        song,
        "keys lead too",
        lambda now: changed(now, tracks=tuple(changed(t, place="lead") if t.id == "keys" else t for t in now.tracks)),
    )
    assert [text for text in plan(song).notes if "--lead vox,keys" in text]
    assert not [text for text in plan(song, lead="vox,keys").notes if "--lead" in text]


def test_a_later_plan_knows_where_accepted_pans_put_the_tracks(song):
    pans = [move.id for move in plan(song).moves if move.kind == "pan"]
    assert len(pans) > 2
    accept(song, pans[1:])
    again = next(move for move in plan(song).moves if move.kind == "pan")
    assert again.measured["mix_side_to_mid_db"] == pytest.approx(measure(song).mix.side_to_mid_db, abs=0.01)
    accept(song, everything=True)
    assert again.predicted["mix_side_to_mid_db"] == pytest.approx(measure(song).mix.side_to_mid_db, abs=0.3)


def test_a_changed_proposal_stays_as_the_engineer_left_it(song):
    folder = song
    target = next(move for move in plan(folder).moves if move.target == "pad" and move.kind == "level")
    change(folder, target.id, {"gain_db": "-2"})
    plan(folder)
    assert next(move for move in load_song(folder).moves if move.id == target.id).settings == {"gain_db": -2.0}


def test_locks_are_kept(song):
    locks = (Lock(target="pad", parameter="level"), Lock(target="drums", parameter="pan"))
    edit_song(song, "locks", lambda now: changed(now, locks=locks))
    moves = plan(song).moves
    assert "pad" not in {move.target for move in moves if move.kind == "level"}
    assert not {"kick", "snare", "hats"} & {move.target for move in moves if move.kind == "pan"}


def test_strength_scales_what_is_heard(made, song, tmp_path):
    folder = song
    full = {move.id: move for move in plan(folder).moves}
    before = measure(folder).mix
    plan(folder, strength=0.0)
    accept(folder, (), everything=True)
    assert measure(folder).mix == before
    other = copy_song(made, tmp_path / "half")
    half = {move.id: move for move in plan(other, strength=0.5).moves}
    assert set(half) == set(full)
    accept(other, (), everything=True)
    levels = {track.id: track.integrated_lufs for track in measure(other).tracks}
    plain = {track.id: track.integrated_lufs for track in measure(made).tracks}
    # The master is lowered by what the mix needs at that strength; it is heard as level alone.
    master = next(move for move in half.values() if move.target == "master").settings["gain_db"]
    for move in full.values():
        if move.kind == "level" and move.target != "master":
            expected = 0.5 * move.settings["gain_db"] + master
            assert levels[move.target] - plain[move.target] == pytest.approx(expected, abs=0.02)


def test_tracks_as_mixed_keep_their_balance(song):
    edit_song(song, "as mixed", lambda now: changed(now, tracks_are="as mixed"))
    result = plan(song)
    assert "as mixed" in result.left_as_is[0]
    # What moves is asked for by what is covered, first of all by the pad, far too loud, and not for a balance's sake.
    assert all(move.finding for move in result.moves)
    assert "pad" in {move.target for move in result.moves}
    assert {finding.id for finding in result.findings} >= {move.finding for move in result.moves}
    assert all(move.predicted["cued_phon_change"] > 0.0 and move.without_it for move in result.moves)
    assert result.moves == plan(song).moves
    refuse(song, [move.id for move in result.moves])
    again = plan(song)
    refused = {move.finding for move in result.moves}
    assert not {move.id for move in again.moves} & {move.id for move in result.moves}
    assert {one.verdict for one in again.findings if one.id in refused} == {"left as is"}


def test_a_silent_lead_is_said(tmp_path):
    folder = make_song(tmp_path, gains_db={"vox": -200.0})
    with pytest.raises(StateError, match="silent"):
        plan(folder)


def test_a_pan_law_that_changes_levels_is_counted(song):
    folder = song
    edit_song(folder, "law", lambda now: changed(now, pan_law_db=6.0))
    planned = plan(folder)
    accept(folder, (), everything=True)
    levels = {track.id: track.re_mix_lu for track in measure(folder).tracks}
    for move in planned.moves:
        if move.kind == "level" and move.target != "master":
            assert levels[move.target] == pytest.approx(move.predicted["re_mix_lu"], abs=0.5)
