# SPDX-License-Identifier: Apache-2.0
"""The gains of compressors and the limiter, logged once for a mix and kept; and what they did to it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from pathlib import Path

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
from mixwright.model.song import MASTER
from mixwright.native import mathematics
from mixwright.units import db_from_ratio

#: The trim is rounded down to these, so that the last bits of a measurement do not change the bits of a mix.
_TRIM_STEPS_A_DB = 1000
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
        with ArrayWriter(path, len(graph.dynamics)) as writer:
            peaks.append(
                true_peak_16x(render(graph, audio, log=writer.push, cache=cache, report=report, cancel=cancel))
            )

    gains = cache.array(key, make)

    def told() -> Dynamics:
        # Where only the figures were lost from the cache, the mix is measured once more.
        curves = Curves(gains)
        peak = peaks[0] if peaks else true_peak_16x(render(graph, audio, curves=curves, cache=cache, cancel=cancel))
        return Dynamics(reductions=tuple(_reductions(graph, gains, cancel)), limiter_trim_db=_trim_db(graph, peak))

    dynamics = cache.record(cache.key("dynamics", key), Dynamics, told)
    return Curves(gains, dynamics.limiter_trim_db or 0.0), dynamics


def _trim_db(graph: MixGraph, peak: float) -> float | None:
    """Return the gain in dB, 0 or below, that brings a true peak to the limiter's ceiling."""
    if graph.limiter is None:
        return None
    over_db = db_from_ratio(peak / float(mathematics.ratio(graph.limiter.ceiling_dbtp))) or 0.0
    return -math.ceil(max(0.0, over_db) * _TRIM_STEPS_A_DB) / _TRIM_STEPS_A_DB


def _reductions(graph: MixGraph, gains: np.ndarray, cancel: Cancel | None) -> Iterable[GainReduction]:
    after_db = {bus.id: bus.compressor.gain_db for bus in graph.buses if bus.compressor is not None}
    for k, name in enumerate(graph.dynamics):
        largest, at, total = 0.0, 0, 0.0
        for number, piece in enumerate(blocks(gains[:, k], _BLOCK_FRAMES, cancel)):
            block = np.maximum(piece, _LEAST_GAIN, dtype=np.float64)
            reduction_db = np.maximum(after_db.get(name, 0.0) - 20.0 * np.log10(block), 0.0)
            most = int(np.argmax(reduction_db))
            if reduction_db[most] > largest:
                largest, at = float(reduction_db[most]), number * _BLOCK_FRAMES + most
            total += float(reduction_db.sum())
        yield GainReduction(
            processor="limiter" if name == LIMITER else "compressor",
            on=MASTER if name == LIMITER else name.partition(" ")[2],
            largest_reduction_db=largest,
            largest_at_s=at / graph.rate_hz,
            mean_reduction_db=total / max(1, len(gains)),
        )
