# SPDX-License-Identifier: Apache-2.0
"""Sides of a pair at the end of names: common practice, no source."""

from __future__ import annotations

import pytest

from mixwright.model.sides import split_side


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("OH L", ("oh", "l")),
        ("OH_R", ("oh", "r")),
        ("GtrL", ("gtr", "l")),
        ("Room2R", ("room2", "r")),
        ("Guitar Left ", ("guitar", "l")),
        ("guitarright", ("guitar", "r")),
        ("Pad-Lft", ("pad", "l")),
        ("Pad RGT", ("pad", "r")),
        ("Keys lt", ("keys", "l")),
        ("Vocal", None),
        ("Tambour", None),
        ("VOCAL", None),
        ("Salt", None),
        ("L", None),
        ("Left", None),
        ("", None),
    ],
)
def test_side_at_the_end(name: str, expected: tuple[str, str] | None) -> None:
    assert split_side(name) == expected
