# SPDX-License-Identifier: Apache-2.0
"""What the page shows of a song."""

import pytest

import invented
from mixwright.app.edit import edit
from mixwright.app.heard_view import finding_view
from mixwright.app.song_view import MOST_QUESTIONS, song_view
from mixwright.errors import SettingError, StateError
from mixwright.io.kept import write_kept
from mixwright.io.song_file import create_song, load_song
from mixwright.model.song import Song, changed
from mixwright.model.song_edit import SongEdit, TrackEdit


def made(tmp_path, song: Song | None = None, *, heard: bool = True):
    create_song(tmp_path / "song", song or invented.song())
    write_kept(tmp_path / "song", "intake", invented.start_result())
    if heard:
        write_kept(tmp_path / "song", "measure", invented.measure_result())
        write_kept(tmp_path / "song", "plan", invented.plan_result())
    return tmp_path / "song"


def test_before_the_first_measure_the_layers_are_there(tmp_path):
    view = song_view(made(tmp_path, heard=False))
    assert view.heard is None
    assert {row.id for row in view.rows} == {track.id for track in invented.song().tracks}
    assert all(row.kept == () and row.findings == () for row in view.rows)
    assert view.duration_s == 202.0


def test_rows_stand_by_place_as_the_song_has_it_now(tmp_path):
    folder = made(tmp_path)
    edit(folder, SongEdit(tracks={"warm-pad": TrackEdit(place="lead", name="Front pad")}))
    view = song_view(folder)
    places = [row.place for row in view.rows]
    assert places == sorted(places, key=["lead", "support", "bed", "return"].index)
    pad = next(row for row in view.rows if row.id == "warm-pad")
    assert (pad.place, pad.name) == ("lead", "Front pad")
    assert pad.kept  # as it was last heard
    assert view.heard is not None
    assert "Places were changed" in view.heard.outdated


def test_findings_stand_by_weight_and_rows_name_theirs(tmp_path):
    view = song_view(made(tmp_path))
    hearing = invented.measure_result().hearing
    assert view.heard is not None
    assert [one.id for one in view.heard.findings] == [one.id for one in hearing.findings]
    outside = {one.id for one in hearing.findings if one.verdict == "outside"}
    assert {id_ for row in view.rows for id_ in row.findings} == outside


def test_the_worst_phrases_are_ranked_and_say_their_smallest_fix(tmp_path):
    view = song_view(made(tmp_path))
    assert view.heard is not None
    phrases = view.heard.lines[0].phrases
    short = [one for one in phrases if one.worst is not None]
    assert [one.worst for one in sorted(short, key=lambda one: one.margin_db.cued)] == list(range(1, len(short) + 1))
    assert short
    for one in phrases:
        assert bool(one.fix) == (one.margin_db.cued is None or one.margin_db.cued < 0.0)
    # Without a plan the fader is what there is: as much as the margin lies below nothing.
    (made(tmp_path / "other") / "kept" / "plan.json").unlink()
    bare = song_view(tmp_path / "other" / "song").heard
    assert bare is not None
    worst = next(one for one in bare.lines[0].phrases if one.worst == 1)
    assert worst.fix == f"{-worst.margin_db.cued:.1f} dB up on its fader, and half of it is left."


def test_a_finding_shows_who_covers_whom_in_its_band(tmp_path):
    folder = made(tmp_path)
    hearing = invented.measure_result().hearing
    finding = next(one for one in hearing.findings if one.band_hz is not None and one.section)
    view = finding_view(folder, finding.id)
    assert view.finding.id == finding.id
    assert view.takes == {one.track: one.fraction for one in finding.caused_by}
    alone = [row.alone_sone for row in view.rows]
    assert alone == sorted(alone, reverse=True)
    for row in view.rows:
        assert 0.0 <= row.in_mix_sone.cued <= row.alone_sone * (1 + 1e-9)
        assert sum(one.fraction for one in row.taken_by) == pytest.approx(1.0) or not row.taken_by
        layer = next(one for one in hearing.layers if one.id == row.id)
        part = next(one for one in layer.sections if one.name == finding.section)
        low, high = view.band_hz
        within = [band for band in part.bands if low <= band.low_hz and band.high_hz <= high]
        assert row.alone_sone == pytest.approx(sum(band.alone_sone for band in within))


def test_what_is_no_finding_is_refused(tmp_path):
    with pytest.raises(SettingError):
        finding_view(made(tmp_path), "none")
    with pytest.raises(StateError):
        finding_view(made(tmp_path / "new", heard=False), "none")


def test_at_most_five_questions_the_least_sure_first_and_an_answer_is_the_end_of_one(tmp_path):
    song = invented.song()
    unsure = changed(
        song,
        tracks=tuple(
            changed(t, role_confidence=0.04 * k) if k != 7 else changed(t, role="unknown", role_confidence=0.9)
            for k, t in enumerate(song.tracks)
        ),
    )
    folder = made(tmp_path, unsure)
    asked = song_view(folder).questions
    assert len(asked) == MOST_QUESTIONS
    assert [one.track for one in asked] == [unsure.tracks[k].id for k in (7, 0, 1, 2, 3)]
    edit(folder, SongEdit(tracks={asked[0].track: TrackEdit(role="toms")}))
    assert asked[0].track not in [one.track for one in song_view(folder).questions]


def test_what_cannot_be_read_or_is_missing_is_told(tmp_path):
    folder = made(tmp_path)
    (folder / "kept" / "plan.json").write_text("{", encoding="utf-8")
    problems = song_view(folder).problems
    assert any("plan.json" in one for one in problems)
    assert any(f"The files of {len(invented.song().tracks)} tracks are not there" in one for one in problems)


def test_the_last_step_can_be_undone_and_the_first_state_not(tmp_path):
    folder = made(tmp_path)
    assert song_view(folder).undo == ""
    edit(folder, SongEdit(lead=("piano",)))
    assert song_view(folder).undo == "follow piano"
    assert load_song(folder).lead == ("piano",)
