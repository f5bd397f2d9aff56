# SPDX-License-Identifier: Apache-2.0
"""Render a mix graph in blocks: the same bits for any block size and any number of threads."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.engine.curves import Curves, Listening, Logging, Noting, Replay
from mixwright.engine.desk import Desk, Sources
from mixwright.engine.graph import MixGraph, Node, TrackNode, check_selection
from mixwright.engine.kept_strips import held_strips, kept_strips
from mixwright.errors import InputError, InternalError, SettingError
from mixwright.jobs.cache import Cache
from mixwright.jobs.pool import Team
from mixwright.jobs.progress import Cancel, Job, Report, silent

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
    excerpt: bool = False,
    block_frames: int = 32768,
    workers: int | None = None,
    cache: Cache | None = None,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> Iterator[np.ndarray]:
    """Render the mix, or an excerpt of it, as float64 blocks ``(n, 2)``, `graph.frames` frames in all.

    A mix that is not linear on its buses is rendered whole once to `log` their gains; everything else is rendered with
    the logged `curves`, so that parts add up to the mix. Strips of tracks always are what they are in the whole mix.

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
    excerpt : bool
        render a span of a mix at once, within -80 dBFS of the whole: strips that `cache` does not hold run for the span
        alone, and without `curves` processors listen to it
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
    part = tracks is not None or graph.whole is not None
    if log is not None and (part or span is not None):
        raise InternalError("gains are logged from the whole mix")
    live = _live_tracks(graph, tracks)
    gains: Listening | Replay
    if log is not None:
        gains = Logging(graph, log)
    elif excerpt and curves is None and not part:
        gains = Listening(graph)
    else:
        gains = Replay(graph, curves)
    for node in _needed(graph, live, gains):
        _check_stem(node, stems)
    first, end = (0, graph.frames) if span is None else (max(0, span[0]), min(graph.frames, span[1]))
    work = _Work(graph, live, stems, gains, (first, end), excerpt, part, block_frames, workers, cache, report, cancel)
    return work.blocks()


def listened(
    graph: MixGraph,
    stems: Mapping[str, np.ndarray],
    span: tuple[int, int],
    *,
    block_frames: int = 32768,
    workers: int | None = None,
    cache: Cache | None = None,
    cancel: Cancel | None = None,
) -> tuple[Curves, np.ndarray]:
    """Render an excerpt of a mix that is not linear, and return with which gains its parts are rendered there.

    Processors start to listen so long before the excerpt as what they do lingers, twice; before that the gains are 0.

    Parameters
    ----------
    graph, stems, block_frames, workers, cache, cancel
        as for :func:`render`
    span : (first frame, end frame)

    Returns
    -------
    curves : Curves
        good for renders of that span or of parts of it
    mix : ndarray, float64, (frames, 2)
    """
    gains = Noting(graph)
    live = _live_tracks(graph, None)
    for node in _needed(graph, live, gains):
        _check_stem(node, stems)
    first, end = max(0, span[0]), min(graph.frames, span[1])
    lead = min(sum(_memory(bus, graph.rate_hz) for bus in graph.buses), LONGEST_PRE_ROLL_S * graph.rate_hz)
    wider = max(0, first - lead), end
    work = _Work(
        graph,
        live,
        stems,
        gains,
        wider,
        True,
        False,
        block_frames,
        workers,
        cache,
        silent,
        cancel,
    )
    made = [np.zeros((0, 2)), *work.blocks()]
    return Curves(gains.gains), np.concatenate(made)[first - wider[0] :]


def _live_tracks(graph: MixGraph, tracks: Collection[str] | None) -> list[TrackNode]:
    muted = {bus.id for bus in graph.buses if bus.mute}
    return [
        node
        for node in graph.tracks
        if not node.mute
        and (tracks is None or node.id in tracks)
        and any(output.target not in muted for output in node.outputs)
    ]


def _needed(graph: MixGraph, live: Sequence[TrackNode], gains: Listening | Replay) -> list[TrackNode]:
    """Return the tracks whose audio is needed: those that sound, and what is listened to."""
    listening = [node.id for node in live if node.keys]
    if not gains.replays:
        listening += [bus.id for bus in graph.buses if bus.keys]
    names = {node.id for node in live} | graph.mix.behind(listening)
    return [node for node in graph.mix.tracks if node.id in names]


def _check_stem(node: TrackNode, stems: Mapping[str, np.ndarray]) -> None:
    audio = stems.get(node.id)
    if audio is None:
        raise InputError("its audio is missing", where=f"track {node.id}")
    if audio.dtype != np.float32 or audio.ndim != 2 or audio.shape[1] not in (1, 2) or len(audio) != node.frames:
        raise InputError(
            f"audio of shape {audio.shape}, {audio.dtype} does not fit: float32 ({node.frames}, 1 or 2) is needed",
            where=f"track {node.id}",
        )


@dataclass(frozen=True, eq=False)
class _Work:
    graph: MixGraph
    live: Sequence[TrackNode]
    stems: Mapping[str, np.ndarray]
    gains: Listening | Replay
    span: tuple[int, int]
    excerpt: bool
    part: bool
    block_frames: int
    workers: int | None
    cache: Cache | None
    report: Report
    cancel: Cancel | None

    def blocks(self) -> Iterator[np.ndarray]:
        """Yield the mix from the first frame of the span to its last."""
        first, end = self.span
        begin = max(0, first - self.gains.before_frames)
        with Team(self.workers) as team:
            desk, clock = self._desk(begin, team)
            job = Job(self.gains.job, max(1, end - first), self.report, self.cancel)
            mixed = self._mixed(desk, clock, begin, min(self.graph.frames, end + self.gains.ahead_frames))
            at = begin
            for block in self.gains.limit(mixed, begin):
                wanted = block[max(0, first - at) : max(0, end - at)]
                at += len(block)
                if len(wanted):
                    job.step(len(wanted))
                    yield wanted

    def _mixed(self, desk: Desk, clock: int, begin: int, end: int) -> Iterator[np.ndarray]:
        lag = self.graph.latency_frames
        start = clock - lag
        while start < end:
            stop = min(start + self.block_frames, end)
            block = desk.block(start + lag, stop - start)[max(0, begin - start) :]
            if len(block):
                yield block
            start = stop

    def _desk(self, begin: int, team: Team) -> tuple[Desk, int]:
        """Return the desk, and where its clock starts so that at a frame all is as it would be in the whole mix."""
        graph, kept = self.graph, self._kept(team)
        running = [node for node in _needed(graph, self.live, self.gains) if node.operations and node.id not in kept]
        keyed = [node.id for node in running if node.keys]
        remembered = sum(_memory(bus, graph.rate_hz) for bus in graph.buses)
        if self.excerpt:
            remembered += max((_memory(node, graph.rate_hz) for node in running), default=0)
        clock = max(0, begin - min(remembered, LONGEST_PRE_ROLL_S * graph.rate_hz))
        if keyed and not self.excerpt:
            clock = 0  # a strip that runs anew hears all of what it listens to
        sources = Sources(self.stems, kept)
        strips = None
        if keyed and self.part:
            taps = {node.id for node in self.live} & set(keyed)
            listening = Listening(graph.mix)
            strips = Desk(graph.mix, (), sources, listening, team, clock=clock, warm=self.excerpt, taps=taps)
        desk = Desk(graph, self.live, sources, self.gains, team, clock=clock, warm=self.excerpt, strips=strips)
        return desk, clock

    def _kept(self, team: Team) -> dict[str, np.ndarray]:
        if self.cache is None:
            return {}
        if self.excerpt:
            needed = _needed(self.graph, self.live, self.gains)
            return held_strips(self.graph, needed, self.stems, self.cache)
        return kept_strips(self.graph, self.live, self.stems, team, self.cache, self.report, self.cancel)


def _memory(node: Node, rate_hz: int) -> int:
    return sum(operation.memory_frames(rate_hz) for operation in node.operations)
