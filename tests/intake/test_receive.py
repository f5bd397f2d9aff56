# SPDX-License-Identifier: Apache-2.0
"""A whole delivery of made tracks through intake, without files."""

from __future__ import annotations

import functools

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from intake_sounds import RATE_HZ, hits, mono, stereo, tone, voice
from mixwright.errors import InputError
from mixwright.intake.listening import Listening, listen
from mixwright.intake.receive import ReceivedFile, receive
from mixwright.model.audio import AudioInfo
from mixwright.model.checks import check_song
from mixwright.model.song import Song

SECONDS = 10.0
LINE = [(220, 0.5), (247, 0.5), (0, 0.25), (262, 0.75), (0, 0.5)] * 4


@functools.cache
def sounds() -> dict[str, np.ndarray]:
    beats = np.arange(0, SECONDS, 0.5)
    notes = [(41, 0.5), (55, 0.5), (62, 0.5), (49, 0.5)] * 5
    return {
        "kick": mono(hits("kick", beats, SECONDS)),
        "bass": mono(tone(notes, harmonics=8, decay=1)),
        "voice": mono(voice(LINE)),
        "other voice": mono(0.4 * voice([(1.26 * hz, s) for hz, s in LINE], seed=50)),
        "pad": stereo(tone([(220, 5), (196, 5)]), tone([(221, 5), (197, 5)])),
        "silence": mono(np.zeros(round(SECONDS * RATE_HZ))),
        "clipped": mono(np.clip(3 * tone([(330, 5), (294, 5)]), -0.2, 0.2)),
        "empty": np.zeros((0, 1), dtype=np.float32),
        "broken": np.full((1000, 1), np.nan, dtype=np.float32),
        "wide": np.ones((1000, 6), dtype=np.float32),
        "short": mono(tone([(523, 2)])),
    }


@functools.cache
def heard(sound: str, rate_hz: int = RATE_HZ) -> Listening:
    return listen(sounds()[sound], rate_hz)


def file(label: str, sound: str, rate_hz: int = RATE_HZ) -> ReceivedFile:
    audio = sounds()[sound]
    info = AudioInfo(
        container="WAV", encoding="PCM_24", sample_rate_hz=rate_hz, channels=audio.shape[1], frames=len(audio), bits=24
    )
    return ReceivedFile(file=f"../tracks/{label}", label=label, info=info, heard=heard(sound, rate_hz), audio=audio)


DELIVERY = (
    file("01_Kick.wav", "kick"),
    file("Bass.wav", "bass"),
    file("BV 1.wav", "other voice"),
    file("Click.wav", "kick"),
    file("Guide Vox.wav", "voice"),
    file("LV.wav", "voice"),
    file("Pad.wav", "pad"),
    file("Pad copy.wav", "pad"),
    file("RoughMix_v3.wav", "pad"),
    file("sub/Synth.wav", "clipped"),
    file("Empty.wav", "empty"),
    file("NaN.wav", "broken"),
    file("Surround.wav", "wide"),
    file("Silent.wav", "silence"),
    file("Hook.wav", "short"),
    ReceivedFile(file="../tracks/x.wav", label="x.wav", problem="not audio that can be decoded"),
)


def test_a_delivery_with_every_fault():
    intake = receive(DELIVERY, title="Invented")
    tracks = {track.file: track for track in intake.tracks}
    assert [track.file for track in intake.tracks] == [one.label for one in DELIVERY]
    used = {name for name, track in tracks.items() if track.use}
    assert used == {"01_Kick.wav", "Bass.wav", "BV 1.wav", "LV.wav", "Pad.wav", "sub/Synth.wav", "Hook.wav"}
    assert all(track.why for track in intake.tracks if not track.use)
    found = {name: {fault.kind for fault in track.faults} for name, track in tracks.items() if track.faults}
    assert found == {
        "Pad copy.wav": {"exact_duplicate"},
        "sub/Synth.wav": {"clipped"},
        "Empty.wav": {"empty"},
        "NaN.wav": {"non_finite"},
        "Surround.wav": {"too_many_channels"},
        "Silent.wav": {"silent"},
        "Hook.wav": {"length_differs", "starts_late"},
        "x.wav": {"unreadable"},
    }
    assert tracks["Pad copy.wav"].why == "the same audio as Pad.wav"
    assert tracks["RoughMix_v3.wav"].why == "reads as a mix, not a track"
    assert (tracks["x.wav"].sample_rate_hz, tracks["x.wav"].duration_s) == (None, None)
    assert tracks["LV.wav"].place == "lead"
    assert intake.lead_guess == "lv"
    assert intake.song.lead == ()
    assert intake.prints == (8,)
    questions = " ".join(intake.questions)
    for word in (
        "Empty.wav",
        "Silent.wav",
        "Surround.wav",
        "sub/Synth.wav",
        "Pad copy.wav",
        "Hook.wav",
        "RoughMix_v3.wav",
    ):
        assert word in questions
    assert len(intake.questions) <= 8


def test_the_song_of_a_delivery_holds_together():
    song = receive(DELIVERY, title="Invented").song
    check_song(song)
    assert msgspec.convert(msgspec.to_builtins(song), Song) == song
    assert song.rate_hz == RATE_HZ
    assert all(track.start_frame == 0 for track in song.tracks)
    assert song.sections[0].start_s == 0.0
    assert song.sections[-1].end_s == pytest.approx(SECONDS)
    # A track and a group of one name would be one target: the group gives way.
    assert {track.id: track.group for track in song.tracks if track.use}["bass"] == "bass-group"
    assert not {track.id for track in song.tracks} & {group.id for group in song.groups}
    assert {group.id for group in song.groups} == {track.group for track in song.tracks if track.use}


def test_settings_of_a_song_as_mixed():
    song = receive(DELIVERY, title="Invented", as_mixed=True, tempo_bpm=97.5).song
    assert song.tracks_are == "as mixed"
    assert song.pan_law_db == 0.0
    assert song.tempo_bpm == 97.5
    assert all(track.strip.fader_db == 0.0 and track.strip.pan == 0.0 for track in song.tracks)


def test_rates():
    files = [file("Kick.wav", "kick"), file("LV.wav", "voice"), file("Pad.wav", "pad", rate_hz=2 * RATE_HZ)]
    intake = receive(files, title="Invented")
    assert intake.song.rate_hz == RATE_HZ
    assert {fault.kind for fault in intake.tracks[2].faults} >= {"rate_differs"}
    assert receive(files, title="Invented", rate_hz=96000).song.rate_hz == 96000


def test_a_cut_end_is_found():
    whole = file("LV.wav", "voice")
    info = msgspec.structs.replace(whole.info, header_frames=whole.info.frames + RATE_HZ)
    cut = ReceivedFile(file="LV.wav", label="LV.wav", info=info, heard=whole.heard)
    intake = receive([cut], title="Invented")
    assert [fault.kind for fault in intake.tracks[0].faults] == ["truncated"]
    assert "LV.wav" in intake.questions[0]


def test_two_takes_and_no_lead_are_asked_about():
    takes = [file("LV take 1.wav", "voice"), file("LV take 2.wav", "other voice"), file("Kick.wav", "kick")]
    assert any("final take of LV take 1.wav and LV take 2.wav" in q for q in receive(takes, title="x").questions)
    none = receive([file("Kick.wav", "kick"), file("Bass.wav", "bass")], title="x")
    assert any("lead" in question for question in none.questions)


def test_nothing_usable():
    with pytest.raises(InputError, match="none of the 2 files can be used"):
        receive([file("a.wav", "empty"), file("b.wav", "silence")], title="x")
    with pytest.raises(InputError, match="no audio files"):
        receive([], title="x")


NAMES = st.one_of(
    st.text(max_size=30), st.sampled_from(["Kick", "bass", "drums", "LV", "Vox 2", "lead voice", "OH L", "x" * 90])
)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(NAMES, st.sampled_from(["kick", "bass", "voice", "short", "empty"])), min_size=1, max_size=6))
def test_any_names_make_a_valid_song(entries):
    files = [file(f"{name}.wav", sound) for name, sound in entries]
    try:
        intake = receive(files, title="Invented")
    except InputError:
        return
    check_song(intake.song)
    assert msgspec.convert(msgspec.to_builtins(intake.song), Song) == intake.song
    every = (
        [t.id for t in intake.song.tracks] + [g.id for g in intake.song.groups] + [s.id for s in intake.song.sources]
    )
    assert len(set(every)) == len(every)
    assert all(track.file.isprintable() for track in intake.tracks)
    assert sum(track.use for track in intake.tracks) >= 1


ODD = st.one_of(st.floats(width=32), st.sampled_from([0.0, 1.0, -1.0, 1e-30, 3e38, float("nan"), float("inf")]))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(ODD, max_size=40),
    st.integers(1, 3),
    st.sampled_from([8000, 11025, 48000, 384000]),
    st.sampled_from([1, 7, 400]),
)
def test_any_samples_are_listened_to(values, channels, rate_hz, repeats):
    frames = len(values) // channels
    audio = np.tile(np.array(values[: frames * channels], dtype=np.float32).reshape(frames, channels), (repeats, 1))
    one = listen(audio, rate_hz)
    assert msgspec.json.decode(msgspec.json.encode(one), type=Listening) == one
    odd = ReceivedFile(file="Odd.wav", label="Odd.wav", heard=one, audio=audio)
    intake = receive([odd, file("LV.wav", "voice")], title="Invented")
    check_song(intake.song)
    assert intake.tracks[0].use == (not any(fault.severity == "unusable" for fault in intake.tracks[0].faults))


def test_no_track_has_an_id_that_stands_for_something_else():
    intake = receive([file("Others.wav", "pad"), file("Master.wav", "bass")], title="Invented")
    check_song(intake.song)
    assert {track.id for track in intake.song.tracks}.isdisjoint({"others", "master"})
