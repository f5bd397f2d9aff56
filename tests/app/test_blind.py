# SPDX-License-Identifier: Apache-2.0
"""Blind tests against scipy's exact binomial test, and as they are kept."""

from fractions import Fraction

import pytest
from scipy.stats import binom, binomtest

from mixwright.app.blind import at_least, blind_result, keep_blind, kept_blind
from mixwright.errors import SettingError
from mixwright.model.blind import BlindTest


def of_picks(picks, question="better", versions=("mix", "plan"), **more):
    return BlindTest(question=question, versions=versions, trials=len(picks), picks=tuple(picks), **more)


@pytest.mark.parametrize("many", [2, 3, 5])
@pytest.mark.parametrize("trials", [1, 12, 40])
def test_chance_is_exact(many, trials):
    for hits in range(trials + 1):
        expected = binom.sf(hits - 1, trials, 1.0 / many)
        assert float(at_least(hits, trials, Fraction(1, many))) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("hits", range(13))
def test_a_preference_among_two_is_the_two_sided_test(hits):
    picks = [0] * hits + [1] * (12 - hits)
    expected = binomtest(hits, 12, 0.5, alternative="two-sided").pvalue
    assert blind_result(of_picks(picks)).chance == pytest.approx(expected, rel=1e-9)


def test_what_is_told():
    ten = blind_result(of_picks([1] * 10 + [0] * 2))
    assert ten.counts == (2, 10)
    assert ten.told == (
        "Better in 12 trials: mix 2, plan 10. "
        "If all were alike, a split as uneven comes about in 3.9 of 100 tests: you prefer plan."
    )
    eight = blind_result(of_picks([1] * 8 + [0] * 4))
    assert eight.told.endswith("comes about in 39 of 100 tests: a preference is not shown.")
    found = blind_result(of_picks([0] * 12, "which"))
    assert found.told == (
        "mix was found in 12 of 12 trials. "
        "By guessing alone as many or more come about in fewer than 1 in 1000 tests: you hear which one it is."
    )
    # Who is always wrong has not found it.
    assert blind_result(of_picks([1] * 12, "which")).chance == 1.0


@pytest.mark.parametrize("given", [{"picks": [0, 2]}, {"picks": [0, 1], "named": 2}])
def test_a_version_that_is_not_there_is_refused(given):
    with pytest.raises(SettingError, match="not there"):
        blind_result(of_picks(**given))


def test_a_test_that_was_left_counts_for_nothing(tmp_path):
    with pytest.raises(SettingError, match="1 of 12 trials"):
        keep_blind(tmp_path, BlindTest(question="better", versions=("a", "b"), trials=12, picks=(0,)))
    assert kept_blind(tmp_path).tests == ()


def test_tests_are_kept_in_order(tmp_path):
    one, two = (keep_blind(tmp_path, of_picks([k] * 6, stretch="chorus")) for k in (0, 1))
    assert kept_blind(tmp_path).tests == (one, two)
