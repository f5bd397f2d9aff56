# SPDX-License-Identifier: Apache-2.0
"""Roles where the name leaves them open: told by the sound of synthesised tracks, and by the other names."""

from __future__ import annotations

import functools

import numpy as np
import pytest

from intake_sounds import RATE_HZ, hits, mono, stereo, tone, voice
from mixwright.intake.likeness import Trace
from mixwright.intake.listening import listen
from mixwright.intake.names import read_names
from mixwright.intake.roles import group_of, guess_lead, place_of, roles, scores_by_sound
from mixwright.model.words import ROLES

SECONDS = 8.0
BEATS = np.arange(0, SECONDS, 0.5)
LINE = [
    (hz, 0.45) if hz else (0, 0.3) for hz in (220, 247, 262, 0, 330, 294, 262, 0, 220, 0, 196, 220, 262, 247, 0, 220)
]


def _pad(detune: float) -> np.ndarray:
    return sum(tone([(hz * detune, 4), (hz * detune * 0.9, 4)], harmonics=6) for hz in (220, 277, 330))


SOUNDS = {
    "kick": lambda: mono(hits("kick", BEATS, SECONDS)),
    "snare": lambda: mono(hits("snare", BEATS[1::2], SECONDS)),
    "hats": lambda: mono(hits("hats", np.arange(0, SECONDS, 0.25), SECONDS)),
    "drums": lambda: mono(
        hits("kick", BEATS[::2], SECONDS)
        + hits("snare", BEATS[1::2], SECONDS)
        + 0.5 * hits("hats", np.arange(0, SECONDS, 0.25), SECONDS)
    ),
    "bass": lambda: mono(tone([(hz, 0.5) for hz in (41, 41, 55, 62) * 4], harmonics=5)),
    "lead vocal": lambda: mono(voice(LINE)),
    "quiet vocal": lambda: 0.2 * mono(voice([(hz * 1.26, seconds) for hz, seconds in LINE], seed=9)),
    "pad": lambda: stereo(_pad(1.0), _pad(1.003)),
    "synth": lambda: mono(tone([(hz, 0.125) for hz in (440, 523, 659, 880) * 16], harmonics=20, decay=8)),
    "effects": lambda: mono(
        0.1
        * np.random.default_rng(0).standard_normal(round(SECONDS * RATE_HZ))
        * np.linspace(0, 1, round(SECONDS * RATE_HZ))
    ),
}


@functools.cache
def heard(sound: str) -> Trace:
    return Trace(listen(SOUNDS[sound](), RATE_HZ))


def decided(**named: str) -> dict[str, str]:
    """Names -> sounds; returns names -> roles."""
    readings = roles(read_names(list(named)), [heard(sound) for sound in named.values()])
    return {name: reading.role for name, reading in zip(named, readings, strict=True)}


@pytest.mark.parametrize("sound", [sound for sound in SOUNDS if sound in ROLES])
def test_a_name_that_says_nothing_leaves_it_to_the_sound(sound):
    scores = scores_by_sound(heard(sound).heard.timbre)
    assert max(scores, key=scores.get) == sound
    assert all(0.0 <= score <= 1.0 for score in scores.values())
    (reading,) = roles(read_names(["Audio 7"]), [heard(sound)])
    assert reading.role == sound
    assert 0.0 < reading.confidence <= 0.6


@pytest.mark.parametrize(
    ("name", "sound", "role"),
    [
        ("ld", "lead vocal", "lead vocal"),
        ("ld", "synth", "synth"),
        ("top", "snare", "snare"),
        ("top", "lead vocal", "lead vocal"),
        ("bd", "kick", "kick"),
        ("bd", "quiet vocal", "kick"),
        ("di", "bass", "bass"),
        ("808", "bass", "bass"),
        ("808", "kick", "kick"),
        ("main", "lead vocal", "lead vocal"),
        ("main", "drums", "drums"),
        ("sn", "synth", "synth"),
        ("melody", "lead vocal", "lead vocal"),
    ],
)
def test_conflicting_names_are_settled_by_sound(name, sound, role):
    (reading,) = roles(read_names([name]), [heard(sound)])
    # A weak second reading does not win against a name's usual meaning.
    assert reading.role == role
    assert 0.0 < reading.confidence < 0.95


def test_neighbours_settle_names():
    assert decided(top="drums", bot="snare", Vox="lead vocal")["top"] == "snare"
    assert decided(dbl="synth", Gtr="synth")["dbl"] != "double"
    assert decided(dbl="quiet vocal", Vox="lead vocal")["dbl"] == "double"


def test_files_of_one_name_have_one_role():
    found = decided(**{"Lead 1": "synth", "Lead 2": "lead vocal", "Lead 3": "synth", "Kick": "kick"})
    assert found["Lead 1"] == found["Lead 2"] == found["Lead 3"]


def test_one_lead_among_plain_voices():
    found = decided(**{"Vox 1": "quiet vocal", "Vox 2": "lead vocal", "Kick": "kick"})
    assert found["Vox 2"] == "lead vocal"
    assert found["Vox 1"] in ("backing vocal", "double")
    found = decided(**{"Lead Vox": "quiet vocal", "Vox": "lead vocal", "Kick": "kick"})
    assert found["Lead Vox"] == "lead vocal"
    assert found["Vox"] in ("backing vocal", "double")


def test_a_name_that_says_one_thing_is_believed_against_the_sound():
    assert decided(Kick="lead vocal", Pad="kick") == {"Kick": "kick", "Pad": "pad"}


def guessed(**named: str) -> str | None:
    names, traces = read_names(list(named)), [heard(sound) for sound in named.values()]
    index = guess_lead(names, traces, roles(names, traces))
    return None if index is None else list(named)[index]


def test_lead_guess():
    assert guessed(Kick="kick", LV="quiet vocal", Pad="pad", Arp="synth") == "LV"
    assert guessed(Kick="kick", Pad="pad", Arp="synth") == "Arp"
    assert guessed(Kick="kick", Synth1="synth", Melody="synth") == "Melody"
    assert guessed(Kick="kick", Bass="bass") is None


def test_every_role_has_a_place_and_a_group():
    name = read_names(["x"])[0]
    assert place_of("lead vocal") == "lead"
    assert {place_of(role) for role in ("kick", "snare", "bass", "keys", "electric guitar", "backing vocal")} == {
        "support"
    }
    assert {place_of(role) for role in ("pad", "room", "strings", "double")} == {"bed"}
    assert group_of("double", name) == group_of("lead vocal", name) == "lead-vocal"
    assert group_of("backing vocal", name) == "backing-vocals"
    assert group_of("loop", read_names(["Drum Loop"])[0]) == "drums"
    assert group_of("loop", name) == "percussion"
    assert all(group_of(role, name) for role in ROLES)
