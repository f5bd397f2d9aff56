# SPDX-License-Identifier: Apache-2.0
"""Which synthesised tracks read as one: a kit that bleeds, and drums that do not; layers, pairs, stacks."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from intake_sounds import RATE_HZ, hits, mono, tone, voice
from mixwright.intake.likeness import Trace, rhythm_likeness, together
from mixwright.intake.listening import listen
from mixwright.intake.names import read_names
from mixwright.intake.roles import roles
from mixwright.intake.sources import Layer, read_sources

SECONDS = 12.0


def sources(tracks: dict[str, np.ndarray]):
    names = read_names(list(tracks))
    audio = [mono(x) for x in tracks.values()]
    traces = [Trace(listen(x, RATE_HZ)) for x in audio]
    readings = roles(names, traces)
    layers = [
        Layer(name, reading, role.role, trace, x)
        for name, reading, role, trace, x in zip(tracks, names, readings, traces, audio, strict=True)
    ]
    return read_sources(layers)


def members(tracks: dict[str, np.ndarray]) -> list[set[str]]:
    found = sources(tracks)
    assert all(source.reasons for source in found)
    return [set(source.members) for source in found]


def later(x: np.ndarray, ms: float) -> np.ndarray:
    frames = round(ms * RATE_HZ / 1000)
    return np.concatenate([np.zeros(frames), x[: len(x) - frames]])


def played(pattern: np.ndarray, seed: int) -> np.ndarray:
    """Times as a person plays them: up to 8 ms early or late."""
    return np.abs(pattern + np.random.default_rng(seed).uniform(-0.008, 0.008, len(pattern)))


KICK_AT = played(np.arange(0, SECONDS, 1.0), 1)
SNARE_AT = played(np.arange(0.5, SECONDS, 1.0), 2)
HATS_AT = played(np.arange(0.25, SECONDS, 0.5), 3)
KICK, SNARE = hits("kick", KICK_AT, SECONDS), hits("snare", SNARE_AT, SECONDS, 4)
HATS = hits("hats", HATS_AT, SECONDS, 5)


def test_microphones_of_one_kit_are_one_source():
    kit = {
        "Kick In": KICK + 0.05 * later(SNARE, 3),
        "SnTop": SNARE + 0.1 * later(KICK, 3) + 0.05 * later(HATS, 1),
        "OH L": 0.4 * later(KICK, 4) + 0.7 * later(SNARE, 3) + 0.7 * later(HATS, 2),
        "OH R": 0.4 * later(KICK, 4.5) + 0.7 * later(SNARE, 3.3) + 0.7 * later(HATS, 3),
        "Hats": HATS + 0.08 * later(SNARE, 1),
        "Pad": tone([(220, 6), (196, 6)]),
    }
    assert members(kit) == [{"Kick In", "SnTop", "OH L", "OH R", "Hats"}]
    assert sources(kit)[0].stem == "drum kit"


def test_close_microphones_that_bleed_are_one_source_without_overheads():
    assert members({"Kick": KICK + 0.1 * later(SNARE, 3), "Snare": SNARE + 0.1 * later(KICK, 3)}) == [{"Kick", "Snare"}]


def test_programmed_drums_are_sources_of_their_own():
    assert members({"Kick": KICK, "Snare": SNARE, "Hats": HATS}) == []


def test_two_kicks_on_the_same_hits_are_one_and_on_others_are_not():
    attack = signal.sosfilt(signal.butter(2, 2000, "high", fs=RATE_HZ, output="sos"), hits("snare", KICK_AT, SECONDS))
    assert members({"Kick Sub": KICK, "Kick Click Layer": attack, "Pad": HATS}) == [{"Kick Sub", "Kick Click Layer"}]
    assert members({"Kick 1": KICK, "Kick 2": hits("kick", SNARE_AT, SECONDS)}) == []


def test_bass_di_amplifier_and_sub_are_one_source():
    notes = [(hz, 0.5) for hz in (41, 55, 62, 49, 41, 73) * 4]
    di = tone(notes, harmonics=10, decay=2)
    amp = np.tanh(6 * later(tone(notes, harmonics=14, decay=1.5), 2))
    sub = tone([(hz, s) if i % 3 else (0, s) for i, (hz, s) in enumerate(notes)], harmonics=1, decay=1)
    assert members({"Bass DI": di, "Bass Amp": amp, "Bass Sub": sub, "Kick": KICK}) == [
        {"Bass DI", "Bass Amp", "Bass Sub"}
    ]
    # Another bass that plays in another part of the song is a layer of its own.
    apart = np.concatenate([np.zeros(len(di)), di])
    assert members({"Bass": np.concatenate([di, np.zeros(len(di))]), "SynBass": apart}) == []


def test_pairs_stacks_and_doubles():
    line = [(220, 0.5), (0, 0.2), (247, 0.5), (262, 0.7), (0, 0.3), (196, 0.6)] * 4
    lead = voice(line)
    tracks = {
        "LV": lead,
        "LV dbl L": 0.5 * later(voice(line, seed=20), 25),
        "LV dbl R": 0.5 * later(voice(line, seed=30), 15),
        "BV 1 L": 0.3 * voice([(hz * 1.26, s) for hz, s in line], seed=40),
        "BV 1 R": 0.3 * voice([(hz * 1.26, s) for hz, s in line], seed=50),
        "BV 2": 0.3 * voice([(hz * 1.5, s) for hz, s in line], seed=60),
        "Gtr Dist L": np.tanh(9 * tone([(110, 0.7)] * 16, decay=3)),
        "Gtr Dist R": np.tanh(9 * tone([(110, 0.7)] * 16, decay=3, seed=2)),
        "Synth 1": tone([(440, 0.25)] * 40, decay=5),
        "Synth 2": tone([(330, 0.41)] * 25, decay=5),
    }
    assert members(tracks) == [
        {"LV", "LV dbl L", "LV dbl R"},
        {"BV 1 L", "BV 1 R", "BV 2"},
        {"Gtr Dist L", "Gtr Dist R"},
    ]
    assert [source.stem for source in sources(tracks)] == ["lead voice", "bv stack", "gtr dist pair"]


def test_likeness_of_rhythm_and_time_together():
    kick, again, snare = (Trace(listen(mono(x), RATE_HZ)) for x in (KICK, 0.2 * KICK, SNARE))
    assert rhythm_likeness(kick, again) == pytest.approx(1.0, abs=0.05)
    assert rhythm_likeness(kick, snare) < 0.1
    half = Trace(listen(mono(np.concatenate([KICK[: len(KICK) // 2], np.zeros(len(KICK) // 2)])), RATE_HZ))
    assert together(half, kick) == 1.0
    assert together(kick, half) == pytest.approx(0.5, abs=0.05)


def test_gaps_and_decays_do_not_interrupt_a_layer_but_rests_do():
    notes = tone([(220, 0.5), (0, 0.2)] * 5 + [(0, 3.0)] + [(220, 1.0)], decay=4)
    trace = Trace(listen(mono(notes), RATE_HZ))
    edges = np.flatnonzero(np.diff(trace.sounds.astype(int), prepend=0)) / 100
    assert edges == pytest.approx([0.0, 3.3, 6.5], abs=0.05)
    assert [start / 100 for start in trace.starts] == pytest.approx([0.0, 6.5], abs=0.05)


def test_left_and_right_of_one_recording_are_told_from_two_takes():
    line = [(220, 0.5), (0, 0.2), (247, 0.5), (262, 0.7), (0, 0.3), (196, 0.6)] * 4
    room = np.random.default_rng(9).standard_normal((2, round(SECONDS * RATE_HZ)))
    one, other = SNARE + 0.003 * room[0], later(SNARE, 0.2) + 0.003 * room[1]
    tracks = {
        "LV": voice(line),
        "LV dbl L": 0.5 * later(voice(line, seed=20), 25),
        "LV dbl R": 0.5 * later(voice(line, seed=30), 15),
        "Gtr Dist L": np.tanh(9 * tone([(110, 0.7)] * 16, decay=3)),
        "Gtr Dist R": np.tanh(9 * tone([(110, 0.7)] * 16, decay=3, seed=2)),
        "Clap L": one,
        "Clap R": other,
    }
    reasons = {source.members[0]: source.reasons for source in sources(tracks)}
    assert "doubles of one voice, by name" in reasons["LV"]
    assert reasons["Gtr Dist L"] == ("left and right of one part, by name",)
    assert reasons["Clap L"] == ("left and right of one recording, by name and sound",)
