# SPDX-License-Identifier: Apache-2.0
"""Render a mix graph in blocks: the same bits for any block size and any number of threads."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence

import numpy as np

from mixwright.engine.chain import Chain
from mixwright.engine.curves import Curves, Logging, Replay
from mixwright.engine.graph import MixGraph, Node, Output, TrackNode, check_selection
from mixwright.engine.strip_audio import StripAudio, kept_strip_audio
from mixwright.errors import InputError, InternalError, SettingError
from mixwright.jobs.cache import Cache
from mixwright.jobs.pool import Team
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.native.place import add_placed

#: Buses of an excerpt start at most so long before it.
LONGEST_PRE_ROLL_S = 5


def render(
    graph: MixGraph,
    stems: Mapping[str, np.ndarray],
    *,
    tracks: Collection[str] | None = None,
    curves: Curves | None = None,
    log: Callable[[np.ndarray], object] | None = None,
    span: tuple[int, int] | None = None,
    block_frames: int = 16384,
    workers: int | None = None,
    cache: Cache | None = None,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> Iterator[np.ndarray]:
    """Render the mix, or an excerpt of it, as float64 blocks ``(n, 2)``, `graph.frames` frames in all.

    A mix with compressors or a limiter is rendered whole once to `log` their gains; everything else is rendered with
    the logged `curves`, so that parts add up to the mix.

    Parameters
    ----------
    graph : MixGraph
        from `compile_mix`
    stems : mapping
        float32 audio ``(frames, 1|2)`` at the song's rate by track id; needed only for tracks that sound
    tracks : collection of str, optional
        only these sound, everything else as in the mix
    curves : Curves, optional
        the gains of `graph.dynamics`; needed where there are any, unless they are logged
    log : callable, optional
        takes the gains as float32 blocks ``(n, processors)``, `graph.frames` frames in all; only for the whole mix
    span : (first frame, end frame), optional
        only this excerpt; buses start so long before it as what they do lingers, at most LONGEST_PRE_ROLL_S: then they
        are silent as in the whole mix, or within -80 dBFS of it
    block_frames : int
        frames of a block, at least 1
    workers : int, optional
        threads; None: as many as the machine has, at most 8
    cache : Cache, optional
        keeps post-strip audio of tracks whose file hash is known, so that a changed track renders alone
    report, cancel
        progress and stop switch

    Raises
    ------
    SettingError
        where `tracks` names a track that is not in the mix, or `block_frames` is none
    InputError
        where a stem is missing or has the wrong shape
    Cancelled
        when the user stopped it
    """
    if block_frames < 1:
        raise SettingError(f"blocks of {block_frames} frames", hint="at least 1 is needed")
    if tracks is not None:
        check_selection(graph, sorted(tracks))
        if log is not None:
            raise InternalError("gains are logged from the whole mix")
    if span is not None and log is not None:
        raise InternalError("gains are logged from the whole mix")
    live = _live_tracks(graph, tracks)
    for node in live:
        _check_stem(node, stems)
    gains = Logging(graph, log) if log is not None else Replay(graph, curves)
    first, end = (0, graph.frames) if span is None else (max(0, span[0]), min(graph.frames, span[1]))
    return _blocks(graph, live, stems, gains, (first, end), block_frames, workers, cache, report, cancel)


def _live_tracks(graph: MixGraph, tracks: Collection[str] | None) -> list[TrackNode]:
    muted = {bus.id for bus in graph.buses if bus.mute}
    return [
        node
        for node in graph.tracks
        if not node.mute
        and (tracks is None or node.id in tracks)
        and any(output.target not in muted for output in node.outputs)
    ]


def _check_stem(node: TrackNode, stems: Mapping[str, np.ndarray]) -> None:
    audio = stems.get(node.id)
    if audio is None:
        raise InputError("its audio is missing", where=f"track {node.id}")
    if audio.dtype != np.float32 or audio.ndim != 2 or audio.shape[1] not in (1, 2) or len(audio) != node.frames:
        raise InputError(
            f"audio of shape {audio.shape}, {audio.dtype} does not fit: float32 ({node.frames}, 1 or 2) is needed",
            where=f"track {node.id}",
        )


def _blocks(
    graph: MixGraph,
    live: Sequence[TrackNode],
    stems: Mapping[str, np.ndarray],
    gains: Logging | Replay,
    span: tuple[int, int],
    block_frames: int,
    workers: int | None,
    cache: Cache | None,
    report: Report,
    cancel: Cancel | None,
) -> Iterator[np.ndarray]:
    with Team(workers) as team:
        kept = _kept(graph, live, stems, team, cache, report, cancel) if cache is not None else {}
        desk = _Desk(graph, live, stems, kept, gains, span[0], team)
        job = Job(gains.job, max(1, span[1] - span[0]), report, cancel)
        for block in gains.limit(_mixed(graph, desk, span, block_frames), span[0]):
            job.step(len(block))
            yield block


def _mixed(graph: MixGraph, desk: _Desk, span: tuple[int, int], block_frames: int) -> Iterator[np.ndarray]:
    """Yield the master's output from the first frame of a span to its last."""
    lag = graph.latency_frames
    start = desk.first_clock - lag
    while start < span[1]:
        end = min(start + block_frames, span[1])
        block = desk.block(start + lag, end - start)[max(0, span[0] - start) :]
        if len(block):
            yield block
        start = end


def _kept(
    graph: MixGraph,
    live: Sequence[TrackNode],
    stems: Mapping[str, np.ndarray],
    team: Team,
    cache: Cache,
    report: Report,
    cancel: Cancel | None,
) -> dict[str, np.ndarray]:
    """Return the post-strip audio of tracks that have filters, each made once and kept."""
    nodes = [node for node in live if node.operations and node.track.sha256]
    if not nodes:
        return {}
    job = Job("tracks", len(nodes), report, cancel)
    found: dict[str, np.ndarray] = {}

    def one(node: TrackNode) -> None:
        found[node.id] = kept_strip_audio(node, stems[node.id], graph.rate_hz, cache, cancel)
        job.step()

    team.do(functools.partial(one, node) for node in nodes)
    return found


def _begun(bus: Node, clock: int) -> Chain:
    chain = Chain(bus.operations, 2)
    chain.begin(max(0, clock - bus.before_frames))
    return chain


class _Window:
    """The newest stretch of a strip's audio, long enough for those who read it late; frame = song frame."""

    def __init__(self, audio: np.ndarray, first_frame: int) -> None:
        self.audio = audio
        self.first_frame = first_frame

    def append(self, audio: np.ndarray, late_frames: int) -> None:
        """Add audio at the end; keep what those who read up to `late_frames` late still need."""
        old = self.audio[max(0, len(self.audio) - late_frames) :]
        self.first_frame += len(self.audio) - len(old)
        self.audio = np.concatenate([old, audio]) if len(old) else audio

    def place(self, node: Node, output: Output, law: float, frame: int, out: np.ndarray) -> None:
        """Add what lies from song frame `frame` on to a bus, through the strip's lanes."""
        start = max(frame, self.first_frame, 0)  # nothing sounds before the song, however late the graph
        end = min(frame + len(out), self.first_frame + len(self.audio))
        if start < end:
            audio = self.audio[start - self.first_frame : end - self.first_frame]
            lanes = node.pre_lanes if output.pre else node.lanes
            add_placed(audio, start, lanes, law, node.scale * output.factor, out[start - frame : end - frame])


class _Desk:
    """All strips with their states while one mix is rendered.

    Time runs on a clock that starts `graph.latency_frames` before the song does; at a count of the clock the input of
    a bus holds the song frame that lies `before_frames` earlier, its output the one `latency_frames` earlier. It starts
    at `first_clock`: for a mix from song frame `first` on, so long before as the buses remember.
    """

    def __init__(
        self,
        graph: MixGraph,
        live: Sequence[TrackNode],
        stems: Mapping[str, np.ndarray],
        kept: Mapping[str, np.ndarray],
        gains: Logging | Replay,
        first: int,
        team: Team,
    ) -> None:
        self._graph = graph
        self._gains = gains
        self._team = team
        fed = {output.target for node in live for output in node.outputs} | set(gains.always)
        for bus in itertools.chain.from_iterable(graph.waves):
            if bus.id in fed and not bus.mute:
                fed.update(output.target for output in bus.outputs)
        self._waves = [[bus for bus in wave if bus.id in fed and not bus.mute] for wave in graph.waves]
        self._buses = [bus for bus in graph.buses if bus.id in fed and not bus.mute]
        self._before = {bus.id: bus.before_frames for bus in self._buses}
        self._inputs: dict[str, list[tuple[Node, Output]]] = {bus.id: [] for bus in self._buses}
        for node in (*live, *self._buses):
            for output in node.outputs:
                if output.target in self._inputs:
                    self._inputs[output.target].append((node, output))
        remembered = sum(operation.memory_frames(graph.rate_hz) for bus in self._buses for operation in bus.operations)
        self.first_clock = max(0, first - min(remembered, LONGEST_PRE_ROLL_S * graph.rate_hz))
        self._chains = {bus.id: _begun(bus, self.first_clock) for bus in self._buses if bus.operations}
        self._late = {node.id: self._latest_reader(node) for node in (*live, *self._buses)}
        self._windows: dict[str, _Window] = {}
        self._running: list[tuple[TrackNode, StripAudio]] = []
        for node in live:
            audio = kept.get(node.id, stems[node.id])
            if node.operations and node.id not in kept:
                self._running.append((node, StripAudio(node, audio, graph.rate_hz)))
                audio = audio[:0]
            self._windows[node.id] = _Window(audio, node.first_frame)
        for bus in self._buses:
            self._windows[bus.id] = _Window(np.empty((0, 2)), self.first_clock - bus.latency_frames)

    def block(self, clock: int, frames: int) -> np.ndarray:
        """Return the master's output ``(frames, 2)`` at the clock's next `frames` counts."""
        self._team.do(functools.partial(self._advance, node, strip, clock + frames) for node, strip in self._running)
        for wave in self._waves:
            self._sum(wave, clock, frames)
        out = np.zeros((frames, 2))
        master = self._graph.buses[-1]
        if master.id in self._inputs:
            self._windows[master.id].place(master, Output(""), self._graph.law, clock - master.latency_frames, out)
        return out

    def _latest_reader(self, node: Node) -> int:
        late = [self._before[o.target] - node.latency_frames for o in node.outputs if o.target in self._before]
        return max(late, default=0)

    def _advance(self, node: TrackNode, strip: StripAudio, end: int) -> None:
        """Bring a track's window up to the song frame `end`."""
        window = self._windows[node.id]
        missing = end - (window.first_frame + len(window.audio))
        if missing > 0:
            window.append(strip.read(missing), self._late[node.id])

    def _sum(self, buses: Sequence[Node], clock: int, frames: int) -> None:
        """Sum and process buses that do not feed each other; each thread takes a part of the frames, then a bus."""
        inputs = {bus.id: np.zeros((frames, 2)) for bus in buses}
        parts = self._team.workers if frames >= 1024 else 1
        edges = [frames * k // parts for k in range(parts + 1)]

        def fill(start: int, end: int) -> None:
            for bus in buses:
                frame = clock + start - bus.before_frames
                for node, output in self._inputs[bus.id]:
                    self._windows[node.id].place(node, output, self._graph.law, frame, inputs[bus.id][start:end])

        def finish(bus: Node) -> None:
            if bus.id in self._chains:  # it counts the frames of the song, which nothing comes before
                self._chains[bus.id].process(inputs[bus.id][max(0, bus.before_frames - clock) :])
            if bus.compressor is not None:
                self._gains.compress(bus.id, inputs[bus.id], clock - bus.latency_frames)
            self._windows[bus.id].append(inputs[bus.id], self._late[bus.id])

        self._team.do(functools.partial(fill, edges[k], edges[k + 1]) for k in range(parts))
        self._team.do(functools.partial(finish, bus) for bus in buses)
