# SPDX-License-Identifier: Apache-2.0
"""Blind tests: versions compared without knowing which is which."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta

from mixwright.model.record import Record

#: Which of them is better, or which of them is the one that is named.
Question = Literal["better", "which"]


class BlindTest(Record, frozen=True, kw_only=True):
    """A test that was done to its end.

    `versions`: by name; `named`: the one that was to be found, by its place among them, for the question ``which``.
    `picks`: the place of the version that was chosen in each trial, `trials` of them, as was fixed before. `stretch`:
    what was heard, in words, from `start_s` to `end_s`.
    """

    question: Question
    versions: Annotated[tuple[Annotated[str, Meta(max_length=200)], ...], Meta(min_length=2, max_length=6)]
    named: Annotated[int, Meta(ge=0)] = 0
    trials: Annotated[int, Meta(ge=1, le=100)]
    picks: tuple[Annotated[int, Meta(ge=0)], ...]
    stretch: Annotated[str, Meta(max_length=200)] = ""
    start_s: float = 0.0
    end_s: float = 0.0


class BlindResult(Record, frozen=True, kw_only=True):
    """A test and what it tells: how often each version was chosen, how likely that is by chance, and that in words."""

    test: BlindTest
    counts: tuple[int, ...]
    chance: float
    told: str


class BlindTests(Record, frozen=True, kw_only=True):
    """The tests of a song, the last one last."""

    tests: tuple[BlindResult, ...] = ()
