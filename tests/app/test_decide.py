# SPDX-License-Identifier: Apache-2.0
"""Decisions about moves, as a user makes them. The song is invented."""

from __future__ import annotations

from pathlib import Path

import pytest

from mixwright import accept, add, change, refuse, undo
from mixwright.errors import SettingError, StateError
from mixwright.io.kept import write_kept
from mixwright.io.song_file import SONG_FILE, create_song, history, load_song
from mixwright.model.moves import move_id
from mixwright.model.results import PlannedMove, PlanResult, Spread, StartResult, TrackIntake
from mixwright.model.song import Group, Lock, Move, Section, Song, Source, Track

VOX, BASS, PAN = move_id("level", "lead-vox", ()), move_id("level", "bass", ()), move_id("pan", "lead-vox", ())


def _move(id_: str, target: str, **settings: float) -> Move:
    kind = "level" if "gain_db" in settings else "pan"
    return Move(id=id_, kind=kind, target=target, settings=settings, reason="too quiet")


SONG = Song(
    title="Night Bus",
    rate_hz=48000,
    tracks=(
        Track(id="lead-vox", name="Lead Vox", file="v.wav"),
        Track(id="bass-di", name="Bass DI", file="d.wav", source="bass"),
        Track(id="bass-amp", name="Bass Amp", file="a.wav", source="bass"),
        Track(id="pad-wide", name="Pad in 5ths 2", file="p.wav", group="keys"),
        Track(id="old-take", name="Old Take", file="o.wav", use=False),
        Track(id="gtr-l", name="Gtr", file="l.wav"),
        Track(id="gtr-r", name="Gtr", file="r.wav"),
    ),
    sources=(Source(id="bass", name="Bass"),),
    groups=(Group(id="keys", name="Keys"),),
    sections=(
        Section(name="verse", start_s=0, end_s=10),
        Section(name="chorus 1", start_s=10, end_s=20),
        Section(name="chorus 2", start_s=20, end_s=30),
    ),
    locks=(Lock(target="bass", parameter="level"),),
    moves=(_move(VOX, "lead-vox", gain_db=2.0), _move(BASS, "bass", gain_db=-1.0), _move(PAN, "lead-vox", pan=0.1)),
)


def _intake(id_: str, channels: int | None) -> TrackIntake:
    return TrackIntake(
        id=id_,
        file=f"{id_}.wav",
        role="other",
        role_confidence=1.0,
        place="support",
        source="",
        group="",
        use=True,
        start_s=0.0,
        sample_rate_hz=48000,
        channels=channels,
        duration_s=30.0,
    )


@pytest.fixture
def song(tmp_path: Path) -> Path:
    folder = tmp_path / "song"
    create_song(folder, SONG)
    tracks = tuple(_intake(track.id, 2 if track.id in ("pad-wide", "gtr-r") else 1) for track in SONG.tracks)
    intake = StartResult(
        folder="song",
        title="Night Bus",
        rate_hz=48000,
        duration_s=30.0,
        tempo_bpm=None,
        lead_guess=None,
        tracks=tracks,
        sections=(),
        references=(),
        rough=None,
        questions=(),
    )
    write_kept(folder, "intake", intake)
    return folder


def _states(song: Path) -> dict[str, str]:
    return {move.id: move.state for move in load_song(song).moves}


@pytest.mark.parametrize(
    ("name", "ids"),
    [
        (VOX, [VOX]),
        (VOX.upper(), [VOX]),
        (VOX[-6:], [VOX]),
        ("level-lead", [VOX]),
        ("pan-", [PAN]),
        ("lead-vox", [VOX, PAN]),
    ],
)
def test_moves_are_named_by_id_part_of_it_or_target(song, name, ids):
    result = accept(song, [name])
    assert [move.id for move in result.moves] == ids
    assert {move.state for move in result.moves} == {"accepted"}
    assert result.song_moves == {"proposed": 3 - len(ids), "accepted": len(ids), "refused": 0}
    assert [id_ for id_, state in _states(song).items() if state == "accepted"] == ids


def test_everything_proposed_is_accepted_and_what_was_refused_stays(song):
    refuse(song, [BASS])
    assert [move.id for move in accept(song, everything=True).moves] == [VOX, PAN]
    assert _states(song) == {VOX: "accepted", BASS: "refused", PAN: "accepted"}
    again = accept(song, everything=True)
    assert (again.moves, again.notes) == ((), ("No moves are proposed.",))


def test_a_decision_made_again_says_so_and_writes_nothing(song):
    accept(song, [VOX])
    steps = len(history(song))
    assert accept(song, [VOX]).notes == (f"{VOX} was accepted already.",)
    assert len(history(song)) == steps


@pytest.mark.parametrize(
    ("names", "said"),
    [
        (["level"], ["fits several moves", VOX, BASS]),
        (
            ["level-bas-x"],
            ["no move is called 'level-bas-x'", f"did you mean {BASS}", f"proposed: {VOX}, {BASS}, {PAN}"],
        ),
        (["\x1b[2J"], ["no move is called", "proposed: "]),
        ([""], ["no move is called"]),
        ([], ["no move is named"]),
        ([VOX, "nothing"], ["no move is called 'nothing'"]),
    ],
)
def test_a_name_that_fits_no_move_changes_nothing(song, names, said):
    before = (song / SONG_FILE).read_bytes()
    with pytest.raises(SettingError) as caught:
        refuse(song, names)
    for words in said:
        assert words in str(caught.value)
    assert "\x1b" not in str(caught.value)
    assert (song / SONG_FILE).read_bytes() == before


def test_change_makes_a_move_the_engineers_own_and_keeps_its_state(song):
    (move,) = change(song, VOX, {"gain_db": "-2.5 dB", "strength": "0.5"}).moves
    assert (move.settings, move.strength, move.by, move.state) == ({"gain_db": -2.5}, 0.5, "engineer", "proposed")
    assert load_song(song).moves[0].by == "engineer"
    assert history(song)[-1].name == f"change {VOX} gain_db=-2.5 dB strength=0.5"


@pytest.mark.parametrize(
    ("move", "settings", "said"),
    [
        (VOX, {"gain": "1"}, ["no setting 'gain'", "did you mean gain_db?"]),
        (VOX, {"pan": "0.5"}, ["no setting 'pan'", "known: gain_db, strength"]),
        (VOX, {"gain_db": "30"}, ["gain_db: '30'", "-24 to 24"]),
        (VOX, {"gain_db": "nan"}, ["gain_db: 'nan'"]),
        (VOX, {"gain_db": "1e3"}, ["gain_db: '1e3'"]),
        (VOX, {"strength": "2"}, ["strength: '2'", "0 to 1"]),
        (PAN, {"pan": "1.01"}, ["pan: '1.01'", "-1 to 1"]),
        (PAN, {"pan": "0.5 dB"}, ["pan: '0.5 dB'"]),
        (VOX, {}, ["nothing to change"]),
        ("lead-vox", {"strength": "1"}, ["fits several moves", VOX, PAN]),
    ],
)
def test_a_wrong_change_says_what_is_allowed(song, move, settings, said):
    with pytest.raises(SettingError) as caught:
        change(song, move, settings)
    for words in said:
        assert words in str(caught.value)
    assert load_song(song) == SONG


@pytest.mark.parametrize(
    ("sentence", "target", "settings", "sections"),
    [
        ("level lead-vox +1.5 dB", "lead-vox", {"gain_db": 1.5}, ()),
        ("LEVEL Lead Vox 1.5dB", "lead-vox", {"gain_db": 1.5}, ()),
        ("level lead_vox \u22122", "lead-vox", {"gain_db": -2.0}, ()),
        ('level "Lead Vox" -.5 db in verse', "lead-vox", {"gain_db": -0.5}, ("verse",)),
        ("level keys -2 dB in Chorus-2, chorus 1", "keys", {"gain_db": -2.0}, ("chorus 1", "chorus 2")),
        ("level Pad in 5ths 2 -1 dB", "pad-wide", {"gain_db": -1.0}, ()),
        ("pan lead-vox 0.4", "lead-vox", {"pan": 0.4}, ()),
        ("pan Bass -0.2 in verse", "bass", {"pan": -0.2}, ("verse",)),
        ("pan pad-wide left -0.6 right 0.8", "pad-wide", {"left": -0.6, "right": 0.8}, ()),
        ("pan Pad in 5ths 2 left -1 right 0", "pad-wide", {"left": -1.0, "right": 0.0}, ()),
        ("pan keys left -0.6 right 0.6 in chorus 1", "keys", {"left": -0.6, "right": 0.6}, ("chorus 1",)),
    ],
)
def test_a_sentence_becomes_an_accepted_move(song, sentence, target, settings, sections):
    (move,) = add(song, sentence).moves
    assert (move.target, move.settings, move.sections) == (target, settings, sections)
    assert (move.state, move.by, move.strength) == ("accepted", "engineer", 1.0)
    assert move.id == move_id(move.kind, target, sections)
    assert [m.id for m in load_song(song).moves if m.by == "engineer"] == [move.id]


@pytest.mark.parametrize(
    ("sentence", "said"),
    [
        ("", ["not understood", "level TARGET"]),
        ("louder vox", ["not understood", "pan TARGET left"]),
        ("level lead-vox", ["not understood"]),
        ("level lead-vox loud", ["not understood"]),
        ("level led-vox +1 dB", ["'led-vox'", "did you mean lead-vox"]),
        ("level zzz +1 dB", ["'zzz'", "known: lead-vox, Lead Vox"]),
        ("level Gtr +1 dB", ["more than one", "gtr-l, gtr-r"]),
        ("level old-take +1 dB", ["no track that takes part"]),
        ("level lead-vox +30 dB", ["gain_db", "-24 to 24"]),
        ("level lead-vox +1 dB in chorus 3", ["no section is called 'chorus 3'", "chorus 1"]),
        ("pan lead-vox 1.5", ["pan", "-1 to 1"]),
        ("pan lead-vox left -1 right 1", ["lead-vox is mono", "pan lead-vox 0.4"]),
        ("pan pad-wide 0.4", ["pad-wide is stereo", "pan pad-wide left -1 right 1"]),
        ("level \x1b[2J +1 dB", ["no track"]),
    ],
)
def test_a_wrong_sentence_shows_how_to_write_it(song, sentence, said):
    with pytest.raises(SettingError) as caught:
        add(song, sentence)
    for words in said:
        assert words in str(caught.value)
    assert "\x1b" not in str(caught.value)
    assert load_song(song) == SONG


def test_an_own_move_takes_the_place_of_one_for_the_same_thing(song):
    first = add(song, "level lead-vox +1 dB")
    told = "It takes the place of {} for the same thing, {}; the two do not add up."
    assert first.notes == (told.format("the plan's proposed move", "gain_db=2"),)
    second = add(song, "level lead-vox +2 dB")
    assert second.notes == (told.format("your earlier move", "gain_db=1"),)
    assert [move.settings for move in load_song(song).moves if move.id == VOX] == [{"gain_db": 2.0}]
    assert add(song, "level lead-vox +2 dB in verse").notes == ()
    assert len(load_song(song).moves) == 4


def test_a_lock_does_not_bind_the_engineer(song):
    (note,) = add(song, "level bass-di +1 dB").notes
    assert "locked" in note
    assert add(song, "pan bass-di 0.2").notes == ()


def test_undo_takes_back_decisions_one_by_one(song):
    texts = [(song / SONG_FILE).read_bytes()]
    for decide in (
        lambda: accept(song, [VOX]),
        lambda: refuse(song, ["bass"]),
        lambda: add(song, "pan lead-vox 0.4"),
        lambda: change(song, VOX, {"strength": "0.5"}),
    ):
        decide()
        texts.append((song / SONG_FILE).read_bytes())
    for name in (f"change {VOX} strength=0.5", "add: pan lead-vox 0.4", "refuse bass", f"accept {VOX}"):
        texts.pop()
        assert undo(song).undone == name
        assert (song / SONG_FILE).read_bytes() == texts[-1]
    with pytest.raises(StateError):
        undo(song)


def test_the_evidence_of_the_plan_stays_with_its_move(song):
    spread = Spread(low=-2.0, high=2.0, unit="db", source="invented")
    planned = PlannedMove(
        id=VOX,
        kind="level",
        target="lead-vox",
        sections=(),
        settings={"gain_db": 2.0},
        state="proposed",
        strength=1.0,
        by="plan",
        reason="too quiet",
        evidence="the references",
        spread=spread,
        predicted={"integrated_lufs": -20.0},
        costs=("keys lose a little",),
    )
    write_kept(song, "plan", PlanResult(lead=("lead-vox",), moves=(planned,), left_as_is=()))
    (move,) = accept(song, [VOX]).moves
    assert (move.state, move.evidence, move.spread, move.predicted) == (
        "accepted",
        "the references",
        spread,
        planned.predicted,
    )
    (move,) = change(song, VOX, {"gain_db": "1"}).moves
    assert (move.evidence, move.predicted, move.costs) == ("the references", {}, ())
    assert move.reason == "Changed since it was planned. Then: too quiet"
    assert {move.reason for move in load_song(song).moves if move.id == VOX} == {"too quiet"}
    (song / "kept" / "plan.json").write_text("{")
    result = refuse(song, [VOX])
    assert result.moves[0].state == "refused"
    assert "run plan again" in result.notes[0]


def test_a_stereo_track_among_mono_ones_is_told(song):
    before = (song / SONG_FILE).read_text()
    (song / SONG_FILE).write_text(before.replace('id = "gtr-r"', 'id = "gtr-r"\nsource = "bass"'))
    assert add(song, "pan bass 0.2").notes == ("It does not move the stereo tracks gtr-r.",)


def test_without_a_song(tmp_path):
    for decide in (lambda: accept(tmp_path, ["x"]), lambda: add(tmp_path, "level a 1 dB"), lambda: undo(tmp_path)):
        with pytest.raises(StateError, match="there is no song here"):
            decide()
    assert list(tmp_path.iterdir()) == []


def test_the_master_takes_a_level_of_its_own_and_no_pan(song):
    result = add(song, "level Master -7 dB")
    assert result.moves[0].target == "master"
    assert load_song(song).moves[-1].settings == {"gain_db": -7.0}
    with pytest.raises(SettingError, match="no track, source or group is called 'master'"):
        add(song, "pan master 0.1")
    text = (song / SONG_FILE).read_text()
    (song / SONG_FILE).write_text(text.replace('kind = "level"\ntarget = "master"', 'kind = "pan"\ntarget = "master"'))
    with pytest.raises(SettingError, match="master"):
        load_song(song)


def test_sixty_moves_are_not_all_named_in_an_error(tmp_path):
    many = tuple(_move(f"level-layer-{i:02d}-abcdef", f"layer-{i:02d}", gain_db=1.0) for i in range(60))
    folder = tmp_path / "wall"
    tracks = tuple(Track(id=move.target, name=move.target, file=f"{move.target}.wav") for move in many)
    create_song(folder, Song(title="Wall", rate_hz=48000, tracks=tracks, moves=many))
    for name in ("nothing", "level-layer"):
        with pytest.raises(SettingError, match="level-layer-07-abcdef and 52 more") as caught:
            accept(folder, [name])
        assert len(str(caught.value)) < 400
