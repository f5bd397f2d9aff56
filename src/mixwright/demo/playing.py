# SPDX-License-Identifier: Apache-2.0
"""From strokes and notes to a layer: where each is laid, how late and how hard."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from mixwright.demo.score import Piece
from mixwright.demo.signals import RATE_HZ, generator

#: From the number of a take and the mark in the score to one stroke.
Stroke = Callable[[int, str], np.ndarray]

#: Strokes of one drum that differ; they are played in turn.
_TAKES = 4


def play(into: np.ndarray, piece: Piece, layer: str, stroke: Stroke, level: float = 1.0, late_s: float = 0.0) -> None:
    """Add every stroke of a layer; timing and force of a stroke are the same whoever hears it."""
    hits = piece.hits(layer)
    late = generator(f"{piece.title} {layer}").normal(0.0, 0.0025, len(hits))
    force = generator(f"{piece.title} {layer} force").normal(1.0, 0.05, len(hits))
    for index, hit in enumerate(hits):
        frame = hit.frame + round(max(0.0, float(late[index])) * RATE_HZ) + round(late_s * RATE_HZ)
        add(into, frame, stroke(index % _TAKES, hit.mark), level * hit.force * float(force[index]))


def add(into: np.ndarray, frame: int, sound: np.ndarray, gain: float = 1.0) -> None:
    """Add a sound to a layer from a frame on; what lies past the end is cut."""
    end = min(len(into), frame + len(sound))
    into[frame:end] += gain * sound[: end - frame]
