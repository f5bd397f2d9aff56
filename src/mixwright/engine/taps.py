# SPDX-License-Identifier: Apache-2.0
"""What stands in strips before their faders, in an excerpt; and how a strip's lanes place it, and whether they stay."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np

from mixwright.engine.curves import Listening
from mixwright.engine.desk import Desk, Sources
from mixwright.engine.graph import MixGraph
from mixwright.engine.kept_strips import held_strips
from mixwright.engine.render import LONGEST_PRE_ROLL_S
from mixwright.jobs.cache import Cache
from mixwright.jobs.pool import Team
from mixwright.jobs.progress import Cancel, until_stopped
from mixwright.native.place import add_placed, lane_values

_BLOCK_FRAMES = 65536


def tapped_excerpt(
    graph: MixGraph,
    names: Collection[str],
    stems: Mapping[str, np.ndarray],
    span: tuple[int, int],
    cache: Cache,
    cancel: Cancel | None = None,
) -> dict[str, np.ndarray]:
    """Return what strips give to their faders, as whoever has them for a key hears it.

    Strips run for the excerpt alone, from so long before it as what they do lingers, at most 5 s: within -80 dBFS of
    what they are in the whole mix.

    Parameters
    ----------
    graph : MixGraph
    names : collection of str
        strips as the graph calls them
    stems : mapping
        float32 audio of tracks
    span : (first frame, end frame)
    cache, cancel

    Returns
    -------
    dict
        float32 ``(frames, 1|2)`` by name; silence where a strip is muted
    """
    first, end = max(0, span[0]), min(graph.frames, span[1])
    behind = graph.behind(names)
    sounding = [track for track in graph.tracks if track.id in behind]
    nodes = [graph.nodes[name] for name in behind]
    lingers = sum(one.memory_frames(graph.rate_hz) for node in nodes for one in node.operations)
    clock = max(0, first - min(lingers, LONGEST_PRE_ROLL_S * graph.rate_hz))
    late = max((node.latency_frames for node in nodes), default=0)
    out = {name: np.zeros((end - first, 2), dtype=np.float32) for name in names}
    done = dict.fromkeys(behind.intersection(names), first)
    with Team() as team:
        sources = Sources(stems, held_strips(graph, sounding, stems, cache))
        desk = Desk(graph, sounding, sources, Listening(graph), team, clock=clock, warm=True, taps=tuple(done))
        for start in until_stopped(range(clock, end + late, _BLOCK_FRAMES), cancel):
            desk.advance(start, _BLOCK_FRAMES)
            for name, at in done.items():
                stop = min(start + _BLOCK_FRAMES - graph.nodes[name].latency_frames, end)
                if stop <= at:
                    continue
                begin, audio = desk.windows[name].within(at, stop - at)
                heard = np.nan_to_num(audio * graph.nodes[name].scale, nan=0.0, posinf=0.0, neginf=0.0)
                if out[name].shape[1] != audio.shape[1]:
                    out[name] = np.zeros((end - first, audio.shape[1]), dtype=np.float32)
                out[name][begin - first : begin - first + len(audio)] = heard
                done[name] = stop
    return out


def placing(graph: MixGraph, name: str, frame: int, channels: int) -> tuple[float, float, float, float]:
    """Return how a strip's lanes place it at a frame: left of left, left of right, right of left, right of right.

    A single channel counts as left and, of the right output, as right.
    """
    gains = np.zeros((2, 2))
    for channel in range(channels):
        unit, out = np.zeros((1, channels), dtype=np.float64), np.zeros((1, 2))
        unit[0, channel] = 1.0
        add_placed(unit, frame, graph.nodes[name].lanes, graph.law, 1.0, out)
        gains[:, channel] = out[0]
    if channels == 1:
        return float(gains[0, 0]), 0.0, 0.0, float(gains[1, 0])
    return float(gains[0, 0]), float(gains[0, 1]), float(gains[1, 0]), float(gains[1, 1])


def stays_placed(graph: MixGraph, name: str, span: tuple[int, int]) -> bool:
    """Tell whether no lane of a strip, or of a bus that it goes through, moves or mutes it in a span of frames."""
    node = graph.nodes[name]
    first, frames = span[0], span[1] - span[0]
    if node.mutes is not None and np.any(lane_values(node.mutes, first, frames) != 1.0):
        return False
    at = 0
    while at < len(node.lanes):
        lane = node.lanes[at : at + 1 + 2 * int(node.lanes[at])]
        if lane[0] > 1 and np.ptp(lane_values(lane, first, frames)) > 0.0:
            return False
        at += len(lane)
    through = (output.target for output in node.outputs if not output.target.startswith("send "))
    return all(stays_placed(graph, target, span) for target in through)
