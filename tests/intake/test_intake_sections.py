# SPDX-License-Identifier: Apache-2.0
"""Grid and sections of synthesised songs whose tempo and entries are known by construction."""

from __future__ import annotations

import functools

import numpy as np
import pytest

from intake_sounds import RATE_HZ, hits, mono, tone
from mixwright.intake.grid import Grid, find_grid
from mixwright.intake.likeness import Trace
from mixwright.intake.listening import listen
from mixwright.intake.sections import find_sections, marked_sections
from mixwright.model.audio import AudioInfo, Mark


def trace(x: np.ndarray) -> Trace:
    return Trace(listen(mono(x), RATE_HZ))


@functools.cache
def made(bpm: float = 120.0, offset_s: float = 0.0) -> tuple[dict[str, Trace], float]:
    """The song of the plan, made once."""
    return song(PLAN, bpm, offset_s=offset_s)


def song(plan: dict[str, str], bpm: float, bars_each: int = 4, offset_s: float = 0.0) -> tuple[dict[str, Trace], float]:
    """A song of parts of four bars: for every layer, "x" where it plays. Returns its traces and its length."""
    beat_s = 60 / bpm
    bar_s = 4 * beat_s
    parts = len(next(iter(plan.values())))
    duration_s = offset_s + parts * bars_each * bar_s
    found = {}
    for name, pattern in plan.items():
        out = np.zeros(round(duration_s * RATE_HZ) + RATE_HZ)
        for part, sign in enumerate(pattern):
            if sign != "x":
                continue
            start = round((offset_s + part * bars_each * bar_s) * RATE_HZ)
            length_s = bars_each * bar_s
            if name == "kick":
                x = hits("kick", np.arange(0, length_s - 0.01, 2 * beat_s), length_s)
            elif name == "snare":
                x = hits("snare", np.arange(beat_s, length_s - 0.01, 2 * beat_s), length_s)
            elif name == "hats":
                x = hits("hats", np.arange(0, length_s - 0.01, beat_s / 2), length_s)
            elif name == "bass":
                x = tone([(41, beat_s), (41, beat_s), (55, 2 * beat_s)] * bars_each, harmonics=4, decay=1)
            elif name == "lead":
                x = tone([(220, beat_s), (262, 1.5 * beat_s), (247, 1.5 * beat_s)] * bars_each, vibrato=0.4)
            else:
                x = tone([({"pad": 220, "keys": 330, "arp": 523}[name], bar_s)] * bars_each, decay=0.1)
            n = min(len(x), len(out) - start)
            out[start : start + n] += x[:n]
        found[name] = trace(out[: round(duration_s * RATE_HZ)])
    return found, duration_s


PLAN = {
    "kick": ".xx.x.",
    "snare": ".xx.x.",
    "hats": "..x.x.",
    "bass": ".xx.x.",
    "pad": "xxxxxx",
    "keys": "..x.x.",
    "arp": "..x.x.",
    "lead": ".xxxx.",
}


@pytest.mark.parametrize(("bpm", "offset_s"), [(120.0, 0.0), (144.6, 0.33), (131.0, 0.7)])
def test_tempo_first_bar_and_boundaries(bpm, offset_s):
    layers, duration_s = made(bpm, offset_s)
    bar_s = 240 / bpm
    grid = find_grid(list(layers.values()), [name in ("kick", "snare", "hats") for name in layers])
    # Half and double tempo are a known ambiguity of beat tracking; these patterns have a backbeat, which tells them.
    assert grid.tempo_bpm == pytest.approx(bpm, rel=0.002)
    assert (grid.first_s - offset_s + bar_s / 2) % bar_s - bar_s / 2 == pytest.approx(0.0, abs=0.03)
    sections = find_sections([[layer] for layer in layers.values()], grid, duration_s, list(layers).index("lead"))
    bounds = [section.start_s for section in sections] + [sections[-1].end_s]
    expected = [0.0, *(offset_s + 4 * part * bar_s for part in range(1, 6)), duration_s]
    assert len(bounds) == len(expected)
    assert np.max(np.abs(np.array(bounds) - expected)) < bar_s
    assert np.max(np.abs(np.array(bounds) - expected)) < 0.1
    assert [section.name for section in sections] == ["intro", "verse-1", "chorus-1", "verse-2", "chorus-2", "outro"]


def test_parts_are_lettered_without_a_lead():
    layers, duration_s = made()
    layers = {name: layers[name] for name in ("kick", "hats", "bass", "pad", "arp")}
    grid = find_grid(list(layers.values()), [True, True, False, False, False], 120.0)
    sections = find_sections([[layer] for layer in layers.values()], grid, duration_s, None)
    names = [section.name for section in sections]
    assert names == ["intro", "part-a-1", "part-b-1", "part-c-1", "part-b-2", "outro"]


def test_a_given_tempo_is_kept():
    layers, _ = made()
    grid = find_grid(list(layers.values()), [False] * len(layers), 60.0)
    assert (grid.tempo_bpm, grid.step_s) == (60.0, 4.0)


def test_without_a_pulse_sections_fall_on_whole_seconds():
    rng = np.random.default_rng(11)
    long = [(0, 1e-3)] + [(hz, s) for hz, s in zip(rng.uniform(100, 400, 14), rng.uniform(1.2, 4.5, 14), strict=True)]
    drone = tone(long, decay=0.5)
    duration_s = len(drone) / RATE_HZ
    other = drone * (np.arange(len(drone)) > len(drone) / 2)
    late = tone([(0, duration_s / 2), (300, duration_s / 2)])
    layers = [trace(drone), trace(other), trace(late[: len(drone)])]
    grid = find_grid(layers, [False] * 3)
    assert grid == Grid(None, 0.0, 1.0)
    sections = find_sections([[layer] for layer in layers], grid, duration_s, None)
    assert len(sections) == 2
    assert sections[1].start_s == round(sections[1].start_s)
    assert sections[1].start_s == pytest.approx(duration_s / 2, abs=1.0)


def test_members_of_a_source_count_once_and_short_songs_are_one_section():
    layers, duration_s = song({"kick": ".x", "pad": "xx"}, 120.0)
    pair = [layers["kick"], layers["kick"]]
    sections = find_sections([pair, [layers["pad"]]], Grid(120.0, 0.0, 2.0), duration_s, None)
    assert [section.start_s for section in sections] == [0.0, 8.0]
    short = find_sections([[layers["pad"]]], Grid(120.0, 0.0, 2.0), 3.0, None)
    assert [(s.name, s.start_s, s.end_s) for s in short] == [("part-a-1", 0.0, 3.0)]
    assert find_sections([], Grid(None, 0.0, 1.0), 0.0, None) == []


def marked(*marks: tuple[float, str], rate_hz: int = 48000) -> AudioInfo:
    said = tuple(Mark(frame=round(at_s * rate_hz), label=label) for at_s, label in marks)
    return AudioInfo(container="WAV", encoding="pcm24", sample_rate_hz=rate_hz, channels=2, frames=0, marks=said)


def test_marks_that_are_called_like_parts_of_a_song_are_its_sections():
    info = marked(
        (0.5, "Intro"), (8.0, "VERSE 1"), (9.0, "pop here"), (20.0, "Chorus"), (30.0, "Chorus"), (99.0, "Outro")
    )
    found = marked_sections(info, 40.0)
    assert [(section.name, section.start_s, section.end_s) for section in found] == [
        ("intro", 0.0, 8.0),
        ("verse-1", 8.0, 20.0),
        ("chorus", 20.0, 30.0),
        ("chorus-2", 30.0, 40.0),
    ]
    assert [section.name for section in marked_sections(marked((4.0, "Verse"), (8.0, "Hook")), 40.0)] == [
        "start",
        "verse",
        "hook",
    ]


@pytest.mark.parametrize("labels", [("Verse",), ("take 3", "good one"), ("breakfast", "solomon"), ()])
def test_other_marks_are_of_the_session(labels):
    assert marked_sections(marked(*((5.0 * i, label) for i, label in enumerate(labels))), 40.0) == []


def test_of_several_marks_at_one_place_the_first_counts():
    found = marked_sections(marked((0.0, "Verse"), (0.0, "Chorus"), (8.0, "Bridge")), 40.0)
    assert [section.name for section in found] == ["verse", "bridge"]
