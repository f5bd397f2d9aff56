# SPDX-License-Identifier: Apache-2.0
"""What parts do: checked on sounds whose envelope is known by formula, and on the score of the demo song."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from motion_sounds import SECONDS, T, chord, heard, heard_as_is, noise, notes, struck

from mixwright.demo.layers import LAYERS, made
from mixwright.demo.pieces import SONG
from mixwright.demo.score import Piece
from mixwright.hearing.heard import CELL_S, RISE_CELLS, Heard
from mixwright.ledger.motion import envelope, modulation, moved
from mixwright.model.arrangement import LayerMotion
from mixwright.model.song import Section

MIDDLE = (Section(name="middle", start_s=0.5, end_s=SECONDS - 0.5),)
PADS = chord(220.0, 277.0, 330.0)
PARTS = {
    "pad": PADS,
    "chords": notes(220.0, 2.0, 0.1),
    "sixteenths": struck(PADS, 0.125, 0.05),
    "blurred": struck(PADS, 0.125, 0.4),
    "tremolo": PADS * (0.5 - 0.5 * np.cos(2 * np.pi * 5 * T)),
    "half tremolo": PADS * (0.75 - 0.25 * np.cos(2 * np.pi * 5 * T)),
    "snare": struck(noise(1), 1.0, 0.06),
    "hats": struck(noise(2), 0.25, 0.03),
    "kick": struck(np.sin(2 * np.pi * 55 * T), 0.5, 0.1),
    "swell": PADS * np.sin(np.pi * (T % 4.0) / 4.0) ** 2,
    "electric piano": struck(PADS, 0.5, 0.6),
}


@pytest.fixture(scope="module")
def parts() -> dict[str, LayerMotion]:
    return {id_: moved(one, id_, MIDDLE)[0].motion for id_, one in heard(PARTS).items()}


@pytest.mark.parametrize(
    ("part", "word"),
    [
        ("pad", "sustains"),
        ("chords", "sustains"),
        ("blurred", "sustains"),
        ("half tremolo", "sustains"),
        ("swell", "sustains"),
        ("electric piano", "between"),
        ("tremolo", "pulses"),
        ("sixteenths", "pulses"),
        ("snare", "pulses"),
        ("hats", "pulses"),
        ("kick", "pulses"),
    ],
)
def test_parts_are_called_what_they_do(parts: dict[str, LayerMotion], part: str, word: str) -> None:
    assert parts[part].motion == word


@pytest.mark.parametrize(
    ("part", "per_s"),
    [("sixteenths", 8.0), ("snare", 1.0), ("hats", 4.0), ("kick", 2.0), ("electric piano", 2.0), ("tremolo", 5.0)],
)
def test_strikes_are_counted(parts: dict[str, LayerMotion], part: str, per_s: float) -> None:
    assert parts[part].onsets_per_s == pytest.approx(per_s, rel=0.05)


@pytest.mark.parametrize(("part", "depth"), [("pad", 0.0), ("tremolo", 1.0), ("half tremolo", 1.0 / 3.0)])
def test_a_tremolo_has_its_own_modulation(parts: dict[str, LayerMotion], part: str, depth: float) -> None:
    # By formula: 1 - mean / most of 1 + m sin is m / (1 + m).
    assert parts[part].modulation == pytest.approx(depth / (1.0 + depth), abs=0.05)


@pytest.mark.parametrize(
    ("part", "every_s", "lasts_s"), [("snare", 1.0, 0.06), ("hats", 0.25, 0.03), ("kick", 0.5, 0.1)]
)
def test_strokes_have_their_own_modulation(
    parts: dict[str, LayerMotion], part: str, every_s: float, lasts_s: float
) -> None:
    # By formula: 1 - d / T (1 - exp(-T / d)); the ear blurs what is gone in 30 ms.
    expected = 1.0 - lasts_s / every_s * (1.0 - np.exp(-every_s / lasts_s))
    assert parts[part].modulation == pytest.approx(expected, abs=0.12)


def test_a_layer_that_is_not_there_is_silent() -> None:
    late = np.where(T > 4.0, PADS, 0.0)
    sections = (Section(name="a", start_s=0.0, end_s=3.9), Section(name="b", start_s=4.0, end_s=8.0))
    first, second = (one.motion for one in moved(heard({"x": late})["x"], "x", sections))
    assert (first.motion, first.modulation, first.onsets_per_s) == ("silent", None, None)
    assert second.motion == "sustains"


def test_a_layer_that_rings_on_into_a_section_is_silent_there() -> None:
    rings = PADS * np.exp(-np.maximum(T - 4.0, 0.0) / 0.15)
    sections = (Section(name="a", start_s=0.0, end_s=4.0), Section(name="b", start_s=4.0, end_s=8.0))
    assert [one.motion.motion for one in moved(heard({"x": rings})["x"], "x", sections)] == ["sustains", "silent"]


def test_a_part_that_holds_low_and_strikes_high_is_told_apart() -> None:
    both = 0.3 * chord(80.0, 120.0) + struck(np.diff(noise(4), 2, append=[0.0, 0.0]), 0.25, 0.04)
    found = moved(heard({"x": both})["x"], "x", MIDDLE)[0].motion
    assert [one.motion for one in found.ranges][:: len(found.ranges) - 1] == ["sustains", "pulses"]
    assert found.ranges[0].high_hz <= found.ranges[-1].low_hz


def test_a_new_note_counts_though_it_is_no_louder() -> None:
    steps = sum(np.where((T // 0.5).astype(int) % 2 == k, chord(hz), 0.0) for k, hz in enumerate((110.0, 880.0)))
    found = moved(heard({"x": steps})["x"], "x", MIDDLE)[0].motion
    assert found.onsets_per_s == pytest.approx(2.0, rel=0.1)


@given(st.floats(0.01, 100.0), st.integers(1, 400))
def test_a_steady_loudness_has_no_modulation_at_any_level(loudness: float, cells: int) -> None:
    assert modulation(envelope(np.full(cells, loudness)), CELL_S) == pytest.approx(0.0, abs=1e-9)


@given(st.lists(st.floats(0.0, 50.0), min_size=1, max_size=300))
def test_modulation_lies_between_none_and_all(loudness: list[float]) -> None:
    assert -1e-9 <= modulation(np.asarray(loudness), CELL_S) <= 1.0


def test_motion_does_not_depend_on_level() -> None:
    quiet, loud = (moved(heard({"x": PARTS["hats"]}, db)["x"], "x", MIDDLE)[0].motion for db in (-45.0, -15.0))
    assert quiet.motion == loud.motion
    assert quiet.onsets_per_s == loud.onsets_per_s
    assert quiet.modulation == pytest.approx(loud.modulation, abs=0.1)


def test_a_rise_is_that_of_every_band_by_itself() -> None:
    low, high = chord(80.0), chord(2000.0)
    swapped = heard_as_is({"x": 0.05 * np.where(T < 4.0, low, high)})["x"]
    at = round(4.0 / CELL_S)
    later = swapped.rise[at - 2 : at + 2 * RISE_CELLS].max()
    assert later > 0.3 * swapped.total[0, at + 20]
    assert swapped.rise[at - 60 : at - 10].max() < 0.1 * later


#: What each says by its name that it does, and so does the score: held for a bar, struck and gone, neither.
SCORED = {
    "Pad Warm.wav": "sustains",
    "pad-glass_final FINAL.wav": "sustains",
    "03 Sn Top.wav": "pulses",
    "shaker_take3.wav": "pulses",
    "Audio 17_01.wav": "pulses",
    "Keys EP 44k1.wav": "between",
    "LeadVox comp v4.wav": "between",
}


def test_the_demo_song_does_what_its_score_says() -> None:
    chorus = Piece(SONG.title, SONG.artist, SONG.key, SONG.tempo_bpm, (SONG.parts[2],))
    start_s, end_s = chorus.section_s(0)
    section = (Section(name="chorus", start_s=start_s, end_s=end_s - chorus.bar_frames / 48_000),)
    sounds = {layer.file: made(layer, chorus).mean(axis=1) * 0.1 for layer in LAYERS if layer.file in SCORED}
    found = {file: moved(one, file, section)[0].motion for file, one in heard_as_is(sounds).items()}
    assert {file: one.motion for file, one in found.items()} == SCORED
    # A sixteenth of 128 beats a minute is 117 ms.
    assert found["shaker_take3.wav"].onsets_per_s == pytest.approx(128 * 4 / 60, rel=0.05)


def test_nothing_is_asked_of_a_layer_that_never_sounds() -> None:
    nothing = Heard(total=np.zeros((3, 500)), bands=np.zeros((3, 125, 24)), rise=np.zeros(500))
    assert moved(nothing, "x", MIDDLE)[0].motion.motion == "silent"
