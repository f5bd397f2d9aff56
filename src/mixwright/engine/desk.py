# SPDX-License-Identifier: Apache-2.0
"""The desk: all strips of a mix at work, wave by wave, each hearing its keys at the right time.

Time runs on a clock that starts `MixGraph.latency_frames` before the song does; at a count of the clock the input of a
strip holds the song frame that lies `before_frames` earlier, its output the one `latency_frames` earlier. Chains of
buses count the frames of the song, which nothing comes before; chains of tracks those of the track.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.engine.chain import Chain, Key
from mixwright.engine.curves import Listening, Replay
from mixwright.engine.graph import MixGraph, Node, Output, TrackNode
from mixwright.engine.strip_audio import StripAudio
from mixwright.jobs.pool import Team
from mixwright.native.place import add_placed, lane_values

_LARGEST = float(np.finfo(np.float32).max)


@dataclass(frozen=True, eq=False)
class Sources:
    """Audio of tracks by id: as received, and after their strips where that is kept."""

    stems: Mapping[str, np.ndarray]
    kept: Mapping[str, np.ndarray]


class Window:
    """The newest stretch of a strip's audio, long enough for those who read it late; frame = song frame."""

    def __init__(self, audio: np.ndarray, first_frame: int) -> None:
        self.audio = audio
        self.first_frame = first_frame

    @property
    def end_frame(self) -> int:
        """The song frame after the last."""
        return self.first_frame + len(self.audio)

    def append(self, audio: np.ndarray, late_frames: int) -> None:
        """Add audio at the end; keep what those who read up to `late_frames` late still need."""
        old = self.audio[max(0, len(self.audio) - late_frames) :]
        self.first_frame += len(self.audio) - len(old)
        self.audio = np.concatenate([old, audio]) if len(old) else audio

    def since(self, frame: int) -> np.ndarray:
        """Return all from a frame on that is still there."""
        return self.audio[max(0, frame - self.first_frame) :]

    def within(self, frame: int, frames: int) -> tuple[int, np.ndarray]:
        """Return what there is of a stretch of the song, and at which frame that starts: not before the song."""
        start = max(frame, self.first_frame, 0)
        end = max(start, min(frame + frames, self.end_frame))
        return start, self.audio[start - self.first_frame : end - self.first_frame]


class Desk:
    """Strips with their states while one mix is rendered.

    Parameters
    ----------
    graph : MixGraph
    sounding : sequence of TrackNode
        the tracks that are mixed
    sources : Sources
    gains : Replay or Listening
        from where the processors of buses have their gains
    team : Team
        who computes
    clock : int
        where the clock starts
    warm : bool
        have tracks that are not kept start with the clock, not where they begin
    taps : collection of str
        strips that run for their audio before the fader, wherever it goes
    strips : Desk, optional
        that runs the strips of tracks with keys; without one they run here
    """

    def __init__(
        self,
        graph: MixGraph,
        sounding: Sequence[TrackNode],
        sources: Sources,
        gains: Replay | Listening,
        team: Team,
        *,
        clock: int = 0,
        warm: bool = False,
        taps: Collection[str] = (),
        strips: Desk | None = None,
    ) -> None:
        self._graph, self._sources, self._gains, self._team, self._strips = graph, sources, gains, team, strips
        self._clock = clock
        running = self._running(sounding, taps)
        waves = [[node for node in wave if node.id in running] for wave in graph.waves]
        self._inputs: dict[str, list[tuple[Node, Output]]] = {}
        for node in graph.nodes.values():
            if node.id in running and not isinstance(node, TrackNode):
                self._inputs[node.id] = []
        for node in graph.nodes.values():
            for output in node.outputs if node.id in running else ():
                if output.target in self._inputs:
                    self._inputs[output.target].append((node, output))
        self.windows: dict[str, Window] = {}
        self._made: dict[tuple[tuple[str, ...], int, int], np.ndarray] = {}
        self._tracks: dict[str, StripAudio] = {}
        self._ahead: dict[str, np.ndarray] = {}
        self._chains: dict[str, Chain] = {}
        for node in itertools.chain.from_iterable(waves):
            if isinstance(node, TrackNode):
                self._open_track(node, warm=warm)
            else:
                self._open_bus(node)
        # Of each wave the tracks that run here, and the buses.
        self._waves = [
            ([node for node in wave if node.id in self._tracks], [node for node in wave if node.id in self._inputs])
            for wave in waves
        ]
        self._last_tracks = max((k for k, (tracks, _) in enumerate(self._waves) if tracks), default=0)

    def _running(self, sounding: Sequence[TrackNode], taps: Collection[str]) -> frozenset[str]:
        """Return the strips that must run: what sounds, and what those have for keys that listen here."""
        chosen = [node.id for node in sounding]
        heard = {*chosen, *self._graph.fed(chosen), *self._gains.always, *taps} & self._graph.nodes.keys()
        if self._strips is not None:
            return frozenset(heard)
        known = self._graph.nodes
        keys = {key for name in heard | set(taps) for key in known[name].listens_to if self._listens(known[name])}
        return frozenset(heard) | self._behind(keys)

    def _behind(self, keys: Collection[str]) -> frozenset[str]:
        """Return what makes keys what they are, without what kept strips have listened to."""
        found: set[str] = set()
        todo = set(keys)
        while todo:
            name = todo.pop()
            node = self._graph.nodes[name]
            if node.mute or name in found:
                continue
            found.add(name)
            todo |= {one.id for one in self._graph.nodes.values() if any(o.target == name for o in one.outputs)}
            todo |= set(node.listens_to) if self._listens(node) else set()
        return frozenset(found)

    def _listens(self, node: Node) -> bool:
        return node.id not in self._sources.kept if isinstance(node, TrackNode) else not self._gains.replays

    def _open_track(self, node: TrackNode, *, warm: bool) -> None:
        kept = self._sources.kept.get(node.id)
        if kept is not None or not node.operations:
            self.windows[node.id] = Window(self._sources.stems[node.id] if kept is None else kept, node.first_frame)
        elif node.keys and self._strips is not None:
            self.windows[node.id] = self._strips.windows[node.id]
        else:
            first = max(0, self._clock - node.latency_frames - node.first_frame) if warm else 0
            audio = self._sources.stems[node.id]
            strip = StripAudio(node, audio, self._graph.rate_hz, first, functools.partial(self._keys_of_track, node))
            self._tracks[node.id] = strip
            self.windows[node.id] = Window(audio[:0], node.first_frame + first)

    def _open_bus(self, node: Node) -> None:
        self.windows[node.id] = Window(np.empty((0, 2)), self._clock - node.latency_frames)
        if node.operations:
            self._chains[node.id] = Chain(node.operations, 2, replay=self._gains.replays)
            self._chains[node.id].begin(max(0, self._clock - node.before_frames))

    def block(self, clock: int, frames: int) -> np.ndarray:
        """Return the master's output ``(frames, 2)`` at the clock's next `frames` counts."""
        self.advance(clock, frames)
        out = np.zeros((frames, 2))
        master = self._graph.buses[-1]
        if master.id in self.windows:
            self._place(master, Output(""), clock - master.latency_frames, out)
        return out

    def advance(self, clock: int, frames: int) -> None:
        """Bring every strip to the clock's next `frames` counts."""
        if self._strips is not None:
            self._strips.advance(clock, frames)
        self._made.clear()
        for k, (tracks, buses) in enumerate(self._waves):
            pieces = [functools.partial(self._read_on, node, clock + frames) for node in tracks]
            if k == self._last_tracks > 0:  # who waits for nobody does not make others wait next time
                pieces += [functools.partial(self._read_ahead, node, frames) for node in self._waves[0][0]]
            self._team.do(pieces)
            self._sum(buses, clock, frames)

    def _read_on(self, node: Node, clock: int) -> None:
        """Bring a track's window up to what it gives out at a count of the clock."""
        window = self.windows[node.id]
        missing = clock - node.latency_frames - window.end_frame
        if missing > 0:
            ahead = self._ahead.pop(node.id, None)
            if ahead is None or len(ahead) < missing:
                rest = self._tracks[node.id].read(missing - (0 if ahead is None else len(ahead)))
                ahead = rest if ahead is None else np.concatenate([ahead, rest])
            if len(ahead) > missing:
                self._ahead[node.id] = ahead[missing:]
            window.append(ahead[:missing], self._graph.mix.held_frames[node.id])

    def _read_ahead(self, node: Node, frames: int) -> None:
        """Have what a track gives out over the next frames ready."""
        if node.id not in self._ahead:
            self._ahead[node.id] = self._tracks[node.id].read(frames)

    def _sum(self, buses: Sequence[Node], clock: int, frames: int) -> None:
        """Sum and process buses that do not wait for each other, a bus to a thread.

        To place a block takes less time than threads wait for each other to ask for it: no bus is cut into parts.
        """

        def made(bus: Node) -> None:
            total = np.zeros((frames, 2))
            for node, output in self._inputs[bus.id]:
                self._place(node, output, clock - bus.before_frames, total)
            self._finish(bus, clock, total)

        self._team.do(functools.partial(made, bus) for bus in buses)

    def _finish(self, bus: Node, clock: int, audio: np.ndarray) -> None:
        """Run a bus's operations over its input, in place."""
        chain = self._chains.get(bus.id)
        if chain is not None:
            early = min(len(audio), max(0, bus.before_frames - clock))
            frames = len(audio) - early
            gains = self._gains.block(bus, clock, len(audio)) if bus.gains else None
            keys = self._heard(bus, chain.keys, clock + early - bus.before_frames, frames) if chain.keys else None
            chain.process(audio[early:], keys, None if gains is None else gains[early:])
            if gains is not None:
                self._gains.note(bus, gains)
        self.windows[bus.id].append(audio, self._graph.mix.held_frames[bus.id])

    def _place(self, node: Node, output: Output, frame: int, out: np.ndarray) -> None:
        """Add what lies from song frame `frame` on to a bus, through the strip's lanes."""
        start, audio = self.windows[node.id].within(frame, len(out))
        if len(audio):
            lanes = output.lanes
            if lanes is None:
                lanes = node.pre_lanes if output.pre else node.lanes
            factor = node.scale * output.factor
            for factors in (node.gate, node.mutes):
                if factors is not None:
                    audio = _gated(audio, lane_values(factors, start, len(audio)))
            add_placed(audio, start, lanes, self._graph.law, factor, out[start - frame :][: len(audio)])

    def _keys_of_track(self, node: TrackNode, keys: Sequence[Key], frame: int, frames: int) -> np.ndarray:
        return self._heard(node, keys, node.first_frame + frame, frames)

    def _heard(self, node: Node, keys: Sequence[Key], frame: int, frames: int) -> np.ndarray:
        """Return keys float32 ``(frames, keys, 2)`` where the input of a strip is at song frame `frame`."""
        heard = [self._key(node.keys[key.id], frame - key.late_frames, frames) for key in keys]
        return heard[0].reshape(frames, 1, 2) if len(heard) == 1 else np.stack(heard, axis=1)

    def _key(self, names: tuple[str, ...], frame: int, frames: int) -> np.ndarray:
        """Return float32 ``(frames, 2)`` of the strips that are a key, from a song frame on.

        Many strips may listen to one key: while the clock stands it is made once.
        """
        made = self._made.get((names, frame, frames))
        if made is None:
            total = np.zeros((frames, 2))
            for name in names:
                if name in self.windows:
                    start, audio = self.windows[name].within(frame, frames)
                    scaled = audio.astype(np.float64) * self._graph.nodes[name].scale
                    np.nan_to_num(scaled, copy=False, nan=0.0, posinf=0.0, neginf=0.0)  # as a strip reads a stem
                    total[start - frame :][: len(audio)] += scaled
            made = np.clip(total, -_LARGEST, _LARGEST).astype(np.float32)
            self._made[names, frame, frames] = made
        return made


def _gated(audio: np.ndarray, factors: np.ndarray) -> np.ndarray:
    """Return audio times a factor a frame, in doubles; what is not finite is silence, as where a strip is placed."""
    gated: np.ndarray = np.multiply(audio, factors[:, np.newaxis], dtype=np.float64)
    np.nan_to_num(gated, copy=False, nan=0.0, posinf=0.0, neginf=0.0)
    return gated
