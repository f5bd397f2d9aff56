# SPDX-License-Identifier: Apache-2.0
"""The mix as a graph: tracks into groups and sends, those into the master; made from a song, its lanes and its moves.

Accepted moves are an overlay: the song's own settings stay as they are, and every level and position is compiled
here into one lane per parameter.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from hashlib import sha256
from typing import NamedTuple

import numpy as np

from mixwright.core.filters import strip_sections
from mixwright.engine.lanes import packed
from mixwright.engine.operation import Delay, Gain, Operation, Sections
from mixwright.engine.overlay import Overlay
from mixwright.engine.reverb import reverberation
from mixwright.errors import SettingError, where
from mixwright.jobs.cache import Part
from mixwright.model.lane import Lane
from mixwright.model.song import MASTER, Song, Track, used_tracks
from mixwright.model.strip import Compressor, Limiter, Reverb, Strip
from mixwright.native import mathematics

#: The name of the limiter among a graph's processors; no bus is called so.
LIMITER = "limiter"


@dataclass(frozen=True, eq=False, kw_only=True)
class Node:
    """One strip: operations, then the compressor, then `lanes` (packed), then `outputs`.

    `scale` is what trim and polarity multiply by where no operation needs them earlier. `outputs` are the buses it
    feeds, each with a factor. `before` and `latency_frames`: by how much its input and its output lie behind the
    song while rendering.
    """

    id: str
    operations: tuple[Operation, ...]
    lanes: np.ndarray
    scale: float
    mute: bool
    outputs: tuple[tuple[str, float], ...]
    compressor: Compressor | None = None
    before_frames: int = 0
    latency_frames: int = 0

    def identity(self) -> tuple[Part, ...]:
        """Return all of this that can be heard, as parts of a key."""
        operations = tuple(operation.identity() for operation in self.operations)
        outputs = tuple((target, factor) for target, factor in self.outputs)
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

    `buses` are in the order in which they are computed: groups, sends, the master. `limiter` comes after the
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
        reached = {target for node in self.tracks if node.id in tracks for target, _ in node.outputs}
        for bus in self.buses:
            if bus.id in reached:
                passed.add(bus.id)
                reached |= {target for target, _ in bus.outputs}
        keys = {name for name in self.dynamics if name in passed}
        for node in reversed(every):
            if any(target in keys for target, _ in node.outputs):
                keys.add(node.id)
        return [node for node in every if node.id in passed | keys]


def song_frames(song: Song, frames: Mapping[str, int]) -> int:
    """Return the length of the mix: to the last frame of the used track that ends last, as delivered, and its tail.

    The tail is that of the longest reverb which anything is sent to. Mutes and delays of strips do not change the
    length, so that every print of a song has one.

    Parameters
    ----------
    song : Song
    frames : mapping
        length of each used track at the song's rate, by track id
    """
    used = used_tracks(song)
    homes = {track.group for track in used}
    fed = {name for track in used for name in track.sends}
    fed |= {name for group in song.groups if group.id in homes for name in group.sends}
    tails = (s.reverb.pre_delay_ms / 1000.0 + s.reverb.decay_s for s in song.sends if s.reverb and s.id in fed)
    end = max((track.start_frame + frames[track.id] for track in used), default=0)
    return end + round(max(tails, default=0.0) * song.rate_hz)


def compile_mix(song: Song, lanes: Sequence[Lane], frames: Mapping[str, int]) -> MixGraph:
    """Return the graph of a song with its kept lanes and accepted moves.

    Parameters
    ----------
    song : Song
    lanes : sequence of Lane
        kept automation
    frames : mapping
        length of each used track at the song's rate, by track id

    Raises
    ------
    SettingError
        where a setting does not fit: a filter above half the rate, a move without its setting
    """
    overlay = Overlay(song, lanes, song_frames(song, frames))
    tracks = []
    for track in used_tracks(song):
        with where(f"track {track.id}"):
            tracks.append(_track_node(song, track, overlay, frames[track.id]))
    said = [
        *(_Bus("group", g.id, g.strip, sends=g.sends, mute=g.mute, compressor=g.compressor) for g in song.groups),
        *(_Bus("send", s.id, s.strip, reverb=s.reverb) for s in song.sends),
        _Bus(MASTER, MASTER, song.master, compressor=song.master.compressor),
    ]
    buses = []
    for one in said:
        with where(MASTER if one.kind == MASTER else f"{one.kind} {one.name}"):
            buses.append(_bus_node(song, one, overlay))
    law = song.pan_law_db / 3.0
    return aligned(MixGraph(song.rate_hz, overlay.frames, law, tuple(tracks), tuple(buses), song.master.limiter))


def bus(name: str, kind: str) -> str:
    """Return the name of a bus in the graph; groups and sends of a song may share an id."""
    return f"{kind} {name}"


def aligned(graph: MixGraph) -> MixGraph:
    """Return the graph with the latencies of its buses worked out from their operations.

    The input of a bus lies as far behind the song as the latest of what feeds it; `render` reads all else
    correspondingly earlier. Tracks lie on disk and have no latency: they are read ahead.
    """
    behind = {node.id: 0 for node in graph.buses}
    done = []
    for node in graph.buses:
        late = behind[node.id] + sum(operation.latency_frames for operation in node.operations)
        done.append(replace(node, before_frames=behind[node.id], latency_frames=late))
        for target, _ in node.outputs:
            behind[target] = max(behind[target], late)
    return replace(graph, buses=tuple(done))


class _Bus(NamedTuple):
    """What a song says of a bus."""

    kind: str
    name: str
    strip: Strip
    sends: Mapping[str, float] = {}
    mute: bool = False
    reverb: Reverb | None = None
    compressor: Compressor | None = None


def _bus_node(song: Song, said: _Bus, overlay: Overlay) -> Node:
    delay = Delay(max(0, _delay_frames(said.strip, song)), max(0, -_delay_frames(said.strip, song)))
    operations, scale = _operations(said.strip, song.rate_hz, gain_first=said.compressor is not None)
    if said.reverb is not None:
        operations = (*operations, reverberation(said.reverb, song.rate_hz))
    return Node(
        id=bus(said.name, said.kind),
        operations=(*operations, delay) if delay != Delay(0) else operations,
        lanes=packed(overlay.bus_lanes(said.name, said.kind, said.strip)),
        scale=scale,
        mute=said.mute,
        outputs=() if said.kind == MASTER else ((bus(MASTER, MASTER), 1.0), *_sends(said.sends)),
        compressor=said.compressor,
    )


def _track_node(song: Song, track: Track, overlay: Overlay, frames: int) -> TrackNode:
    operations, scale = _operations(track.strip, song.rate_hz)
    home = bus(track.group, "group") if track.group else bus(MASTER, MASTER)
    return TrackNode(
        id=track.id,
        operations=operations,
        lanes=packed(overlay.track_lanes(track)),
        scale=scale,
        mute=track.mute,
        outputs=((home, 1.0), *_sends(track.sends)),
        track=track,
        first_frame=track.start_frame + _delay_frames(track.strip, song),
        frames=frames,
    )


def _sends(sends: Mapping[str, float]) -> tuple[tuple[str, float], ...]:
    return tuple((bus(name, "send"), float(mathematics.ratio(db))) for name, db in sends.items())


def _delay_frames(strip: Strip, song: Song) -> int:
    return round(strip.delay_ms * song.rate_hz / 1000.0)


def _operations(strip: Strip, rate_hz: int, *, gain_first: bool = False) -> tuple[tuple[Operation, ...], float]:
    """Return a strip's operations without its delay, and the factor that is left for the fader's stage.

    Without filters trim and polarity are left to it, unless a compressor must hear them: `gain_first`.
    """
    gain = float(mathematics.ratio(strip.trim_db)) * (-1.0 if strip.polarity == "inverted" else 1.0)
    sections = strip_sections(strip, rate_hz)
    if len(sections) == 0 and not gain_first:
        return (), gain
    before = (Gain(gain),) if gain != 1.0 else ()
    return (*before, Sections(sections)) if len(sections) else before, 1.0


def check_selection(graph: MixGraph, tracks: Sequence[str]) -> None:
    """Raise SettingError where a track named is not in the mix."""
    known = {node.id for node in graph.tracks}
    for track in tracks:
        if track not in known:
            raise SettingError(f"no track of the mix is called {track!r}", hint=f"known: {', '.join(sorted(known))}")
