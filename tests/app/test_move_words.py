# SPDX-License-Identifier: Apache-2.0
"""Moves of every kind as an engineer writes them. The song is invented."""

from __future__ import annotations

from pathlib import Path

import pytest

from mixwright import add, change
from mixwright.app.move_words import move_of
from mixwright.app.scene import sounding_hash
from mixwright.errors import SettingError
from mixwright.io.kept import write_kept
from mixwright.io.song_file import create_song, load_song
from mixwright.model.moves import id_for
from mixwright.model.results import StartResult, TrackIntake
from mixwright.model.song import Group, Section, Send, Song, Track, changed

SONG = Song(
    title="Night Bus",
    rate_hz=48000,
    tracks=(
        Track(id="lead-vocal", name="Lead Vocal", file="v.wav", sends={"hall": -9.0}, role="lead vocal"),
        Track(id="gtr-l", name="Gtr L", file="l.wav", group="guitars"),
        Track(id="gtr-r", name="Gtr R", file="r.wav", group="guitars"),
        Track(id="pad", name="Pad in 5ths 2", file="p.wav", sends={"hall": -6.0}),
        Track(id="bass", name="Bass", file="b.wav"),
        Track(id="kick", name="Kick in", file="k.wav"),
        Track(id="cymbals", name="Cymbals", file="c.wav"),
    ),
    groups=(Group(id="guitars", name="Guitars"),),
    sends=(Send(id="hall", name="Large Hall"),),
    sections=(
        Section(name="verse 1", start_s=0, end_s=10),
        Section(name="chorus 2", start_s=10, end_s=20),
    ),
)
VERSE, CHORUS = ("verse 1",), ("chorus 2",)


@pytest.mark.parametrize(
    ("sentence", "kind", "target", "settings", "other", "sections"),
    [
        ("level guitars -1.5 dB in chorus-2", "level", "guitars", {"gain_db": -1.5}, "", CHORUS),
        ("level hall return -1.5 dB", "level", "send hall", {"gain_db": -1.5}, "", ()),
        ("band-limit pad 200 to 4000 Hz", "band_limit", "pad", {"low_hz": 200.0, "high_hz": 4000.0}, "", ()),
        ("band limit Pad in 5ths 2 from .2 to 4 kHz", "band_limit", "pad",
         {"low_hz": 200.0, "high_hz": 4000.0}, "", ()),
        ("Band_Limit bass below 2.5k, 24 dB/oct", "band_limit", "bass",
         {"high_hz": 2500.0, "slope_db_oct": 24.0}, "", ()),
        ("band-limit bass above 40 Hz (18 dB/oct)", "band_limit", "bass",
         {"low_hz": 40.0, "slope_db_oct": 18.0}, "", ()),
        ("shape guitars -3 dB at 400 Hz q 2 in verse-1", "shape", "guitars",
         {"gain_db": -3.0, "hz": 400.0, "q": 2.0}, "", VERSE),
        ("shape guitars at 400 Hz \u22123 dB", "shape", "guitars", {"gain_db": -3.0, "hz": 400.0}, "", ()),
        ("shape guitars -3 at 400 q 2", "shape", "guitars", {"gain_db": -3.0, "hz": 400.0, "q": 2.0}, "", ()),
        ("tilt bass -1.5 dB at 120 Hz", "tilt", "bass", {"gain_db": -1.5, "hz": 120.0}, "", ()),
        ("dip guitars 3.5 dB at 2000 Hz q 1 under lead-vocal", "dip", "guitars",
         {"most_db": 3.5, "hz": 2000.0, "q": 1.0}, "lead-vocal", ()),
        ("dip guitars -3.5 dB at 2 kHz under Lead Vocal attack 8 ms release .25 s in verse 1, chorus 2", "dip",
         "guitars",
         {"most_db": 3.5, "hz": 2000.0, "attack_ms": 8.0, "release_ms": 250.0}, "lead-vocal", (*VERSE, *CHORUS)),
        ("dip guitars 3 dB at 2 kHz margin 6 dB under Pad in 5ths 2 in chorus 2", "dip", "guitars",
         {"most_db": 3.0, "hz": 2000.0, "margin_db": 6.0}, "pad", CHORUS),
        ("dip Large Hall 3 dB at 2 kHz under lead-vocal", "dip", "send hall",
         {"most_db": 3.0, "hz": 2000.0}, "lead-vocal", ()),
        ("dip guitars 3.5 at 2k under lead-vocal", "dip", "guitars", {"most_db": 3.5, "hz": 2000.0}, "lead-vocal", ()),
        ("duck cymbals 3 dB under kick", "duck", "cymbals", {"depth_db": 3.0}, "kick", ()),
        ("duck cymbals 3 dB from 2 to 8 kHz under Kick in by hits hold 40 ms in verse 1", "duck", "cymbals",
         {"depth_db": 3.0, "low_hz": 2000.0, "high_hz": 8000.0, "by_hits": 1.0, "hold_ms": 40.0}, "kick", VERSE),
        ("width pad 0.6", "width", "pad", {"width": 0.6}, "", ()),
        ("width pad 60 %", "width", "pad", {"width": 0.6}, "", ()),
        ("send lead-vocal -2 dB to hall", "send", "lead-vocal", {"gain_db": -2.0}, "hall", ()),
        ("send pad +3 dB to large hall in chorus 2", "send", "pad", {"gain_db": 3.0}, "hall", CHORUS),
        ("even out guitars above -24 dB ratio 3 gain 2 dB", "even_out", "guitars",
         {"threshold_db": -24.0, "ratio": 3.0, "gain_db": 2.0}, "", ()),
        ("even-out guitars 3:1 threshold -24 dB attack 5 ms", "even_out", "guitars",
         {"threshold_db": -24.0, "ratio": 3.0, "attack_ms": 5.0}, "", ()),
        ("colour bass 12 dB mix 50 % from 50 to 150 Hz", "colour", "bass",
         {"drive_db": 12.0, "mix": 0.5, "low_hz": 50.0, "high_hz": 150.0}, "", ()),
        ("color pad drive 6 dB", "colour", "pad", {"drive_db": 6.0}, "", ()),
    ],
)  # fmt: skip
def test_a_sentence_of_each_kind(sentence, kind, target, settings, other, sections):
    move = move_of(SONG, sentence)
    assert (move.kind, move.target, move.key or move.send, move.sections) == (kind, target, other, sections)
    assert move.settings == pytest.approx(settings)
    assert (move.state, move.by) == ("accepted", "engineer")
    assert move.id == id_for(kind, target, sections, settings, key=move.key, send=move.send)


@pytest.mark.parametrize(
    ("sentence", "said"),
    [
        ("levle guitars -1 dB", ["not understood", "did you mean level?", "write: level TARGET"]),
        ("shap guitars -1 dB at 1 kHz", ["not understood", "did you mean shape?"]),
        ("dip guitars 3 dB at 2 kHz undr lead-vocal", ["not understood", "did you mean under?", "dip TARGET 3.5 dB"]),
        ("duck cymbals 3 dB undr kick", ["did you mean under?", "duck TARGET 3 dB under KEY"]),
        ("shape guitars -3 dB at 400 Hz q 2 q 3", ["not understood", "write: shape TARGET"]),
        ("dip guitars 3 dB at 2 kHz", ["dip guitars 3 dB at 2 kHz: a dip move names no key"]),
        ("dip guitars 3 dB under lead-vocal", ["a dip move needs hz"]),
        ("dip guitars 3 dB at 2 kHz under led-vocal", ["or send is called 'led-vocal'", "lead-vocal"]),
        ("dip lead-vocal 3 dB at 2 kHz under hall", ["this runs in a circle: lead-vocal > hall > lead-vocal"]),
        ("duck guitars 3 dB under gtr-l", ["gtr-l is part of both"]),
        ("send guitars -2 dB to hall", ["guitars does not feed hall; fed by lead-vocal, pad"]),
        ("send lead-vocal -2 dB to hal", ["no send is called 'hal'", "did you mean hall"]),
        ("send lead-vocal -2 dB", ["a send move names no send"]),
        ("width guitars 3", ["width: '3' does not fit", "from 0 to 2"]),
        ("shape guitars -30 dB at 400 Hz", ["gain_db: '-30 dB' does not fit", "from -24 to 24 dB"]),
        ("tilt master -1 dB at 100 Hz", ["no track, source or group is called 'master'"]),
        ("shape guitars -3 dB at 30 kHz", ["30000 Hz does not fit a song of 48000 Hz"]),
        ("x" * 5000, ["not understood"]),
        ("dip " + "under " * 150, ["not understood"]),
    ],
)  # fmt: skip
def test_a_wrong_sentence_says_how_to_mend_it(sentence, said):
    with pytest.raises(SettingError) as caught:
        move_of(SONG, sentence)
    for words in said:
        assert words in str(caught.value)


@pytest.fixture
def song(tmp_path: Path) -> Path:
    folder = tmp_path / "song"
    create_song(folder, SONG)
    return folder


def test_change_knows_every_setting_with_its_unit(song):
    (move,) = add(song, "dip guitars 3 dB at 2 kHz under lead-vocal").moves
    words = {"hz": "2.5 kHz", "most_db": "-4 dB", "attack_ms": "8ms", "release_ms": "0.3 s", "q": "1.5",
             "margin_db": "9", "strength": "50 %", "key": "Pad in 5ths 2"}  # fmt: skip
    (new,) = change(song, move.id, words).moves
    assert new.settings == {
        "most_db": 4.0, "hz": 2500.0, "attack_ms": 8.0, "release_ms": 300.0, "q": 1.5, "margin_db": 9.0
    }  # fmt: skip
    assert (new.strength, new.key, new.id) == (0.5, "pad", move.id)
    for bad, told in (
        ({"gain_db": "1"}, "has no setting 'gain_db'; did you mean margin_db"),
        ({"key": "gtr"}, "no track, source, group or send"),
        ({"send": "hall"}, "has no setting 'send'"),
        ({"hz": "30 kHz"}, "hz: '30 kHz' does not fit"),
    ):
        with pytest.raises(SettingError, match=told):
            change(song, move.id, bad)
    (move,) = add(song, "duck cymbals 3 dB under kick").moves
    with pytest.raises(SettingError, match=rf"{move.id}\.key: .* cymbals is part of both"):
        change(song, move.id, {"key": "cymbals"})


def test_what_a_song_sounds_like_depends_on_settings_key_and_send_of_accepted_moves(song):
    add(song, "dip guitars 3 dB at 2 kHz under lead-vocal")
    add(song, "send pad 3 dB to hall")
    loaded = load_song(song)
    dip, send = loaded.moves
    others = [changed(dip, key="pad"), changed(dip, settings={**dip.settings, "q": 2.0}), changed(dip, strength=0.5)]
    hashes = [sounding_hash(changed(loaded, moves=(one, send)), ()) for one in (dip, *others)]
    hashes.append(sounding_hash(changed(loaded, moves=(dip, changed(send, send="room"))), ()))
    assert len(set(hashes)) == len(hashes)
    quiet = changed(loaded, moves=(changed(dip, state="proposed"), changed(send, state="refused")))
    assert sounding_hash(quiet, ()) == sounding_hash(changed(loaded, moves=()), ())


@pytest.mark.parametrize(
    ("first", "second", "told"),
    [
        ("level guitars +2 dB", "level guitars -1.5 dB in chorus 2", "in chorus 2: together +0.5 dB."),
        ("shape bass +3 dB at 100 Hz", "shape bass -2 dB at 130 Hz", "): together +1.0 dB or so."),
        ("tilt bass 3 dB at 100 Hz in verse 1", "tilt bass -2 dB at 130 Hz", " in verse 1: together +1.0 dB or so."),
        ("send pad 3 dB to hall", "send pad -2 dB to hall in verse 1", "in verse 1: together +1.0 dB."),
        ("width pad 1.5", "width pad 0.5 in verse 1", "in verse 1: together 0.75 of what it was."),
        ("pan bass 0.5", "pan bass -0.5 in verse 1", "in verse 1: the later one holds where both apply."),
        ("band-limit pad above 2 kHz", "band-limit pad below 1 kHz", "): nothing lies above 2000 and below 1000 Hz."),
    ],
)
def test_own_moves_that_work_against_each_other_are_told(song, first, second, told):
    old = add(song, first).moves[0]
    new = add(song, second)
    assert len(new.notes) == 1
    assert new.notes[0].startswith(f"It works against your own move {old.id} (")
    assert new.notes[0].endswith(told)
    assert len(load_song(song).moves) == 2


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("level guitars +2 dB in verse 1", "level guitars -1.5 dB in chorus 2"),
        ("level guitars +2 dB", "level bass -1.5 dB"),
        ("level guitars +2 dB", "level guitars +1.5 dB in verse 1"),
        ("shape bass +3 dB at 100 Hz", "shape bass -2 dB at 400 Hz"),
    ],
)
def test_others_are_not(song, first, second):
    add(song, first)
    assert add(song, second).notes == ()


def test_the_width_of_what_is_mono(song):
    tracks = tuple(_intake(track.id, 1 if track.id in ("bass", "gtr-l") else 2) for track in SONG.tracks)
    intake = StartResult(
        folder="song", title="Night Bus", rate_hz=48000, duration_s=30.0, tempo_bpm=None, lead_guess=None,
        tracks=tracks, sections=(), references=(), rough=None, questions=(),
    )  # fmt: skip
    write_kept(song, "intake", intake)
    with pytest.raises(SettingError, match=r"bass is mono; place it: pan bass 0\.4"):
        add(song, "width bass 0.5")
    assert add(song, "width guitars 0.5").notes == ()


def _intake(id_: str, channels: int) -> TrackIntake:
    return TrackIntake(
        id=id_, file=f"{id_}.wav", role="other", role_confidence=1.0, place="support", source="", group="", use=True,
        start_s=0.0, sample_rate_hz=48000, channels=channels, duration_s=30.0,
    )  # fmt: skip
