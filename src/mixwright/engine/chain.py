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
from mixwright.native.reverb import state_frames


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


@dataclass(frozen=True, eq=False)
class Reverberation:
    """A reverb alone, without what feeds it: sections, pre-delay, then the network of csrc/reverb.h.

    `rings_frames`: until it has fallen by 100 dB. Made from settings by `engine.reverb.reverberation`.
    """

    sections: np.ndarray
    pre_delay_frames: int
    network: np.ndarray
    rings_frames: int

    latency_frames = 0

    def memory_frames(self, rate_hz: int) -> int:
        """Frames for which it sounds on after its input ends, at most 5 s."""
        return min(self.rings_frames, 5 * rate_hz)

    def identity(self) -> Part:
        """All of it that can be heard, as part of a key."""
        return "reverb", self.sections.tobytes(), self.pre_delay_frames, self.network.tobytes()


Operation = Gain | Delay | Sections | Reverberation


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
            for kind, count, values, own in _rows(operation, channels):
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


def _rows(operation: Operation, channels: int) -> list[tuple[int, int, list[float], int]]:
    """Return what the C core runs for an operation: kind, count, coefficients, length of its state."""
    if isinstance(operation, Gain):
        return [(native.GAIN, 0, [operation.factor], 0)]
    if isinstance(operation, Delay):
        return _delay(operation.frames, channels)
    if isinstance(operation, Sections):
        return _sections(operation.sections, channels)
    network = (native.REVERB, 0, operation.network.tolist(), state_frames(operation.network))
    return [*_sections(operation.sections, channels), *_delay(operation.pre_delay_frames, channels), network]


def _delay(frames: int, channels: int) -> list[tuple[int, int, list[float], int]]:
    return [(native.DELAY, frames, [], frames * channels)] if frames else []


def _sections(sections: np.ndarray, channels: int) -> list[tuple[int, int, list[float], int]]:
    return [(native.SECTIONS, len(sections), sections.ravel().tolist(), 2 * channels * len(sections))]
