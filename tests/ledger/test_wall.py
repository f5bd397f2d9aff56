# SPDX-License-Identifier: Apache-2.0
"""Holes of the wall: cut into noise, so that place, time and depth are known."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from motion_sounds import RATE_HZ, heard_as_is

from mixwright.hearing.heard import ALONE
from mixwright.ledger.wall import STEP_S, excitation_power, holes, levels_db
from mixwright.model.arrangement import WallHole
from mixwright.model.song import Section

SECTIONS = tuple(Section(name=name, start_s=6.0 * k, end_s=6.0 * k + 6.0) for k, name in enumerate("abc"))
FRAMES = 18 * RATE_HZ


def pink(seed: int, low_hz: float = 40.0, high_hz: float = 12_000.0) -> np.ndarray:
    """Return pink noise between two frequencies."""
    rng = np.random.default_rng(seed)
    hz = np.maximum(np.fft.rfftfreq(FRAMES, 1.0 / RATE_HZ), 1.0)
    shape = np.where((hz >= low_hz) & (hz < high_hz), hz**-0.5, 0.0)
    waves = np.fft.irfft(shape * np.exp(2j * np.pi * rng.random(len(hz))), FRAMES)
    return 0.05 * waves / float(np.sqrt(np.mean(waves**2)))


def lowered(sound: np.ndarray, db: float, start_s: float = 6.0, end_s: float = 12.0) -> np.ndarray:
    gain = np.ones(FRAMES)
    gain[round(start_s * RATE_HZ) : round(end_s * RATE_HZ)] = 10.0 ** (-db / 20.0)
    return sound * gain


#: A wall of three layers of noise end to end; the middle one is that which goes.
EDGES = (40.0, 400.0, 800.0, 12_000.0)


def power_of(sounds: dict[str, np.ndarray]) -> list[np.ndarray]:
    return [excitation_power(one.bands[ALONE]) for one in heard_as_is(sounds).values()]


def wall(db: float, **when: float) -> list[np.ndarray]:
    whole = pink(1)
    spectrum = np.fft.rfft(whole)
    hz = np.fft.rfftfreq(FRAMES, 1.0 / RATE_HZ)
    parts = [
        np.fft.irfft(np.where((hz >= low) & (hz < high), spectrum, 0.0), FRAMES)
        for low, high in itertools.pairwise(EDGES)
    ]
    parts[1] = lowered(parts[1], db, **when)
    return power_of({str(k): one for k, one in enumerate(parts)})


def test_a_hole_is_told_where_it_is() -> None:
    (hole,) = holes(wall(9.0), SECTIONS)
    assert (hole.section, hole.beside, hole.start_s, hole.end_s) == ("b", ("a", "c"), 6.0, 12.0)
    shared = min(hole.high_hz, 800.0) - max(hole.low_hz, 400.0)
    assert shared / (max(hole.high_hz, 800.0) - min(hole.low_hz, 400.0)) >= 0.6
    # What lies around fills the edges of the hole: it is heard a little less deep than it was cut.
    assert 6.5 <= hole.depth_db <= 9.5


def test_a_hole_in_part_of_a_section_is_told_with_its_time() -> None:
    (hole,) = holes(wall(15.0, start_s=7.0, end_s=10.5), SECTIONS)
    assert hole.start_s == pytest.approx(7.0, abs=STEP_S)
    assert hole.end_s == pytest.approx(10.5, abs=STEP_S)


@pytest.mark.parametrize(
    ("db", "start_s", "end_s"),
    [(3.0, 6.0, 12.0), (15.0, 8.0, 8.8), (15.0, 0.0, 6.0), (15.0, 12.0, 18.0), (0.0, 6.0, 12.0)],
    ids=["shallow", "short", "in the first section", "in the last section", "none"],
)
def test_what_is_no_hole(db: float, start_s: float, end_s: float) -> None:
    assert not holes(wall(db, start_s=start_s, end_s=end_s), SECTIONS)


def test_what_one_of_both_neighbours_lacks_too_is_no_hole() -> None:
    assert not holes(wall(15.0, start_s=6.0, end_s=18.0), SECTIONS)


def test_a_section_that_is_thinner_as_a_whole_has_no_hole() -> None:
    assert not holes(power_of({"x": lowered(pink(2), 12.0)}), SECTIONS)


def test_silence_in_the_middle_is_a_stop_and_no_hole() -> None:
    assert not holes(power_of({"x": lowered(pink(2), 120.0)}), SECTIONS)


def test_the_levels_of_layers_add_up_as_powers_do() -> None:
    # Two that are alike and unrelated are 3 dB above one.
    one, two = pink(3), pink(4)
    alone = levels_db(power_of({"x": one}))
    both = levels_db(power_of({"x": one, "y": two}))
    difference = np.median(both - alone, axis=0)[2:22]
    assert difference == pytest.approx(3.0, abs=0.6)


def test_a_level_falls_by_as_much_as_the_sound() -> None:
    loud, quiet = (levels_db(power_of({"x": 10.0 ** (-db / 20.0) * pink(5)})) for db in (0.0, 10.0))
    assert np.median(loud - quiet, axis=0)[4:17] == pytest.approx(10.0, abs=1.0)


def test_nothing_lies_beside_a_song_of_two_sections() -> None:
    layers = wall(12.0)
    assert not holes(layers, SECTIONS[:2])
    assert not holes([], SECTIONS)
    assert isinstance(holes(layers, SECTIONS)[0], WallHole)
