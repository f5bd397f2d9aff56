# SPDX-License-Identifier: Apache-2.0
"""Gain curves: what processors on buses do to the whole mix, logged once and replayed in everything else.

A processor that is not linear is a gain over time. Made from the whole mix and then multiplied with any part of it, it
is linear: the parts add up to the mix.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from mixwright.engine.dynamics import PeakLimiter
from mixwright.engine.graph import LIMITER, MixGraph, Node
from mixwright.errors import InternalError
from mixwright.native import mathematics

#: A limiter that listens starts so many of its time constants before an excerpt: e^-10 is -87 dB.
_SETTLED = 10


@dataclass(frozen=True, eq=False)
class Curves:
    """Logged gains of a mix: float32 of `MixGraph.gains_shape`, columns as `MixGraph.columns` says.

    A row is a frame of the clock by which all strips run (`engine.desk`). `trim_db`, 0 or below, goes on top of the
    limiter's gain: by how much the true peak of the whole mix, as measured, was still over the ceiling; 0 as a rule.
    """

    gains: np.ndarray
    trim_db: float = 0.0


class Replay:
    """Has logged gains for processors to multiply by."""

    #: What rendering is called meanwhile.
    job = "mix"
    replays = True
    #: Buses that run although nothing feeds them.
    always: Collection[str] = ()
    #: By how many frames `limit` needs the mix sooner, and later, than it gives it.
    before_frames = 0
    ahead_frames = 0

    def __init__(self, graph: MixGraph, curves: Curves | None) -> None:
        if graph.dynamics and (curves is None or curves.gains.shape != graph.mix.gains_shape):
            raise InternalError("a mix that is not linear is rendered with its logged gains")
        self._graph = graph
        self._gains = np.empty((0, 0), dtype=np.float32) if curves is None else curves.gains
        self._trim = 1.0 if curves is None else float(mathematics.ratio(curves.trim_db))

    def block(self, bus: Node, clock: int, frames: int) -> np.ndarray:
        """Return the gains float32 ``(frames, columns)`` that a bus reads at the clock's next counts."""
        return np.ascontiguousarray(self._gains[clock : clock + frames, self._graph.mix.columns[bus.id]])

    def note(self, bus: Node, gains: np.ndarray) -> None:
        """Take the gains that a bus has made, in order; these are known."""

    def limit(self, blocks: Iterable[np.ndarray], frame: int) -> Iterator[np.ndarray]:
        """Pass the master's blocks through the limiter's gain, from a frame of the song on."""
        rows, columns = self._graph.mix.gains_shape
        late = rows - self._graph.frames
        for block in blocks:
            if self._graph.limiter is not None:
                column = self._gains[late + frame : late + frame + len(block), columns - 1 :]
                np.multiply(block, column.astype(np.float64) * self._trim, out=block)
            frame += len(block)
            yield block


class Listening:
    """Has processors make their gains of what passes them."""

    job = "excerpt"
    replays = False
    always: Collection[str] = ()

    def __init__(self, graph: MixGraph) -> None:
        self._graph = graph
        self._limiter = None
        self.before_frames = self.ahead_frames = 0
        if graph.limiter is not None:
            release_s = graph.limiter.release_ms / 1000.0
            self._limiter = PeakLimiter(graph.rate_hz, ceiling_dbtp=graph.limiter.ceiling_dbtp, release_s=release_s)
            self.ahead_frames = self._limiter.latency_frames
            self.before_frames = math.ceil(_SETTLED * release_s * graph.rate_hz) + self.ahead_frames

    def block(self, bus: Node, clock: int, frames: int) -> np.ndarray:  # noqa: ARG002
        """Return an array for the gains of a bus at the clock's next counts."""
        return np.ones((frames, bus.gains), dtype=np.float32)

    def note(self, bus: Node, gains: np.ndarray) -> None:
        """Take the gains that a bus has made, in order."""

    def limit(self, blocks: Iterable[np.ndarray], frame: int) -> Iterator[np.ndarray]:  # noqa: ARG002
        """Pass the master's blocks through the limiter, from a frame of the song on, and silence after them."""
        if self._limiter is None:
            yield from blocks
            return
        late = self._limiter.latency_frames
        for block in _and_silence(blocks, late):
            gains = np.empty(len(block), dtype=np.float32)
            self._limiter.process(block, gains)
            self._limited(gains)
            early, late = min(late, len(block)), max(0, late - len(block))
            if early < len(block):
                yield block[early:]

    def _limited(self, gains: np.ndarray) -> None:
        """Take the gains that the limiter has made, in order."""


class Noting(Listening):
    """Has processors make their gains of an excerpt, and notes them where a whole mix has them; elsewhere they are 0.

    Parameters
    ----------
    graph : MixGraph

    Attributes
    ----------
    gains : ndarray, float32
        of `MixGraph.gains_shape`
    """

    def __init__(self, graph: MixGraph) -> None:
        super().__init__(graph)
        self.gains = np.zeros(graph.gains_shape, dtype=np.float32)
        self._clocks: dict[str, int] = {}
        self._limited_at = 0

    def block(self, bus: Node, clock: int, frames: int) -> np.ndarray:
        """Return an array for the gains of a bus at the clock's next counts."""
        self._clocks[bus.id] = clock
        return super().block(bus, clock, frames)

    def note(self, bus: Node, gains: np.ndarray) -> None:
        """Take the gains that a bus has made at the counts that it was last given an array for."""
        if bus.id in self._graph.columns:
            first = max(0, -self._clocks[bus.id])
            rows = self.gains[self._clocks[bus.id] + first :, self._graph.columns[bus.id]]
            rows[: len(gains) - first] = gains[first:][: len(rows)]

    def limit(self, blocks: Iterable[np.ndarray], frame: int) -> Iterator[np.ndarray]:
        """Pass the master's blocks through the limiter, from a frame of the song on, and silence after them."""
        self._limited_at = self._graph.latency_frames + frame
        return super().limit(blocks, frame)

    def _limited(self, gains: np.ndarray) -> None:
        rows = self.gains[self._limited_at :, self._graph.columns[LIMITER]]
        rows[: len(gains)] = gains[: len(rows), np.newaxis]
        self._limited_at += len(gains)


class Logging(Listening):
    """Has processors make their gains of the whole mix, and hands them on.

    Parameters
    ----------
    graph : MixGraph
    push : callable
        takes float32 blocks ``(n, columns)``, together of `MixGraph.gains_shape`
    """

    job = "gains"

    def __init__(self, graph: MixGraph, push: Callable[[np.ndarray], object]) -> None:
        super().__init__(graph)
        self._push = push
        self._rows, _ = graph.gains_shape
        self.always = graph.dynamics
        self.before_frames = self.ahead_frames = 0
        # The limiter is behind the buses: gains wait here until all are known up to the same count.
        self._waiting = {name: [np.empty((0, one.stop - one.start), np.float32)] for name, one in graph.columns.items()}
        if graph.limiter is not None:
            self._waiting[LIMITER].append(np.ones((graph.latency_frames, 1), dtype=np.float32))

    def note(self, bus: Node, gains: np.ndarray) -> None:
        """Take the gains that a bus has made, in order."""
        if bus.id in self._waiting:
            self._waiting[bus.id].append(gains)

    def limit(self, blocks: Iterable[np.ndarray], frame: int) -> Iterator[np.ndarray]:
        """Pass the master's blocks through the limiter, if there is one, and hand on all gains."""
        for block in super().limit(blocks, frame):
            self._hand_on()
            yield block
        for name, parts in self._waiting.items():
            left = self._rows - self._handed - sum(map(len, parts))
            parts.append(np.ones((left, parts[0].shape[1]), dtype=np.float32))
            self._waiting[name] = parts
        self._hand_on()

    _handed = 0

    def _limited(self, gains: np.ndarray) -> None:
        self._waiting[LIMITER].append(gains[:, np.newaxis])

    def _hand_on(self) -> None:
        count = min((sum(map(len, parts)) for parts in self._waiting.values()), default=0)
        joined = {name: np.concatenate(parts) for name, parts in self._waiting.items()}
        self._waiting = {name: [one[count:]] for name, one in joined.items()}
        self._handed += count
        if count:
            self._push(np.concatenate([one[:count] for one in joined.values()], axis=1))


def _and_silence(blocks: Iterable[np.ndarray], frames: int) -> Iterator[np.ndarray]:
    yield from blocks
    yield np.zeros((frames, 2))
