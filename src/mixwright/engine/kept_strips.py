# SPDX-License-Identifier: Apache-2.0
"""Post-strip audio in the cache: made once for each track, those that listen to others after these."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

import numpy as np

from mixwright.engine.curves import Listening
from mixwright.engine.desk import Desk, Sources
from mixwright.engine.graph import MixGraph, TrackNode
from mixwright.engine.strip_audio import StripAudio, strip_frames, strip_key
from mixwright.jobs.array_file import ArrayWriter
from mixwright.jobs.cache import Cache
from mixwright.jobs.pool import Team
from mixwright.jobs.progress import Cancel, Job, Report, until_stopped

_BLOCK_FRAMES = 65536


def held_strips(
    graph: MixGraph, live: Sequence[TrackNode], stems: Mapping[str, np.ndarray], cache: Cache
) -> dict[str, np.ndarray]:
    """Return what the cache holds of the post-strip audio of tracks."""
    keys = {node.id: strip_key(graph, node, stems[node.id].shape) for node in live if can_be_kept(graph, node)}
    found = ((id_, cache.held(key)) for id_, key in keys.items() if cache.holds(key))
    return {id_: audio for id_, audio in found if audio is not None}


def kept_strips(
    graph: MixGraph,
    live: Sequence[TrackNode],
    stems: Mapping[str, np.ndarray],
    team: Team,
    cache: Cache,
    report: Report,
    cancel: Cancel | None,
) -> dict[str, np.ndarray]:
    """Return the post-strip audio of tracks that have operations, from the cache, where it is made if it is missing.

    With it comes that of the tracks which the missing ones listen to.
    """
    wanted = {node.id for node in live if can_be_kept(graph, node)}
    missing = {
        node.id
        for node in live
        if node.id in wanted and node.keys and not cache.holds(strip_key(graph, node, stems[node.id].shape))
    }
    wanted |= graph.mix.behind(missing)
    waves = [
        [node for node in wave if isinstance(node, TrackNode) and node.id in wanted and can_be_kept(graph, node)]
        for wave in graph.mix.waves
    ]
    count = sum(map(len, waves))
    if not count:
        return {}
    job = Job("tracks", count, report, cancel)
    found: dict[str, np.ndarray] = {}

    def one(node: TrackNode, before: Mapping[str, np.ndarray]) -> None:
        audio = stems[node.id]
        make = _maker(graph, node, Sources(stems, before), cancel)
        found[node.id] = cache.array(strip_key(graph, node, audio.shape), make)
        job.step()

    for wave in waves:
        team.do(functools.partial(one, node, dict(found)) for node in wave)
    return found


def can_be_kept(graph: MixGraph, node: TrackNode) -> bool:
    """Tell whether a track has operations, and all files are known that they depend on."""
    behind = graph.mix.behind(node.listens_to)
    return bool(node.operations and node.track.sha256) and all(
        one.track.sha256 for one in graph.mix.tracks if one.id in behind
    )


def _maker(graph: MixGraph, node: TrackNode, sources: Sources, cancel: Cancel | None) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        audio = sources.stems[node.id]
        # Written, not mapped: on a full disk a write fails, while a store into mapped memory ends the process.
        with ArrayWriter(path, audio.shape[1]) as writer:
            for block in _heard(graph, node, sources, cancel) if node.keys else _alone(graph, node, audio, cancel):
                writer.push(block)

    return make


def _alone(graph: MixGraph, node: TrackNode, audio: np.ndarray, cancel: Cancel | None) -> Iterator[np.ndarray]:
    source = StripAudio(node, audio, graph.rate_hz)
    for start in until_stopped(range(0, source.frames, _BLOCK_FRAMES), cancel):
        yield source.read(min(_BLOCK_FRAMES, source.frames - start))


def _heard(graph: MixGraph, node: TrackNode, sources: Sources, cancel: Cancel | None) -> Iterator[np.ndarray]:
    """Yield the post-strip audio of a track that listens to others, for which those run as they do in the mix."""
    mix = graph.mix
    frames = strip_frames(node, len(sources.stems[node.id]), graph.rate_hz)
    with Team(1) as team:
        desk = Desk(mix, (), sources, Listening(mix), team, taps=(node.id,))
        window = desk.windows[node.id]
        given = 0
        for clock in until_stopped(
            range(0, max(0, node.first_frame + frames + node.latency_frames), _BLOCK_FRAMES), cancel
        ):
            desk.advance(clock, _BLOCK_FRAMES)
            block = window.since(node.first_frame + given)[: frames - given]
            given += len(block)
            if len(block):
                yield np.ascontiguousarray(block)
