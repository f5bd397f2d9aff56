# SPDX-License-Identifier: Apache-2.0
"""The benchmark of planted maskers, in short: that it plants what it says, and judges by what was planted."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import signal

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "benchmarks"))

from planted import GOAL, run
from planted_trials import CONTROLS, Bench, Named, Trial, drawn, iou, reason
from planting import KINDS, RATE_HZ, Masker, Mix, demo, of_layers

from mixwright.model.song import Section

SECTIONS = (Section(name="verse", start_s=0.0, end_s=3.0), Section(name="chorus", start_s=3.0, end_s=7.0))


def band(rng: np.random.Generator, low_hz: float, high_hz: float, gain: float) -> np.ndarray:
    """Noise in a band, swelling twice a second, by a filter of another library than the benchmark's own."""
    sos = signal.butter(4, (low_hz, high_hz), "bandpass", fs=RATE_HZ, output="sos")
    noise = signal.sosfilt(sos, rng.standard_normal((7 * RATE_HZ, 2)), axis=0)
    swell = 0.6 + 0.4 * np.sin(2.0 * np.pi * 2.0 * np.arange(len(noise)) / RATE_HZ)
    return (gain * swell[:, None] * noise).astype(np.float32)


@pytest.fixture(scope="module")
def bench() -> Bench:
    """Three layers that keep clear of each other but for what a boost can raise."""
    rng = np.random.default_rng(7)
    layers = {
        "voice": band(rng, 500.0, 3000.0, 0.2),
        "pad": band(rng, 150.0, 6000.0, 0.02),
        "hiss": band(rng, 5000.0, 9000.0, 0.03),
    }
    return Bench("three layers", of_layers(layers, {"voice": "lead", "pad": "bed", "hiss": "support"}, SECTIONS))


def power_db(mix: Mix, layer: str, trial: Trial, where: np.ndarray) -> float:
    """Power of a layer in the middle of the planted band by a Butterworth filter of scipy.signal."""
    low_hz, high_hz = trial.band_hz
    sos = signal.butter(6, (low_hz * 1.03, high_hz / 1.03), "bandpass", fs=RATE_HZ, output="sos")
    audio = signal.sosfiltfilt(sos, mix.layers[layer].astype(np.float64), axis=0)
    return 10.0 * float(np.log10(np.mean(np.sum(audio[where] ** 2, axis=1))))


@pytest.mark.parametrize("number", range(3))
def test_what_is_planted_has_the_level_that_is_said_and_lies_in_its_section(bench: Bench, number: int) -> None:
    trial, mix = drawn(bench, 3, number)
    assert trial.kind == KINDS[number]
    before, heard = bench.before(trial.section)
    cut = mix.cut(trial.section)
    active = np.repeat(heard.active(trial.victim), 768)[: cut.stop - cut.start]
    where = np.arange(cut.start, cut.start + len(active))[active]
    for masker in trial.maskers:
        over_db = power_db(mix, trial.victim, trial, where) - power_db(mix, masker.layer, trial, where)
        assert over_db == pytest.approx(masker.victim_over_db, abs=2.0)
        old = before.layers.get(masker.layer, np.zeros_like(mix.whole))
        changed = np.flatnonzero(np.any(mix.layers[masker.layer] != old, axis=1))
        assert cut.start <= changed[0]
        assert changed[-1] < cut.stop
    others = set(mix.layers) - {masker.layer for masker in trial.maskers}
    assert all(np.array_equal(mix.layers[id_], before.layers[id_]) for id_ in others)


def test_the_same_number_is_the_same_trial_and_another_level_moves_its_maskers_alone(bench: Bench) -> None:
    first, second, louder = drawn(bench, 3, 1)[0], drawn(bench, 3, 1)[0], drawn(bench, 3, 1, over_db=-5.0)[0]
    assert first == second
    moved = tuple(replace(one, victim_over_db=one.victim_over_db + 5.0) for one in first.maskers)
    assert replace(louder, maskers=moved) == replace(first, maskers=moved)


def test_a_masker_is_found_and_one_far_below_the_victim_is_not(bench: Bench) -> None:
    found = run(bench, 3, 1)
    assert found.failed == "", found
    assert run(bench, 3, 1, control="quiet").failed == ""


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        ((500.0, 1000.0), (500.0, 1000.0), 1.0),
        ((500.0, 1000.0), (500.0, 500.0 * 2.0**0.5), 0.5),  # half of an octave lies in it
        ((500.0, 1000.0), (1000.0, 2000.0), 0.0),
        ((500.0, 1000.0), (500.0 * 2.0**0.5, 1000.0 * 2.0**0.5), 1.0 / 3.0),
    ],
)
def test_bands_are_compared_in_octaves(one: tuple[float, float], other: tuple[float, float], expected: float) -> None:
    assert iou(one, other) == pytest.approx(expected, abs=1e-9)


def test_a_trial_fails_for_the_first_thing_that_is_named_wrongly() -> None:
    maskers = (Masker("noise", "one", -12.0), Masker("noise", "two", -8.0))
    trial = Trial(0, "noise", "voice", "chorus", (500.0, 1000.0), maskers)
    right = Named("voice", "chorus", (520.0, 1000.0), ("one", "two", "pad"))
    assert reason(trial, right) == ""
    assert reason(trial, None) == "nothing grew"
    assert reason(trial, replace(right, victim="hiss", section="verse")) == "victim"
    assert reason(trial, replace(right, section="verse")) == "section"
    assert reason(trial, replace(right, by=("two", "one"))) == "layer"
    assert reason(trial, replace(right, by=("one", "pad", "two"))) == "second layer"
    assert reason(trial, replace(right, band_hz=(200.0, 4000.0))) == "band"
    assert reason(trial, replace(right, band_hz=None)) == "band"


@pytest.mark.slow
def test_most_of_a_few_maskers_in_the_demo_song_are_found() -> None:
    """The whole table is made by the benchmark; a short part of it may miss one more than its goal."""
    song = Bench("demo", demo())
    found = [run(song, 1, number).failed == "" for number in range(9)]
    assert sum(found) >= np.floor(GOAL["demo"] * len(found)) - 1
    raised = [run(song, 1, number, control=control).failed != "" for number, control in enumerate(CONTROLS)]
    assert sum(raised) <= 1
