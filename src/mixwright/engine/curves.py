# SPDX-License-Identifier: Apache-2.0
"""Gain curves: what compressors and the limiter do to the whole mix, logged once and replayed in everything else.

A processor that is not linear is a gain over time. Made from the whole mix and then multiplied with any part of it, it
is linear: the parts add up to the mix.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from mixwright.engine.dynamics import BusCompressor, PeakLimiter
from mixwright.engine.graph import LIMITER, MixGraph
from mixwright.errors import InternalError
from mixwright.model.strip import Compressor
from mixwright.native import mathematics


@dataclass(frozen=True, eq=False)
class Curves:
    """Logged gains of a mix: float32 ``(frames, processors)``, in the order of `MixGraph.dynamics`.

    `trim_db`, 0 or below, goes on top of the limiter's: by how much the true peak of the whole mix, as measured, was
    still over the ceiling; 0 as a rule.
    """

    gains: np.ndarray
    trim_db: float = 0.0


class Replay:
    """Multiplies by logged gains."""

    #: What rendering is called meanwhile.
    job = "mix"
    #: Buses that run although nothing feeds them.
    always: Collection[str] = ()

    def __init__(self, graph: MixGraph, curves: Curves | None) -> None:
        names = graph.dynamics
        if names and (curves is None or curves.gains.shape != (graph.frames, len(names))):
            raise InternalError("a mix with compressors or a limiter is rendered with its logged gains")
        self._columns = {} if curves is None else {name: curves.gains[:, k] for k, name in enumerate(names)}
        self._trim = 1.0 if curves is None else float(mathematics.ratio(curves.trim_db))

    def compress(self, name: str, audio: np.ndarray, frame: int) -> None:
        """Multiply the audio ``(n, 2)`` of a bus from song frame `frame` on, in place; outside the song it stays."""
        column = self._columns[name]
        start, end = max(0, frame), min(len(column), frame + len(audio))
        if start < end:
            audio[start - frame : end - frame] *= column[start:end, None].astype(np.float64)

    def limit(self, blocks: Iterable[np.ndarray], frame: int = 0) -> Iterator[np.ndarray]:
        """Pass the master's blocks through the limiter's gain, from a frame of the song on."""
        column = self._columns.get(LIMITER)
        for block in blocks:
            if column is not None:
                gains = column[frame : frame + len(block), None].astype(np.float64) * self._trim
                np.multiply(block, gains, out=block)
            frame += len(block)
            yield block


class Logging:
    """Runs the processors themselves, and hands on their gains.

    Parameters
    ----------
    graph : MixGraph
    push : callable
        takes float32 blocks ``(n, processors)``, `graph.frames` frames in all
    """

    job = "gains"

    def __init__(self, graph: MixGraph, push: Callable[[np.ndarray], object]) -> None:
        self._graph = graph
        self._push = push
        self.always: Collection[str] = graph.dynamics
        self._compressors = {
            bus.id: bus_compressor(bus.compressor, graph.rate_hz)
            for bus in graph.buses
            if bus.compressor is not None and bus.id in graph.dynamics
        }
        # Buses lag behind the song by different amounts: gains wait here until all are known up to the same frame.
        self._waiting = {name: [np.empty(0, dtype=np.float32)] for name in graph.dynamics}

    def compress(self, name: str, audio: np.ndarray, frame: int) -> None:
        """Compress the audio ``(n, 2)`` of a bus from song frame `frame` on, in place."""
        gains = np.empty(len(audio), dtype=np.float32)
        self._compressors[name].process(audio, gains)
        self._log(name, gains, frame)

    def limit(self, blocks: Iterable[np.ndarray], frame: int = 0) -> Iterator[np.ndarray]:
        """Limit the master's blocks, from the song's first frame on; the look-ahead is taken out."""
        settings = self._graph.limiter
        if settings is None:
            for block in blocks:
                self._hand_on()
                yield block
            return
        limiter = PeakLimiter(
            self._graph.rate_hz, ceiling_dbtp=settings.ceiling_dbtp, release_s=settings.release_ms / 1000.0
        )
        frame = -limiter.latency_frames
        for block in _and_silence(blocks, limiter.latency_frames):
            gains = np.empty(len(block), dtype=np.float32)
            limiter.process(block, gains)
            self._log(LIMITER, gains, frame)
            self._hand_on()
            out = block[max(0, -frame) :]
            frame += len(block)
            if len(out):
                yield out

    def _log(self, name: str, gains: np.ndarray, frame: int) -> None:
        within = gains[max(0, -frame) : max(0, self._graph.frames - frame)]
        self._waiting[name].append(within)

    def _hand_on(self) -> None:
        count = min(sum(map(len, parts)) for parts in self._waiting.values())
        block = np.empty((count, len(self._waiting)), dtype=np.float32)
        for k, (name, parts) in enumerate(self._waiting.items()):
            joined = np.concatenate(parts)
            block[:, k] = joined[:count]
            self._waiting[name] = [joined[count:]]
        self._push(block)


def bus_compressor(settings: Compressor, rate_hz: int) -> BusCompressor:
    """Return the compressor of a bus with the settings of a song."""
    return BusCompressor(
        rate_hz,
        threshold_db=settings.threshold_db,
        ratio=settings.ratio,
        knee_db=settings.knee_db,
        attack_s=settings.attack_ms / 1000.0,
        release_s=settings.release_ms / 1000.0,
        gain_db=settings.gain_db,
    )


def _and_silence(blocks: Iterable[np.ndarray], frames: int) -> Iterator[np.ndarray]:
    yield from blocks
    yield np.zeros((frames, 2))
