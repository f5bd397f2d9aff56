# SPDX-License-Identifier: Apache-2.0
"""Parts of a mix as mixes of their own, in which all gains stay what they are in the whole: together they are it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from mixwright.engine.curves import Curves
from mixwright.engine.graph import MixGraph, Node, aligned, bus
from mixwright.engine.lanes import FrameLane, constant, packed
from mixwright.model.song import MASTER
from mixwright.native import mathematics

#: A strip that leaves a stereo signal as it is: level, pan, left, right, width.
_AS_IT_IS = (0.0, 0.0, -1.0, 1.0, 1.0)
#: A fade is a straight line in each of so many steps.
_FADE_STEPS = 8


def before_limiter(graph: MixGraph) -> MixGraph:
    """Return the mix as it goes into the limiter of its master."""
    return replace(graph, limiter=None, whole=graph.mix)


def before_master(graph: MixGraph) -> MixGraph:
    """Return what goes into the master, without anything that it does."""
    *buses, master = graph.buses
    lanes = packed([constant(value) for value in _AS_IT_IS])
    open_ = replace(
        master, operations=(), lanes=lanes, pre_lanes=lanes, scale=1.0, mute=False, mutes=None, keys={}, logs=()
    )
    return aligned(replace(graph, buses=(*buses, open_), limiter=None, whole=graph.mix))


def returned(graph: MixGraph) -> MixGraph:
    """Return what sends bring back of everything, and nothing of what feeds them."""
    sends = frozenset(node.id for node in graph.buses if node.id.startswith(bus("", "send")))
    master = bus(MASTER, MASTER)

    def sent(node: Node) -> Node:
        if node.id in sends:
            return node
        return replace(node, outputs=tuple(output for output in node.outputs if output.target != master))

    return replace(
        graph,
        tracks=tuple(replace(track, outputs=sent(track).outputs) for track in graph.tracks),
        buses=tuple(sent(node) for node in graph.buses),
        whole=graph.mix,
    )


def within(graph: MixGraph, spans: Sequence[tuple[int, int]], fade_frames: int) -> MixGraph:
    """Return the mix in which tracks sound in these spans alone, before their sends too.

    Whoever has one for a key hears all of it.

    Parameters
    ----------
    graph : MixGraph
    spans : sequence of (first frame, end frame)
        of the song, in any order
    fade_frames : int
        the raised cosine into a span ends at its first frame, the one out of it starts at its end
    """
    gate = packed([FrameLane(tuple(_gate(_joined(spans, fade_frames), fade_frames)))])
    return replace(graph, tracks=tuple(replace(node, gate=gate) for node in graph.tracks), whole=graph.mix)


def limiter_gains(graph: MixGraph, curves: Curves) -> np.ndarray:
    """Return what the limiter of a mix multiplies each frame of the song by, float32 ``(frames, 1)``."""
    rows, columns = graph.gains_shape
    return curves.gains[rows - graph.frames :, columns - 1 :]


def limiter_trim(curves: Curves) -> float:
    """Return the factor on top of the limiter's gains."""
    return float(mathematics.ratio(curves.trim_db))


def _joined(spans: Sequence[tuple[int, int]], fade_frames: int) -> list[tuple[int, int]]:
    """Return spans in order, those as one whose fades would meet."""
    found: list[tuple[int, int]] = []
    for start, end in sorted(spans):
        if found and start - fade_frames <= found[-1][1] + fade_frames:
            found[-1] = (found[-1][0], max(found[-1][1], end))
        else:
            found.append((start, end))
    return found


def _gate(spans: Sequence[tuple[int, int]], fade_frames: int) -> list[tuple[int, float]]:
    """Return the lane that is 1 within spans and 0 elsewhere."""
    points: list[tuple[int, float]] = [(0, 1.0 if spans and spans[0][0] <= 0 else 0.0)]
    shape = [0.5 - 0.5 * np.cos(np.pi * k / _FADE_STEPS) for k in range(_FADE_STEPS + 1)]
    at = [round(fade_frames * k / _FADE_STEPS) for k in range(_FADE_STEPS + 1)]
    for start, end in spans:
        if start > 0:
            points += [(start - fade_frames + frame, float(value)) for frame, value in zip(at, shape, strict=True)]
        points += [(end + frame, 1.0 - float(value)) for frame, value in zip(at, shape, strict=True)]
    return [(frame, value) for frame, value in points if frame >= 0] or [(0, 0.0)]
