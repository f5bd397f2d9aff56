# SPDX-License-Identifier: Apache-2.0
"""Sections of a finished song, of which there are no layers: where its spectrum, width and level change."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from mixwright.core.novelty import boundaries, kinds_of, letters
from mixwright.model.song import Section
from mixwright.reference.span import Floats
from mixwright.reference.traces import Traces

_STEP_S = 1.0
_SHORTEST_S = 8.0
#: The mean over bands changes by this much of 40 dB, or of the side by this much, at a boundary.
_LEAST = 0.06
_RANGE_DB = 40.0


def find_sections(traces: Traces) -> tuple[Section, ...]:
    """Divide a finished song where what sounds changes; sections are named by which are alike: part-a-1, part-b-1.

    The bands of middle and side stand for what layers are to a song of tracks.
    """
    duration = traces.levels.duration_s
    if duration <= 0.0:
        return ()
    edges = np.append(np.arange(0.0, duration, _STEP_S), duration)
    activity = _activity(traces, edges)
    shortest = round(_SHORTEST_S / _STEP_S)
    bounds = [0, *boundaries(activity, edges, shortest, _STEP_S, _LEAST * activity.shape[1]), len(edges) - 1]
    means = np.array([activity[a:b].mean(axis=0) for a, b in pairwise(bounds)])
    # Their levels differ less than layers come and go: told apart at a third of the distance.
    kinds = kinds_of(3.0 * means)
    order = list(dict.fromkeys(kinds))
    counts: dict[int, int] = {}
    found = []
    for kind, (a, b) in zip(kinds, pairwise(bounds), strict=True):
        counts[kind] = counts.get(kind, 0) + 1
        name = f"part-{letters(order.index(kind))}-{counts[kind]}"
        found.append(Section(name=name, start_s=round(float(edges[a]), 3), end_s=round(float(edges[b]), 3)))
    return tuple(found)


def _activity(traces: Traces, edges: Floats) -> Floats:
    """Return the level of octaves of middle and side in each step, within 40 dB of their loudest: (steps, 20)."""
    steps = np.minimum((traces.long_s / _STEP_S).astype(int), len(edges) - 2)
    powers = [part[:, 1:].reshape(len(part), 10, 3).sum(axis=2, dtype=np.float64) for part in (traces.mid, traces.side)]
    columns = []
    for power in np.concatenate(powers, axis=1).T:
        mean = np.bincount(steps, power, len(edges) - 1) / np.maximum(1, np.bincount(steps, minlength=len(edges) - 1))
        loud = float(np.percentile(mean, 95.0))
        level = 10.0 * np.log10(np.maximum(mean, 1e-30) / max(loud, 1e-30))
        columns.append(np.clip((level + _RANGE_DB) / _RANGE_DB, 0.0, 1.0) if loud > 1e-12 else np.zeros(len(mean)))
    return np.stack(columns, axis=1)
