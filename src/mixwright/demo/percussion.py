# SPDX-License-Identifier: Apache-2.0
"""Percussion that is shaken: each returns its layer of a piece, (frames, 1)."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from mixwright.demo.playing import play
from mixwright.demo.score import Piece
from mixwright.demo.signals import RATE_HZ, bell, decay, faded, filtered, generator, high_pass, low_pass, noise, seconds


@lru_cache(maxsize=16)
def _push(take: int, mark: str) -> np.ndarray:
    """Return one push of a shaker: the beads gather, then hit the wall; duller on the way back, `o`."""
    frames = round(0.09 * RATE_HZ)
    grains = noise(f"shaker {take}", frames) * (1.0 + 0.8 * np.sin(2.0 * np.pi * 190.0 * seconds(frames)))
    shape = np.minimum(seconds(frames) / 0.028, 1.0) ** 2 * np.exp(-np.maximum(seconds(frames) - 0.028, 0.0) / 0.018)
    dull_hz = 9000.0 if mark == "o" else 12000.0
    return faded(filtered(grains, high_pass(3800.0, 2), bell(6500.0, 5.0), low_pass(dull_hz)) * shape, 0.004, 0.02)


@lru_cache(maxsize=16)
def _jingles(take: int, mark: str) -> np.ndarray:
    """Return one stroke of a tambourine: eight pairs of small plates, each with its own modes, and the hand."""
    frames = round(0.30 * RATE_HZ)
    time_s = seconds(frames)
    chance = generator(f"jingles {take}")
    centres = chance.uniform(4200.0, 11500.0, 16)
    late_s = chance.uniform(0.0, 0.012, 16)
    sound = np.zeros(frames)
    for hz, start_s in zip(centres, late_s, strict=True):
        ring_s = np.maximum(time_s - start_s, 0.0)
        sound += np.sin(2.0 * np.pi * hz * ring_s) * np.exp(ring_s / -0.05) * (time_s >= start_s)
    hand = filtered(noise(f"hand {take}", frames), high_pass(500.0), low_pass(2500.0)) * decay(frames, 0.01)
    plates = filtered(noise(f"plates {take}", frames), high_pass(5000.0, 2)) * decay(frames, 0.035)
    body = 0.5 * hand if mark == "o" else 1.2 * hand
    return faded(filtered(sound + 1.6 * plates + body, low_pass(13000.0)), 0.0008, 0.06)


def shaker(piece: Piece) -> np.ndarray:
    """Return the shaker."""
    result = np.zeros(piece.frames)
    play(result, piece, "shaker", _push)
    return result[:, np.newaxis]


def tambourine(piece: Piece) -> np.ndarray:
    """Return the tambourine."""
    result = np.zeros(piece.frames)
    play(result, piece, "tambourine", _jingles)
    return result[:, np.newaxis]
