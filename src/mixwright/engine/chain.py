# SPDX-License-Identifier: Apache-2.0
"""Chains: what a strip does to audio before its fader, as a list of operations run by the C core.

Contract of every operation and chain: `reset` replays the same output; a block may have any length, also none, and
no split of the audio into blocks changes a bit; the stated latency is the measured one; finite audio gives finite
audio; states that have decayed below 1e-30 are forgotten at fixed frames counted from reset.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from mixwright.core.filters import memory_frames
from mixwright.jobs.cache import Part
from mixwright.native import chain as native


@dataclass(frozen=True)
class Gain:
    """Multiply by `factor` (negative: polarity inverted)."""

    factor: float

    latency_frames = 0

    def memory_frames(self, rate_hz: int) -> int:  # noqa: ARG002
        """Frames for which it sounds on after its input ends."""
        return 0

    def identity(self) -> Part:
        """All of it that can be heard, as part of a key."""
        return "gain", self.factor


@dataclass(frozen=True)
class Delay:
    """Give out what came in `frames` earlier.

    `latency_frames` is the part of it that is not an effect but the cost of a process: the graph lines the other
    paths up with it. More latency than frames asks for the signal earlier than the others.
    """

    frames: int
    latency_frames: int = 0

    def memory_frames(self, rate_hz: int) -> int:  # noqa: ARG002
        """Frames for which it sounds on after its input ends."""
        return self.frames

    def identity(self) -> Part:
        """All of it that can be heard, as part of a key."""
        return "delay", self.frames, self.latency_frames


@dataclass(frozen=True, eq=False)
class Sections:
    """Second-order sections ``(n, 5)`` in series, transposed direct form II."""

    sections: np.ndarray

    latency_frames = 0

    def memory_frames(self, rate_hz: int) -> int:
        """Frames for which it sounds on after its input ends."""
        return memory_frames(self.sections, rate_hz)

    def identity(self) -> Part:
        """All of it that can be heard, as part of a key."""
        return "sections", self.sections.tobytes()


Operation = Gain | Delay | Sections


class Chain:
    """Operations in series with their state, for audio of 1 or 2 channels.

    Parameters
    ----------
    operations : sequence of Operation
    channels : 1 or 2
    """

    def __init__(self, operations: Sequence[Operation], channels: Literal[1, 2] | int) -> None:
        rows: list[tuple[int, int, int, int]] = []
        coefficients: list[float] = []
        states = 1
        for operation in operations:
            if isinstance(operation, Delay) and operation.frames == 0:
                continue
            kind, count, values, own = _row(operation, channels)
            rows.append((kind, count, len(coefficients), states))
            coefficients += values
            states += own
        self.channels = channels
        self.latency_frames = sum(operation.latency_frames for operation in operations)
        self._rows = np.array(rows, dtype=np.int32).reshape(-1, 4)
        self._coefficients = np.array(coefficients, dtype=np.float64)
        self._state = np.zeros(states)

    def reset(self) -> None:
        """Go back to time zero and silence."""
        self._state[:] = 0.0

    def process(self, audio: np.ndarray) -> None:
        """Process float64 audio ``(frames, channels)``, C-contiguous, in place."""
        native.run(self._rows, self._coefficients, self._state, audio)

    def process_float(self, audio: np.ndarray, out: np.ndarray) -> None:
        """Process float32 audio into float32 `out`, both ``(frames, channels)``, C-contiguous, computing in float64.

        A sample that is not finite is read as silence.
        """
        native.run_float(self._rows, self._coefficients, self._state, audio, out)


def _row(operation: Operation, channels: int) -> tuple[int, int, list[float], int]:
    if isinstance(operation, Gain):
        return native.GAIN, 0, [operation.factor], 0
    if isinstance(operation, Delay):
        return native.DELAY, operation.frames, [], operation.frames * channels
    count = len(operation.sections)
    return native.SECTIONS, count, operation.sections.ravel().tolist(), 2 * channels * count
