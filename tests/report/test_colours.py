# SPDX-License-Identifier: Apache-2.0
"""The pictures without colour: what is drawn side by side is told apart by lightness, whoever looks, and in grey.

How colours look to who lacks a kind of cone: Machado, Oliveira and Fernandes 2009, severity 1, matrices from memory, on
linear sRGB. Contrast of luminances: WCAG 2.2, 1.4.3 (words: 4.5) and 1.4.11 (shapes: 3). What is told by shape as well
(steps of the map grow higher, a diamond is no dot) may lie nearer: its least contrast is ours.
"""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.report.style import DARK, LIGHT

SEEN_BY = {
    "all cones": np.eye(3),
    "no long ones": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "no middle ones": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "no short ones": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
    "a grey print": ((0.2126, 0.7152, 0.0722),) * 3,
}
#: Relative luminance of linear sRGB: WCAG 2.2.
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
WORDS = [("ink", "paper"), ("soft", "paper"), ("accent", "paper"), ("ink", "faint"), ("ink", "span")]
SHAPES = [
    ("sounds", "paper"),  # strokes and bands of the arrangement, what is left of a layer
    ("sounds", "span"),  # what is left of a layer beside who takes most
    ("soft", "span"), ("soft", "faint"),  # outlines of who takes it
    ("accent", "span"),  # a diamond on an interval
    ("ink", "span"),  # a dot or a step on an interval
]  # fmt: skip
#: Higher, too, the more is left; by place what has a ground.
STEPS = [("kept-1", "kept-2"), ("kept-2", "kept-3"), ("kept-3", "kept-4"), ("kept-4", "sounds")]
GROUNDS = [("kept-1", "hair"), ("hair", "paper")]
LEAST = [(WORDS, 4.5), (SHAPES, 3.0), (STEPS, 1.3), (GROUNDS, 1.3)]


def luminance(colour: str, seen) -> float:
    levels = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0
    linear = np.where(levels <= 0.04045, levels / 12.92, ((levels + 0.055) / 1.055) ** 2.4)
    return float(np.clip(np.array(seen) @ linear, 0.0, 1.0) @ LUMINANCE)


def contrast(one: str, other: str, seen) -> float:
    low, high = sorted((luminance(one, seen), luminance(other, seen)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_by_its_definition():
    assert contrast("#000000", "#ffffff", np.eye(3)) == pytest.approx(21.0)
    # Greys stay what they are: rows of the matrices add up to 1.
    for seen in SEEN_BY.values():
        assert contrast("#777777", "#ffffff", seen) == pytest.approx(4.48, abs=0.01)  # WCAG's own example, 4.48:1


@pytest.mark.parametrize("seen", SEEN_BY)
@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_neighbours_are_told_apart(colours, seen):
    for pairs, least in LEAST:
        for one, other in pairs:
            assert contrast(colours[one], colours[other], SEEN_BY[seen]) >= least, (one, other)


@pytest.mark.parametrize("seen", SEEN_BY)
@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_more_is_stronger_in_the_song_map(colours, seen):
    steps = ["paper", "hair", "kept-1", "kept-2", "kept-3", "kept-4", "sounds"]
    levels = [luminance(colours[name], SEEN_BY[seen]) for name in steps]
    assert levels in (sorted(levels), sorted(levels, reverse=True))
