# SPDX-License-Identifier: Apache-2.0
"""What a stretch is heard from: how much of the audio before it and of it, in which steps, and how much is sketched."""

from __future__ import annotations

from mixwright.hearing.components import RATE_HZ
from mixwright.hearing.feed import CHUNK_FRAMES, span_of
from mixwright.hearing.heard import CELL_FRAMES, Stretch
from mixwright.hearing.kernels import FRAME
from mixwright.hearing.moments import LEAST_AT_EDGE, MOMENTS, MOMENTS_AT_EDGE

CHUNK_CELLS = CHUNK_FRAMES // CELL_FRAMES
#: Half a second: of the loudness of what was heard before, less than a ten-millionth is left.
_RUN_IN_CELLS = 32


def cells_of(frames: int, rate_hz: int) -> int:
    """Return how many cells a song has."""
    return -(-frames * RATE_HZ // (rate_hz * FRAME * CELL_FRAMES))


def wanted_moments(stretch: Stretch) -> int:
    """Return how many moments of a stretch are wanted; more are kept for layers that sound seldom."""
    wanted = max(LEAST_AT_EDGE, round(MOMENTS_AT_EDGE * stretch.length_s)) if stretch.edge else MOMENTS
    return min(wanted, (stretch.end - stretch.first) * CELL_FRAMES)


def heard_span(stretch: Stretch, rate_hz: int) -> tuple[int, int]:
    """Return from and to which frame of the song a stretch hears, run-in and margins included."""
    return span_of(rate_hz, *samples(stretch))


def chunks_of(stretch: Stretch) -> int:
    """Return in how many steps of an `Ear.job` a stretch is heard."""
    return max(1, -(-(stretch.end - run_in(stretch)) // CHUNK_CELLS))


def samples(stretch: Stretch) -> tuple[int, int]:
    """Return from and to which sample at 48 kHz a stretch is listened to."""
    return run_in(stretch) * CELL_FRAMES * FRAME, stretch.end * CELL_FRAMES * FRAME


def run_in(stretch: Stretch) -> int:
    """Return the cell from which a stretch is listened to: what was before has rung out when it begins."""
    return max(0, stretch.first - _RUN_IN_CELLS)
