# SPDX-License-Identifier: Apache-2.0
"""The return of a send and what feeds it, as mixes of their own."""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

from mixwright.engine.graph import MixGraph, Node, TrackNode

N = TypeVar("N", bound=Node)


def fed_by(graph: MixGraph, send: str) -> tuple[str, ...]:
    """Return what feeds a send and may sound: names of tracks and buses in the graph, in its order.

    Parameters
    ----------
    graph : MixGraph
    send : str
        the send's name in the graph
    """
    filled = graph.fed(track.id for track in graph.tracks if not track.mute)
    tracks = [track.id for track in graph.tracks if not track.mute and _leads_to(track, send)]
    return (*tracks, *(bus.id for bus in graph.buses if bus.id in filled and _leads_to(bus, send)))


def feeding_tracks(graph: MixGraph, send: str) -> frozenset[str]:
    """Return the tracks that reach a send, by themselves or through what feeds it."""
    heads = {send}
    for bus in _backwards(graph):
        if not bus.mute and any(output.target in heads for output in bus.outputs):
            heads.add(bus.id)
    return frozenset(
        track.id for track in graph.tracks if not track.mute and any(output.target in heads for output in track.outputs)
    )


def return_alone(graph: MixGraph, send: str) -> MixGraph:
    """Return the mix in which nothing is heard but the return of one send, everything else as in the mix."""
    reach = {send}
    buses: dict[str, Node] = {}
    for bus in _backwards(graph):
        kept = bus if bus.id == send else _only_to(bus, reach)
        reach |= {bus.id} if kept.outputs else set()
        buses[bus.id] = kept
    tracks = (_only_to(track, reach) for track in graph.tracks)
    return replace(
        graph,
        tracks=tuple(track for track in tracks if track.outputs),
        buses=tuple(buses[bus.id] for bus in graph.buses),
        whole=graph.mix,
    )


def without_sends(graph: MixGraph, sends: frozenset[str]) -> MixGraph:
    """Return the mix in which nothing is sent to these sends."""
    elsewhere = {bus.id for bus in graph.buses} - sends
    tracks = tuple(_only_to(track, elsewhere) for track in graph.tracks)
    buses = tuple(_only_to(bus, elsewhere) for bus in graph.buses)
    return replace(graph, tracks=tracks, buses=buses, whole=graph.mix)


def _backwards(graph: MixGraph) -> list[Node]:
    return [node for wave in reversed(graph.waves) for node in wave if not isinstance(node, TrackNode)]


def _leads_to(node: Node, target: str) -> bool:
    return any(output.target == target for output in node.outputs)


def _only_to(node: N, targets: set[str]) -> N:
    return replace(node, outputs=tuple(output for output in node.outputs if output.target in targets))
