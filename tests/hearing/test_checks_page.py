# SPDX-License-Identifier: Apache-2.0
"""The committed page of check values says what the code gives now."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from reference.ear_checks import HEAD, SECTIONS, page, section
from reference.line_sounds import half_unit

PAGE = Path(__file__).parents[2] / "docs" / "ear-checks.md"
#: What takes well under a second.
QUICK = ("Tone of 1 kHz", "Specific loudness, in quiet and in noise", "Speech intelligibility index")
NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?")


def assert_current(committed: str, made: str) -> None:
    """The same words, and the same numbers but for one unit of the last digit, which rounding may make elsewhere."""
    assert NUMBER.split(committed) == NUMBER.split(made)
    for old, new in zip(NUMBER.findall(committed), NUMBER.findall(made), strict=True):
        assert abs(float(old) - float(new)) <= 2.0002 * max(half_unit(old), half_unit(new)), (old, new)


def committed_sections() -> dict[str, str]:
    parts = re.split(r"^(?=## )", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert parts[0].strip() == HEAD.strip()
    return {part.partition("\n")[0].removeprefix("## "): part for part in parts[1:]}


def test_every_section_is_there() -> None:
    assert list(committed_sections()) == list(SECTIONS)


@pytest.mark.parametrize("title", QUICK)
def test_quick_sections_are_current(title: str) -> None:
    assert_current(committed_sections()[title].strip(), section(title).strip())


@pytest.mark.slow
def test_the_page_is_current() -> None:
    assert_current(PAGE.read_text(encoding="utf-8"), page())


def test_a_stale_page_is_noticed() -> None:
    assert_current("given 1.460 / 1.46", "given 1.461 / 1.46")
    for stale in ("given 1.462 / 1.46", "given 1.461 / 1.47 x", "meant 1.460 / 1.46"):
        with pytest.raises(AssertionError):
            assert_current("given 1.460 / 1.46", stale)
