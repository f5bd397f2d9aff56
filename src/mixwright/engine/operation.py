# SPDX-License-Identifier: Apache-2.0
"""Operations: what a chain of the C core is made of; processors are made of them by `engine.processors`."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol, runtime_checkable

import numpy as np

from mixwright.core.filters import memory_frames
from mixwright.jobs.cache import Part
from mixwright.native import chain as native
from mixwright.native.reverb import state_frames

_REST = {
    native.BOTH: native.BOTH,
    native.MIDDLE: native.SIDE,
    native.SIDE: native.MIDDLE,
    native.LEFT: native.RIGHT,
    native.RIGHT: native.LEFT,
}

#: What coefficients move to: float64 ``(strides, coefficients)`` at the strides numbered, counted from reset.
Moving = Callable[[np.ndarray], np.ndarray]


class Row(NamedTuple):
    """What the C core runs: a kind with its coefficients, `states` doubles of its own, `gains` columns of gains.

    `key`: the one it listens to. `lag_frames`: by how much audio comes out of it later than it went in. `on`: what it
    works on (`native.chain`). `of`: the state is that of the row so many before it.
    """

    kind: int
    amount: int
    coefficients: Sequence[float] | np.ndarray
    states: int = 0
    key: str = ""
    gains: int = 0
    on: int = native.BOTH
    moving: Moving | None = None
    lag_frames: int = 0
    of: int = 0


class Operation(Protocol):
    """A part of a chain."""

    @property
    def latency_frames(self) -> int:
        """By how much later audio comes out of it, where that is no effect but the cost of a process."""

    def memory_frames(self, rate_hz: int) -> int:
        """Frames for which it sounds on after its input ends."""

    def identity(self) -> Part:
        """All of it that can be heard, as part of a key."""

    def rows(self, channels: int) -> list[Row]:
        """Return what the C core runs for audio of 1 or 2 channels."""


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

    def rows(self, channels: int) -> list[Row]:  # noqa: ARG002
        """Return what the C core runs."""
        return [Row(native.GAIN, 0, [self.factor])]


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

    def rows(self, channels: int) -> list[Row]:
        """Return what the C core runs."""
        row = Row(native.DELAY, self.frames, [], self.frames * channels, lag_frames=self.latency_frames)
        return [row] if self.frames else []


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

    def rows(self, channels: int) -> list[Row]:
        """Return what the C core runs."""
        return [Row(native.SECTIONS, len(self.sections), self.sections.ravel(), 2 * channels * len(self.sections))]


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

    def rows(self, channels: int) -> list[Row]:
        """Return what the C core runs."""
        before = [*Sections(self.sections).rows(channels), *Delay(self.pre_delay_frames).rows(channels)]
        return [*before, Row(native.REVERB, 0, self.network, state_frames(self.network))]


@dataclass(frozen=True, eq=False)
class Stage:
    """One kind of the C core with coefficients worked out from settings; what each processor comes down to.

    Attributes
    ----------
    kind, count : int
        as the C core knows them
    coefficients : ndarray
    states : tuple of int
        doubles of state for 1 and for 2 channels
    latency_frames : int
    remembers_frames : int
        frames for which it sounds on, or its gain is still moving, after its input ends
    key : str
        whom it listens to (a track, source, group or send); empty: what it works on
    gains : int or tuple of int
        columns of gains that it makes of what it hears, for 1 and for 2 channels where that differs: given them, it is
        linear
    on : int
        both channels, or middle, side, left, right (`native.chain`)
    moving : callable, optional
        coefficients that are automated
    name : str
        of the processor, for the identity
    """

    kind: int
    coefficients: np.ndarray
    states: tuple[int, int]
    count: int = 0
    latency_frames: int = 0
    remembers_frames: int = 0
    key: str = ""
    gains: int | tuple[int, int] = 0
    on: int = native.BOTH
    moving: Moving | None = None
    moves: Part = ()

    def memory_frames(self, rate_hz: int) -> int:
        """Frames for which it sounds on after its input ends, at most 5 s."""
        return min(self.remembers_frames, 5 * rate_hz)

    def identity(self) -> Part:
        """All of it that can be heard, as part of a key."""
        what = self.coefficients.tobytes(), self.latency_frames, self.key, self.on, self.moves
        return "stage", self.kind, self.count, *what

    def rows(self, channels: int) -> list[Row]:
        """Return what the C core runs; a mono track has no side, and its middle is all of it."""
        if channels == 1 and self.on in (native.SIDE, native.RIGHT):
            return Delay(self.latency_frames, self.latency_frames).rows(channels)
        one = channels == 1 or self.on != native.BOTH
        rest = native.BOTH if channels == 1 else _REST[self.on]
        late = self.latency_frames if rest != native.BOTH else 0
        waits = [Row(native.DELAY, late, [], late, on=rest)] if late else []  # lined up with what it works on
        return [
            *waits,
            Row(
                self.kind,
                self.count,
                self.coefficients,
                self.states[0 if one else 1],
                self.key,
                self.gains if isinstance(self.gains, int) else self.gains[0 if one else 1],
                native.BOTH if channels == 1 else self.on,
                self.moving,
                self.latency_frames,
            ),
        ]


@runtime_checkable
class Around(Protocol):
    """An operation around a stage, whose coefficients may move."""

    @property
    def stage(self) -> Stage:
        """The stage."""

    def moved(self, stage: Stage) -> Operation:
        """Return the operation around another stage in its place."""


@dataclass(frozen=True, eq=False)
class Blended:
    """Operations in parallel with what goes into them: `part` of theirs, the rest as it came in, lined up.

    `moving`: the part as it moves; `moves` stands for it in the identity.
    """

    operations: tuple[Operation, ...]
    part: float = 1.0
    moving: Moving | None = None
    moves: Part = ()

    @property
    def latency_frames(self) -> int:
        """By how much later audio comes out of it."""
        return sum(operation.latency_frames for operation in self.operations)

    def memory_frames(self, rate_hz: int) -> int:
        """Frames for which it sounds on after its input ends."""
        return sum(operation.memory_frames(rate_hz) for operation in self.operations)

    def identity(self) -> Part:
        """All of it that can be heard, as part of a key."""
        return "blended", self.part, self.moves, *(operation.identity() for operation in self.operations)

    def rows(self, channels: int) -> list[Row]:
        """Return what the C core runs."""
        inside = [row for operation in self.operations for row in operation.rows(channels)]
        if not inside:
            return []
        states = (self.latency_frames + native.STRIDE) * channels
        keep = Row(native.KEEP, self.latency_frames, [], states)
        back = Row(native.BLEND, self.latency_frames, [self.part], moving=self.moving, of=len(inside) + 1)
        return [keep, *inside, back]
