# SPDX-License-Identifier: Apache-2.0
"""The mix as a graph: tracks into groups and sends, those into the master."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from graphlib import TopologicalSorter
from hashlib import sha256
from typing import NamedTuple

import numpy as np

from mixwright.engine.operation import Operation
from mixwright.errors import SettingError
from mixwright.jobs.cache import Part
from mixwright.model.song import Track
from mixwright.model.strip import Compressor, Limiter

#: The name of the limiter among a graph's processors; no bus is called so.
LIMITER = "limiter"


class Output(NamedTuple):
    """A bus that a strip feeds, with a factor; `pre`: from before the fader, where the strip stands."""

    target: str
    factor: float = 1.0
    pre: bool = False


@dataclass(frozen=True, eq=False, kw_only=True)
class Node:
    """One strip: operations, then the compressor, then `lanes` (packed), then `outputs`.

    `scale` is what trim and polarity multiply by where no operation needs them earlier. `pre_lanes` are the lanes with
    the fader at 0 dB. `before` and `latency_frames`: by how much its input and its output lie behind the
    song while rendering.
    """

    id: str
    operations: tuple[Operation, ...]
    lanes: np.ndarray
    pre_lanes: np.ndarray
    scale: float
    mute: bool
    outputs: tuple[Output, ...]
    compressor: Compressor | None = None
    before_frames: int = 0
    latency_frames: int = 0

    def identity(self) -> tuple[Part, ...]:
        """Return all of this that can be heard, as parts of a key."""
        operations = tuple(operation.identity() for operation in self.operations)
        outputs = tuple((output.target, output.factor, output.pre) for output in self.outputs)
        lanes = sha256(self.lanes.tobytes()).digest()
        return self.id, operations, self.compressor, lanes, self.scale, self.mute, outputs


@dataclass(frozen=True, eq=False, kw_only=True)
class TrackNode(Node):
    """A track's strip; `first_frame` is where its first frame lies in the song, delay included (may be negative)."""

    track: Track
    first_frame: int
    frames: int

    def identity(self) -> tuple[Part, ...]:
        """Return all of this that can be heard, as parts of a key; the file's hash stands for the audio."""
        return *super().identity(), self.track.sha256, self.first_frame, self.frames


@dataclass(frozen=True, eq=False)
class MixGraph:
    """Everything that `render` needs beside the audio.

    `buses` are groups, sends and the master, as the song has them. `limiter` comes after the
    master's fader. `latency_frames` is what the whole graph lags while rendering; `render` drops it.
    """

    rate_hz: int
    frames: int
    law: float
    tracks: tuple[TrackNode, ...]
    buses: tuple[Node, ...]
    limiter: Limiter | None = None

    @property
    def latency_frames(self) -> int:
        """Latency of the master's output."""
        return self.buses[-1].latency_frames

    @functools.cached_property
    def waves(self) -> tuple[tuple[Node, ...], ...]:
        """The buses in the order in which they are computed; those of a wave do not wait for each other."""
        place = {node.id: k for k, node in enumerate(self.buses)}
        sorter: TopologicalSorter[str] = TopologicalSorter(dict.fromkeys(place, ()))
        for node in self.buses:
            for output in node.outputs:
                sorter.add(output.target, node.id)
        sorter.prepare()
        waves = []
        while sorter.is_active():
            ready = sorted(sorter.get_ready(), key=place.__getitem__)
            waves.append(tuple(self.buses[place[name]] for name in ready))
            sorter.done(*ready)
        return tuple(waves)

    @property
    def dynamics(self) -> tuple[str, ...]:
        """What is not linear: the buses with a compressor that may sound, then :data:`LIMITER` if there is one."""
        compressed = tuple(bus.id for bus in self.buses if bus.compressor is not None and not bus.mute)
        return compressed if self.limiter is None else (*compressed, LIMITER)

    def identity(self, tracks: Collection[str] | None = None) -> tuple[Part, ...]:
        """Return all that can be heard of the mix, or of some of its tracks as they stand in it, as parts of a key.

        Tracks depend on their own strips and on the buses they run through. Where one of those has a compressor, they
        depend on all that feeds it too: it moves the gain.
        """
        chosen = None if tracks is None else tuple(sorted(tracks))
        nodes = tuple(node.identity() for node in self._heard(tracks))
        return self.rate_hz, self.frames, self.law, self.limiter, chosen, nodes

    def _heard(self, tracks: Collection[str] | None) -> list[Node]:
        every: list[Node] = [*self.tracks, *self.buses]
        if tracks is None or self.limiter is not None:
            return every
        passed = {node.id for node in self.tracks if node.id in tracks}
        reached = {output.target for node in self.tracks if node.id in tracks for output in node.outputs}
        for bus in itertools.chain.from_iterable(self.waves):
            if bus.id in reached:
                passed.add(bus.id)
                reached |= {output.target for output in bus.outputs}
        keys = {name for name in self.dynamics if name in passed}
        for node in (*reversed(list(itertools.chain.from_iterable(self.waves))), *self.tracks):
            if any(output.target in keys for output in node.outputs):
                keys.add(node.id)
        return [node for node in every if node.id in passed | keys]


def bus(name: str, kind: str) -> str:
    """Return the name of a bus in the graph; groups and sends of a song may share an id."""
    return f"{kind} {name}"


def aligned(graph: MixGraph) -> MixGraph:
    """Return the graph with the latencies of its buses worked out from their operations.

    The input of a bus lies as far behind the song as the latest of what feeds it; `render` reads all else
    correspondingly earlier. Tracks lie on disk and have no latency: they are read ahead.
    """
    behind = {node.id: 0 for node in graph.buses}
    done = {}
    for node in itertools.chain.from_iterable(graph.waves):
        late = behind[node.id] + sum(operation.latency_frames for operation in node.operations)
        done[node.id] = replace(node, before_frames=behind[node.id], latency_frames=late)
        for output in node.outputs:
            behind[output.target] = max(behind[output.target], late)
    return replace(graph, buses=tuple(done[node.id] for node in graph.buses))


def check_selection(graph: MixGraph, tracks: Sequence[str]) -> None:
    """Raise SettingError where a track named is not in the mix."""
    known = {node.id for node in graph.tracks}
    for track in tracks:
        if track not in known:
            raise SettingError(f"no track of the mix is called {track!r}", hint=f"known: {', '.join(sorted(known))}")
