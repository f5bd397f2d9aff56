# SPDX-License-Identifier: Apache-2.0
"""The mix as a graph: tracks into groups and sends, those into the master; and who listens to whom."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from graphlib import CycleError, TopologicalSorter
from hashlib import sha256
from typing import NamedTuple

import numpy as np

from mixwright.engine.chain import gain_columns, keys_of
from mixwright.engine.dynamics import limiter_latency_frames
from mixwright.engine.operation import Operation
from mixwright.errors import SettingError
from mixwright.jobs.cache import Part
from mixwright.model.song import Track
from mixwright.model.strip import Limiter

#: The name of the limiter among a graph's processors; no bus is called so.
LIMITER = "limiter"


class Output(NamedTuple):
    """A bus that a strip feeds, with a factor; `pre`: from before the fader, where the strip stands.

    `lanes`, packed: in place of the strip's own, where this feed moves by itself.
    """

    target: str
    factor: float = 1.0
    pre: bool = False
    lanes: np.ndarray | None = None

    def identity(self) -> tuple[Part, ...]:
        """Return all of this that can be heard, as parts of a key."""
        own = () if self.lanes is None else (sha256(self.lanes.tobytes()).digest(),)
        return self.target, self.factor, self.pre, *own


@dataclass(frozen=True, eq=False, kw_only=True)
class Node:
    """One strip: operations, then `lanes` (packed), then `outputs`.

    `scale` is what trim and polarity multiply by where no operation needs them earlier. `pre_lanes` are the lanes with
    the fader at 0 dB. `keys`: which nodes are meant by each name that operations listen to, tapped before their faders.
    `logs`: name and columns of gains of the inserts that make any, in order. `gate`: a packed lane of factors on top of
    all, which those who have it for a key do not hear; `mutes`: another, 0 while automation mutes it. `before` and
    `latency_frames`: by how much its input and its output lie behind the song while rendering.
    """

    id: str
    operations: tuple[Operation, ...]
    lanes: np.ndarray
    pre_lanes: np.ndarray
    scale: float
    mute: bool
    outputs: tuple[Output, ...]
    keys: Mapping[str, tuple[str, ...]]
    logs: tuple[tuple[str, int], ...] = ()
    gate: np.ndarray | None = None
    mutes: np.ndarray | None = None
    before_frames: int = 0
    latency_frames: int = 0

    @functools.cached_property
    def gains(self) -> int:
        """Columns of gains that its operations make of a stereo signal."""
        return gain_columns(self.operations)

    @property
    def listens_to(self) -> tuple[str, ...]:
        """Every node that it has for a key."""
        return tuple(dict.fromkeys(itertools.chain.from_iterable(self.keys.values())))

    def tap_identity(self) -> tuple[Part, ...]:
        """Return all of this that can be heard before its fader, as parts of a key."""
        operations = tuple(operation.identity() for operation in self.operations)
        return self.id, operations, tuple(self.keys.items()), self.scale, self.mute

    def identity(self) -> tuple[Part, ...]:
        """Return all of this that can be heard, as parts of a key."""
        outputs = tuple(output.identity() for output in self.outputs)
        factors = tuple(
            (name, sha256(lane.tobytes()).digest())
            for name, lane in (("gate", self.gate), ("mutes", self.mutes))
            if lane is not None
        )
        return *self.tap_identity(), sha256(self.lanes.tobytes()).digest(), outputs, *factors


@dataclass(frozen=True, eq=False, kw_only=True)
class TrackNode(Node):
    """A track's strip; `first_frame` is where its first frame lies in the song, delay included (may be negative)."""

    track: Track
    first_frame: int
    frames: int

    def tap_identity(self) -> tuple[Part, ...]:
        """Return all of this that can be heard before its fader, as parts of a key; the hash stands for the audio."""
        return *super().tap_identity(), self.track.sha256, self.first_frame, self.frames


@dataclass(frozen=True, eq=False)
class MixGraph:
    """Everything that `render` needs beside the audio.

    `buses` are groups, sends and the master, as the song has them. `limiter` comes after the master's fader.
    `latency_frames` is what the whole graph lags while rendering; `render` drops it. `whole` is the mix that this is
    a part of, if it is: keys are heard, and gains made, in that.
    """

    rate_hz: int
    frames: int
    law: float
    tracks: tuple[TrackNode, ...]
    buses: tuple[Node, ...]
    limiter: Limiter | None = None
    whole: MixGraph | None = None

    @property
    def mix(self) -> MixGraph:
        """The mix that this is a part of, or itself."""
        return self if self.whole is None else self.whole

    @functools.cached_property
    def nodes(self) -> dict[str, Node]:
        """All strips by id, tracks first."""
        return {node.id: node for node in (*self.tracks, *self.buses)}

    @property
    def latency_frames(self) -> int:
        """Latency of the master's output."""
        return self.buses[-1].latency_frames

    @functools.cached_property
    def waves(self) -> tuple[tuple[Node, ...], ...]:
        """All strips in the order in which they are computed; those of a wave wait neither for audio nor keys of it."""
        place = {name: k for k, name in enumerate(self.nodes)}
        sorter: TopologicalSorter[str] = TopologicalSorter({name: () for name in place})  # noqa: C420
        for node in self.nodes.values():
            for output in node.outputs:
                sorter.add(output.target, node.id)
            sorter.add(node.id, *(name for name in node.listens_to if name in place))
        try:
            sorter.prepare()
        except CycleError as error:
            way = " > ".join(name.partition(" ")[2] or name for name in error.args[1])
            raise SettingError(f"this runs in a circle: {way}", hint="take a key from elsewhere") from error
        waves = []
        while sorter.is_active():
            ready = sorted(sorter.get_ready(), key=place.__getitem__)
            waves.append(tuple(self.nodes[name] for name in ready))
            sorter.done(*ready)
        return tuple(waves)

    @functools.cached_property
    def columns(self) -> Mapping[str, slice]:
        """Where in the logged gains those of each bus lie, and of the limiter; muted buses have none."""
        found, first = {}, 0
        for bus in self.buses:
            if bus.gains and not bus.mute:
                found[bus.id] = slice(first, first + bus.gains)
                first += bus.gains
        if self.limiter is not None:
            found[LIMITER] = slice(first, first + 1)
        return found

    @property
    def dynamics(self) -> tuple[str, ...]:
        """What is not linear: the buses whose operations make gains, then :data:`LIMITER` if there is one."""
        return tuple(self.columns)

    @property
    def gains_shape(self) -> tuple[int, int]:
        """Rows and columns of the logged gains: one row each frame of the clock (`engine.desk`)."""
        ahead = 0 if self.limiter is None else limiter_latency_frames(self.rate_hz)
        return self.frames + self.latency_frames + ahead, max((one.stop for one in self.columns.values()), default=0)

    @functools.cached_property
    def held_frames(self) -> Mapping[str, int]:
        """By how many frames whoever reads a strip late is behind its output, at most."""
        late = dict.fromkeys(self.nodes, 0)
        for node in self.nodes.values():
            for output in node.outputs:
                late[node.id] = max(late[node.id], self.nodes[output.target].before_frames - node.latency_frames)
            for key in keys_of(node.operations) if node.keys else ():
                for name in node.keys.get(key.id, ()):
                    behind = node.before_frames + key.late_frames - self.nodes[name].latency_frames
                    late[name] = max(late[name], behind)
        return late

    def behind(self, names: Iterable[str]) -> frozenset[str]:
        """Return the strips that make these what they are: they themselves, what feeds them, and what those listen to.

        What is muted is not among them.
        """
        feeding: dict[str, list[str]] = {name: list(node.listens_to) for name, node in self.nodes.items()}
        for node in self.nodes.values():
            for output in node.outputs:
                feeding[output.target].append(node.id)
        found: set[str] = set()
        todo = [name for name in names if name in self.nodes]
        while todo:
            name = todo.pop()
            if name not in found and not self.nodes[name].mute:
                found.add(name)
                todo += [one for one in feeding[name] if one in self.nodes]
        return frozenset(found)

    def fed(self, tracks: Iterable[str]) -> frozenset[str]:
        """Return the buses that tracks run into."""
        reached = {output.target for name in tracks for output in self.nodes[name].outputs}
        found = set()
        for node in itertools.chain.from_iterable(self.waves):
            if node.id in reached and not node.mute:
                found.add(node.id)
                reached |= {output.target for output in node.outputs}
        return frozenset(found)

    def identity(self, tracks: Collection[str] | None = None) -> tuple[Part, ...]:
        """Return all that can be heard of the mix, or of some of its tracks as they stand in it, as parts of a key.

        Tracks depend on their own strips and on the buses they run through, and on all that these listen to. Where one
        of those is not linear, they depend on all that feeds it too: it moves the gain.
        """
        chosen = None if tracks is None else tuple(sorted(tracks))
        nodes = tuple(self._heard(tracks))
        return self.rate_hz, self.frames, self.law, self.limiter, chosen, nodes

    def _heard(self, tracks: Collection[str] | None) -> list[Part]:
        every = list(self.nodes.values())
        if self.whole is None and (tracks is None or self.limiter is not None):
            return [node.identity() for node in every]
        if self.limiter is not None:
            return [node.identity() for node in (*every, *self.mix.nodes.values())]
        chosen = [node.id for node in self.tracks if tracks is None or node.id in tracks]
        passed = {*chosen, *self.fed(chosen)}
        moving = [name for name in passed if name in self.columns]
        moving += [key for name in passed for key in self.mix.nodes[name].listens_to]
        return [*(node.identity() for node in every if node.id in passed), *self.mix.taps(moving)]

    def taps(self, names: Iterable[str]) -> list[Part]:
        """Return what the audio of strips depends on, tapped before their faders, as parts of a key."""
        behind = self.behind(names)
        found: list[Part] = []
        for name in (one for one in self.nodes if one in behind):
            node = self.nodes[name]
            feeds = any(output.target in behind for output in node.outputs)
            found.append(node.identity() if feeds else node.tap_identity())
        return found


def bus(name: str, kind: str) -> str:
    """Return the name of a bus in the graph; groups and sends of a song may share an id."""
    return f"{kind} {name}"


def aligned(graph: MixGraph) -> MixGraph:
    """Return the graph with the latencies of its strips worked out from their operations.

    The input of a bus lies as far behind the song as the latest of what feeds it and of what it listens to; `render`
    reads all else correspondingly earlier. Tracks lie on disk and are read ahead: they have no latency, unless they
    listen to something that has.
    """
    behind = dict.fromkeys(graph.nodes, 0)
    done: dict[str, Node] = {}
    for node in itertools.chain.from_iterable(graph.waves):
        own = sum(operation.latency_frames for operation in node.operations)
        needed = [
            done[name].latency_frames - key.late_frames
            for key in (keys_of(node.operations) if node.keys else ())
            for name in node.keys.get(key.id, ())
            if name in done
        ]
        if isinstance(node, TrackNode):
            late = max(0, max(needed) + own) if needed else 0
        else:
            late = max(behind[node.id], *needed, 0) + own
        done[node.id] = replace(node, before_frames=late - own, latency_frames=late)
        for output in node.outputs:
            behind[output.target] = max(behind[output.target], late)
    tracks = tuple(node for node in (done[track.id] for track in graph.tracks) if isinstance(node, TrackNode))
    return replace(graph, tracks=tracks, buses=tuple(done[node.id] for node in graph.buses))


def check_selection(graph: MixGraph, tracks: Sequence[str]) -> None:
    """Raise SettingError where a track named is not in the mix."""
    known = {node.id for node in graph.tracks}
    for track in tracks:
        if track not in known:
            raise SettingError(f"no track of the mix is called {track!r}", hint=f"known: {', '.join(sorted(known))}")
