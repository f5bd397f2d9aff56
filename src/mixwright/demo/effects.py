# SPDX-License-Identifier: Apache-2.0
"""Effects that lead from one section to the next: each returns its layer of a piece, (frames, 2)."""

from __future__ import annotations

import numpy as np

from mixwright.demo.playing import add
from mixwright.demo.score import Piece
from mixwright.demo.signals import RATE_HZ, decay, faded, filtered, high_pass, low_pass, moving, noise, seconds


def riser(piece: Piece) -> np.ndarray:
    """Return noise that rises into a section over the bars before it."""
    result = np.zeros((piece.frames, 2))
    for hit in piece.hits("riser"):
        length_s = hit.frames / RATE_HZ

        def sweep(times_s: np.ndarray, hz: np.ndarray, length_s: float = length_s) -> np.ndarray:
            centre = 300.0 * 20.0 ** np.clip(times_s / length_s, 0.0, 1.0)
            return 1.0 / (1.0 + ((hz - centre) / (0.35 * centre)) ** 2)

        swell = np.clip(seconds(hit.frames) / length_s, 0.0, 1.0) ** 2
        for side in (0, 1):
            wind = moving(noise(f"riser {hit.bar} {side}", hit.frames), sweep) * swell
            add(result[:, side], hit.frame, faded(wind, 0.05, 0.03), hit.force)
    return result


def impact(piece: Piece) -> np.ndarray:
    """Return the boom with which a section arrives: a falling tone in the middle, dark noise to the sides."""
    result = np.zeros((piece.frames, 2))
    frames = round(2.2 * RATE_HZ)
    time_s = seconds(frames)
    drop = np.sin(2.0 * np.pi * np.cumsum(38.0 + 60.0 * np.exp(time_s / -0.09)) / RATE_HZ) * decay(frames, 0.45)
    for side in (0, 1):
        air = filtered(noise(f"boom {side}", frames), low_pass(900.0, 3), high_pass(35.0)) * decay(frames, 0.35)
        boom = faded(0.6 * drop + 0.5 * air, 0.002, 0.6)
        for hit in piece.hits("impact"):
            add(result[:, side], hit.frame, boom, hit.force)
    return result
