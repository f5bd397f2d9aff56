# SPDX-License-Identifier: Apache-2.0
"""What layers share, which are twins, and what a section lacks: on invented parts whose overlap is known."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from motion_sounds import SECONDS, T, chord, heard, heard_as_is, noise, struck

from mixwright.hearing.bands import BANDS
from mixwright.ledger.arrangement import arrangement_of, covered_everywhere, onsets_together, shared_places
from mixwright.model.arrangement import Arrangement
from mixwright.model.song import Section

WHOLE = (Section(name="whole", start_s=0.0, end_s=SECONDS),)
THREE = tuple(Section(name=name, start_s=8.0 / 3 * k, end_s=8.0 / 3 * (k + 1)) for k, name in enumerate("abc"))


@given(st.lists(st.floats(0.0, 1e6), min_size=2 * BANDS, max_size=2 * BANDS), st.floats(1e-3, 1e3))
def test_a_layer_shares_all_with_itself_at_any_level(values: list[float], gain: float) -> None:
    power = np.asarray(values).reshape(2, BANDS)
    if power.sum() > 1e-3:
        share = shared_places([power, gain * power])
        assert share[0, 1].sum() == pytest.approx(1.0, abs=1e-5)
        assert np.array_equal(share[0, 1], share[1, 0])


def test_layers_share_half_where_half_of_each_lies_together() -> None:
    # By hand: of four equal places two are common.
    a, b = np.zeros((4, BANDS)), np.zeros((4, BANDS))
    a[:2, 3:5] = 1.0
    b[:2, 4:6] = 5.0
    share = shared_places([a, b])[0, 1]
    assert share.sum() == pytest.approx(0.5)
    assert share[4] == pytest.approx(0.5)


def test_layers_that_never_sound_together_share_nothing() -> None:
    a, b = np.zeros((4, BANDS)), np.zeros((4, BANDS))
    a[:2], b[2:] = 1.0, 1.0
    assert shared_places([a, b]).sum() == 0.0


def test_strikes_go_together_within_what_the_ear_hears_as_one() -> None:
    four = np.array([10, 20, 30, 40])
    assert onsets_together(four, four + 2) == 1.0
    assert onsets_together(four, four + 3) == 0.0
    assert onsets_together(four, np.arange(0, 100, 20)) == 0.5
    assert onsets_together(four[:3], four) is None


def test_parts_in_one_range_at_one_time_are_told_with_it() -> None:
    layers = heard(
        {
            "guitar": struck(chord(220.0, 277.0), 0.5, 0.4),
            "keys": struck(chord(220.0, 330.0), 0.5, 0.4, first_s=0.11),
            "answer": struck(chord(220.0, 277.0), 0.5, 0.05, first_s=0.35),
            "shaker": struck(np.diff(noise(), 2, append=[0.0, 0.0]), 0.125, 0.03),
        }
    )
    found = arrangement_of(layers, WHOLE)
    (shared,) = found.shared
    assert shared.layers == ("guitar", "keys")
    assert shared.onsets_together == 1.0
    assert 100.0 < shared.low_hz < 400.0 < shared.high_hz < 4000.0
    assert [one.motion for one in found.motion] == ["between", "between", "pulses", "pulses"]


def test_twins_are_found_at_any_level_and_others_are_not() -> None:
    strum, rng = struck(chord(196.0, 247.0), 0.5, 0.4), np.random.default_rng(0)
    layers = heard(
        {
            "synth": strum + 0.002 * rng.standard_normal(len(T)),
            "the same again": 0.3 * strum,
            "in another octave": struck(chord(784.0, 988.0), 0.5, 0.4),
        }
    )
    (twins,) = arrangement_of(layers, WHOLE).twins
    assert twins.layers == ("synth", "the same again")
    assert twins.share > 0.9


def test_layers_that_part_in_one_section_are_no_twins() -> None:
    strum = struck(chord(196.0, 247.0), 0.5, 0.4)
    layers = heard({"synth": strum, "the same but for the end": strum * (T < 5.3)})
    assert not arrangement_of(layers, THREE).twins
    assert len(arrangement_of(layers, THREE[:2]).twins) == 1


def test_a_return_is_no_twin_of_what_feeds_it() -> None:
    strum = struck(chord(196.0, 247.0), 0.5, 0.4)
    layers = heard({"synth": strum, "send hall": 0.5 * strum})
    found = arrangement_of(layers, WHOLE, returns=["send hall"])
    assert (found.twins, found.shared) == ((), ())
    assert {one.layer for one in found.motion} == set(layers)


def test_a_section_without_what_both_beside_it_have_is_asked_about() -> None:
    outside = np.where((T < 8.0 / 3) | (T >= 16.0 / 3), 1.0, 0.0)
    layers = heard(
        {
            "pad": chord(220.0, 277.0, 330.0) * outside,
            "kick": struck(np.sin(2 * np.pi * 50 * T), 0.5, 0.1) * outside,
            "hats": struck(np.diff(noise(), 2, append=[0.0, 0.0]), 0.25, 0.03) * outside,
            "tune": struck(np.sin(2 * np.pi * 440 * T), 1.0, 1.0),
        }
    )
    found = {one.job: one for one in arrangement_of(layers, THREE).missing}
    assert set(found) == {"held chord", "pulse", "high", "low"}
    assert {one.section for one in found.values()} == {"b"}
    assert {one.beside for one in found.values()} == {("a", "c")}
    assert found["held chord"].done_by == ("pad",)
    assert found["pulse"].done_by == ("kick", "hats")
    assert found["high"].done_by == ("hats",)
    assert found["low"].done_by == ("kick",)


def test_what_nobody_hears_beside_a_section_is_not_missed_in_it() -> None:
    # Both have the same hats: in one song they are heard, in the other hardly above the threshold of hearing.
    outside = np.where((T < 8.0 / 3) | (T >= 16.0 / 3), 1.0, 0.0)
    hats = struck(np.diff(noise(), 2, append=[0.0, 0.0]), 0.25, 0.03) * outside
    tune = 0.05 * struck(np.sin(2 * np.pi * 440 * T), 1.0, 1.0)
    audible, faint = (
        {one.job for one in arrangement_of(heard_as_is({"tune": tune, "hats": gain * hats}), THREE).missing}
        for gain in (0.1, 1e-3)
    )
    assert "high" in audible
    assert "high" not in faint


def test_what_is_there_all_the_time_is_not_missing() -> None:
    layers = heard({"pad": chord(220.0, 277.0, 330.0), "hats": struck(noise(), 0.25, 0.03)})
    assert not arrangement_of(layers, THREE).missing


def test_a_layer_under_another_is_covered_everywhere() -> None:
    layers = heard_as_is({"loud": 0.1 * noise(1), "under": 0.001 * noise(2), "silent": 0.0 * noise(3)})
    told = {id_: covered_everywhere(one) for id_, one in layers.items()}
    assert told == {"loud": False, "under": True, "silent": False}
    assert not covered_everywhere(heard({"x": chord(220.0)})["x"])


def test_a_song_without_sections_has_no_arrangement() -> None:
    assert arrangement_of(heard({"x": chord(220.0)}), ()) == Arrangement()


def test_sections_that_are_short_or_lie_after_the_end_have_nothing() -> None:
    edges = (0.0, 0.02, 4.0, SECONDS, SECONDS + 5.0, SECONDS + 6.0)
    sections = tuple(Section(name=str(k), start_s=a, end_s=b) for k, (a, b) in enumerate(itertools.pairwise(edges)))
    found = arrangement_of(heard({"x": chord(220.0), "y": noise()}), sections)
    assert {one.section for one in found.motion if one.motion != "silent"} == {"1", "2"}
    assert not found.missing
