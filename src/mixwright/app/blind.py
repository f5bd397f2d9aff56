# SPDX-License-Identifier: Apache-2.0
"""Blind tests: what one tells, by the exact binomial distribution, and keeping it with the song."""

from __future__ import annotations

import threading
from fractions import Fraction
from math import comb
from pathlib import Path

from mixwright.errors import SettingError
from mixwright.io.kept import read_kept, write_kept
from mixwright.model.blind import BlindResult, BlindTest, BlindTests
from mixwright.report.figures import count

#: Less likely by chance than this is told as seldom. A convention (5 %), no more than that.
SELDOM = Fraction(1, 20)
_GUARD = threading.Lock()


def keep_blind(folder: Path, test: BlindTest) -> BlindResult:
    """Work out what a blind test tells, and keep it with the song, after those before it.

    Parameters
    ----------
    folder : Path
        The song folder.
    test : BlindTest

    Raises
    ------
    SettingError
        where trials are missing, or a version is not there
    StateError
        where the tests that were kept cannot be read
    """
    result = blind_result(test)
    with _GUARD:
        before = read_kept(folder, "blind", BlindTests) or BlindTests()
        write_kept(folder, "blind", BlindTests(tests=(*before.tests, result)))
    return result


def kept_blind(folder: Path) -> BlindTests:
    """Return the blind tests that were kept with a song.

    Raises
    ------
    StateError
        where they cannot be read
    """
    return read_kept(folder, "blind", BlindTests) or BlindTests()


def blind_result(test: BlindTest) -> BlindResult:
    """Return what a blind test tells.

    For ``which``: how likely as many or more right answers are where each is a guess. For ``better``: how likely it is
    that any version is chosen as often or more where all are alike, at most the sum over the versions (Bonferroni;
    for two versions that is the exact two-sided test).

    Raises
    ------
    SettingError
        where trials are missing, or a version is not there
    """
    many = len(test.versions)
    if len(test.picks) != test.trials:
        raise SettingError(
            f"{len(test.picks)} of {test.trials} trials are done", hint="a test counts once all of its trials are done"
        )
    if max(*test.picks, test.named, 0) >= many:
        raise SettingError("a version was chosen that is not there", hint=f"versions are counted from 0 to {many - 1}")
    counts = tuple(test.picks.count(k) for k in range(many))
    best = counts[test.named] if test.question == "which" else max(counts)
    tail = at_least(best, test.trials, Fraction(1, many))
    chance = tail if test.question == "which" else min(Fraction(1), many * tail)
    return BlindResult(test=test, counts=counts, chance=float(chance), told=_told(test, counts, chance))


def at_least(hits: int, trials: int, likely: Fraction) -> Fraction:
    """Return how likely so many hits or more are, each as likely (exact binomial distribution)."""
    return sum(
        (comb(trials, k) * likely**k * (1 - likely) ** (trials - k) for k in range(hits, trials + 1)), Fraction(0)
    )


def _told(test: BlindTest, counts: tuple[int, ...], chance: Fraction) -> str:
    percent = float(100 * chance)
    often = (
        "fewer than 1 in 1000"
        if percent < 0.1
        else f"{percent:.1f} of 100"
        if percent < 10
        else f"{percent:.0f} of 100"
    )
    if test.question == "which":
        told = f"{test.versions[test.named]} was found in {counts[test.named]} of {count(test.trials, 'trial')}."
        by_chance = f"By guessing alone as many or more come about in {often} tests"
        means = "you hear which one it is." if chance < SELDOM else "that you hear it is not shown."
    else:
        chosen = [f"{name} {number}" for name, number in zip(test.versions, counts, strict=True)]
        told = f"Better in {count(test.trials, 'trial')}: {', '.join(chosen)}."
        by_chance = f"If all were alike, a split as uneven comes about in {often} tests"
        most = [name for name, number in zip(test.versions, counts, strict=True) if number == max(counts)]
        means = f"you prefer {most[0]}." if chance < SELDOM else "a preference is not shown."
    return f"{told} {by_chance}: {means}"
