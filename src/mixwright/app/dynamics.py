# SPDX-License-Identifier: Apache-2.0
"""The gains of the processors on buses and of the limiter, logged once for a mix and kept; and what they did to it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import get_args

import numpy as np

from mixwright.app.keys import gains_key
from mixwright.engine.curves import Curves
from mixwright.engine.graph import LIMITER, MixGraph
from mixwright.engine.render import render
from mixwright.jobs.array_file import ArrayWriter
from mixwright.jobs.cache import Cache
from mixwright.jobs.progress import Cancel, Report, blocks, silent
from mixwright.meter.true_peak import true_peak_16x
from mixwright.model.dynamics import Dynamics, GainReduction
from mixwright.model.dynamics_inserts import Clipper, DeEsser, Levels
from mixwright.model.insert import KeyedInsert
from mixwright.model.inserts import AnyInsert
from mixwright.model.song import MASTER
from mixwright.native import mathematics
from mixwright.units import db_from_ratio

#: The trim is rounded down to these, so that the last bits of a measurement do not change the bits of a mix.
_TRIM_STEPS_A_DB = 1000
#: What follows levels, and so takes off; the gains of other processors are no reduction.
_FOLLOWING = {
    one.__struct_config__.tag for one in get_args(AnyInsert) if issubclass(one, (KeyedInsert, DeEsser, Levels, Clipper))
}
_LEAST_GAIN = 1e-12
_BLOCK_FRAMES = 1 << 18


def logged(
    graph: MixGraph,
    audio: Mapping[str, np.ndarray],
    cache: Cache,
    *,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> tuple[Curves, Dynamics]:
    """Return the gains of a mix, made from all of it by its first rendering and then read from the cache.

    Parameters
    ----------
    graph : MixGraph
        with `dynamics`
    audio : mapping
        float32 audio of every track by id
    cache : Cache
    report, cancel
        progress and stop switch
    """
    key = gains_key(graph)
    peaks: list[float] = []

    def make(path: Path) -> None:
        with ArrayWriter(path, graph.gains_shape[1]) as writer:
            peaks.append(
                true_peak_16x(render(graph, audio, log=writer.push, cache=cache, report=report, cancel=cancel))
            )

    gains = cache.array(key, make)

    def told() -> Dynamics:
        # Where only the figures were lost from the cache, the mix is measured once more.
        curves = Curves(gains)
        peak = peaks[0] if peaks else true_peak_16x(render(graph, audio, curves=curves, cache=cache, cancel=cancel))
        return Dynamics(reductions=tuple(_reductions(graph, gains, cancel)), limiter_trim_db=trim_db(graph, peak))

    dynamics = cache.record(cache.key("dynamics", key), Dynamics, told)
    return Curves(gains, dynamics.limiter_trim_db or 0.0), dynamics


def trim_db(graph: MixGraph, peak: float) -> float | None:
    """Return the gain in dB, 0 or below, that brings a true peak to the limiter's ceiling."""
    if graph.limiter is None:
        return None
    over_db = db_from_ratio(peak / float(mathematics.ratio(graph.limiter.ceiling_dbtp))) or 0.0
    return -math.ceil(max(0.0, over_db) * _TRIM_STEPS_A_DB) / _TRIM_STEPS_A_DB


def _reductions(graph: MixGraph, gains: np.ndarray, cancel: Cancel | None) -> Iterable[GainReduction]:
    for bus in graph.buses:
        column = graph.columns.get(bus.id, slice(0, 0)).start
        for name, count in bus.logs if bus.id in graph.columns else ():
            if name in _FOLLOWING:
                columns = gains[:, column : column + count]
                yield _reduction(name, bus.id.partition(" ")[2], columns, graph, bus.latency_frames, cancel)
            column += count
    if graph.limiter is not None:
        yield _reduction(LIMITER, MASTER, gains[:, -1:], graph, len(gains) - graph.frames, cancel)


def _reduction(
    name: str, on: str, gains: np.ndarray, graph: MixGraph, late_frames: int, cancel: Cancel | None
) -> GainReduction:
    """Return what a processor takes off, in whichever of its bands it takes off most."""
    largest, at, total = 0.0, 0, 0.0
    for number, piece in enumerate(blocks(gains, _BLOCK_FRAMES, cancel)):
        block = np.maximum(piece.min(axis=1), _LEAST_GAIN, dtype=np.float64)
        reduction_db = np.maximum(-20.0 * np.log10(block), 0.0)
        most = int(np.argmax(reduction_db))
        if reduction_db[most] > largest:
            largest, at = float(reduction_db[most]), number * _BLOCK_FRAMES + most
        total += float(reduction_db.sum())
    return GainReduction(
        processor=name,
        on=on,
        largest_reduction_db=largest,
        largest_at_s=max(0, at - late_frames) / graph.rate_hz,
        mean_reduction_db=total / max(1, graph.frames),
    )
