# SPDX-License-Identifier: Apache-2.0
"""Layers of the demo song that cover others on purpose."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.demo.score import Piece
from mixwright.demo.signals import RATE_HZ, bell, filtered


@dataclass(frozen=True)
class Clash:
    """A band in which a layer is raised in some parts, so that it covers others that live there.

    `masker` and `masked` are file names; the band reaches half of `octaves` to either side of `hz`.
    """

    masker: str
    masked: tuple[str, ...]
    parts: tuple[str, ...]
    hz: float
    octaves: float
    raised_db: float

    @property
    def band_hz(self) -> tuple[float, float]:
        """Edges of the band."""
        half = 2.0 ** (0.5 * self.octaves)
        return self.hz / half, self.hz * half


def raised(sound: np.ndarray, piece: Piece, clashes: Sequence[Clash]) -> np.ndarray:
    """Return a layer, (frames, channels), with a bell on it in the parts of its clashes, faded over 20 ms."""
    result = sound
    for clash in clashes:
        # A bell is as wide between its half-gain points as a band-pass of its quality between its half-power points.
        q = 0.5 / float(np.sinh(0.5 * np.log(2.0) * clash.octaves))
        change = bell(clash.hz, clash.raised_db, q)
        result = np.array(result)
        for index, part in enumerate(piece.parts):
            if part.name in clash.parts:
                first, end = (round(at_s * RATE_HZ) for at_s in piece.section_s(index))
                ramp = np.minimum(np.arange(end - first) + 0.5, np.arange(end - first)[::-1] + 0.5)
                inside = np.minimum(ramp / (0.02 * RATE_HZ), 1.0)
                for channel in range(result.shape[1]):
                    before = result[first:end, channel]
                    result[first:end, channel] += inside * (filtered(before, change) - before)
    return result
