# SPDX-License-Identifier: Apache-2.0
"""A part of a song in its traces: which windows lie in it, and their mean powers."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from mixwright.reference.traces import Traces

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

#: Windows this far below the mean power tell of pauses, not of the song.
_PAUSE_DB = 20.0
#: Spans that are no longer count every window.
_SHORT_S = 3.0


@dataclass(frozen=True, eq=False)
class Span:
    """From `start_s` to `end_s` of a song."""

    traces: Traces
    start_s: float
    end_s: float

    @cached_property
    def long(self) -> Flags:
        """The long windows that lie in it and sound; of a short span, those whose middles lie in it."""
        at, power = self.traces.long_s, self.traces.both.sum(axis=1, dtype=np.float64)
        # What reaches over an edge tells of both sides of it.
        reach = self.traces.hop_s if self.end_s - self.start_s > _SHORT_S else 0.0
        first = self.start_s + reach if self.start_s > 0.0 else 0.0
        last = self.end_s - reach if self.end_s < self.traces.levels.duration_s else self.end_s
        return _sounding((at >= first) & (at < last), power)

    @cached_property
    def short(self) -> Flags:
        """The short windows whose middles lie in it and that sound."""
        at, power = self.traces.short_s, self.traces.short.sum(axis=1, dtype=np.float64)
        return _sounding((at >= self.start_s) & (at < self.end_s), power)

    def mean(self, powers: npt.NDArray[np.float32]) -> Floats:
        """Return the mean of a trace of long windows, band by band; zeros where nothing sounds."""
        chosen = powers[self.long]
        return np.asarray(chosen.mean(axis=0, dtype=np.float64) if len(chosen) else np.zeros(powers.shape[1]))

    @cached_property
    def loudness_lufs(self) -> float | None:
        """Its integrated loudness."""
        return self.traces.loudness.integrated_lufs(self.start_s, self.end_s)

    @cached_property
    def true_peak(self) -> float:
        """Its largest true peak, an amplitude."""
        tenths = slice(round(10.0 * self.start_s), round(10.0 * self.end_s) + 1)
        return float(self.traces.peaks[tenths].max(initial=0.0))


def _sounding(inside: Flags, power: Floats) -> Flags:
    mean = float(power[inside].mean()) if inside.any() else 0.0
    return np.asarray(inside & (power > mean * 10.0 ** (-_PAUSE_DB / 10.0)))
