# SPDX-License-Identifier: Apache-2.0
"""When layers sound, when they strike, and how alike two of them are."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixwright.core.align import Alignment, lag_and_polarity
from mixwright.intake.listening import TRACE_HZ, Listening, trace_db
from mixwright.jobs.progress import Cancel

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

#: A layer starts to sound within this of its loud level and stops below the second: hysteresis, so that a
#: decay is one event. Common practice puts the two 5 dB apart (Mansbridge, Finn and Reiss, AES 132, 2012).
_ON_DB = -35.0
_OFF_DB = -40.0
_NEVER_BELOW_DBFS = -75.0
#: Gaps shorter than this do not interrupt a layer.
_HOLD_S = 0.4
#: Rises above this count no more: one click must not outweigh a song.
_LARGEST_RISE_DB = 20.0


@dataclass(frozen=True, eq=False)
class Trace:
    """The 10 ms traces of one layer, and what follows from them; computed once."""

    heard: Listening

    @functools.cached_property
    def level_db(self) -> Floats:
        """Level of every 10 ms."""
        return trace_db(self.heard.level).astype(np.float64)

    @functools.cached_property
    def loud_db(self) -> float:
        """Level that the loudest twentieth of the audible part passes."""
        audible = self.level_db[self.level_db > self.level_db.max(initial=-120.0) - 40.0]
        return float(np.percentile(audible, 95)) if len(audible) else -120.0

    @functools.cached_property
    def sounds(self) -> Bools:
        """Whether the layer sounds, for every 10 ms."""
        on = self.level_db > max(self.loud_db + _ON_DB, _NEVER_BELOW_DBFS)
        stay = self.level_db > max(self.loud_db + _OFF_DB, _NEVER_BELOW_DBFS - 5.0)
        return _without_gaps(_hysteresis(on, stay), round(_HOLD_S * TRACE_HZ))

    @functools.cached_property
    def onsets(self) -> Floats:
        """Strength of onsets: rise of the level and of the bright level over 20 ms, in dB."""
        total = np.zeros(len(self.level_db))
        for trace in (self.level_db, trace_db(self.heard.bright).astype(np.float64)):
            floor = np.maximum(trace, trace.max(initial=-120.0) - 45.0)
            rise = np.zeros(len(floor))
            rise[1:-1] = floor[2:] - floor[:-2]
            total += np.clip(rise, 0.0, _LARGEST_RISE_DB)
        return total

    @functools.cached_property
    def strikes(self) -> Floats:
        """Onsets blurred to about 30 ms, which is how exactly two takes go together."""
        return np.convolve(self.onsets, np.hanning(9)[1:-1], mode="same") if len(self.onsets) else self.onsets

    @functools.cached_property
    def starts(self) -> tuple[int, ...]:
        """Where the layer begins to sound after two seconds or more of silence, in 10 ms."""
        edges = np.flatnonzero(np.diff(self.sounds.astype(np.int8), prepend=0) == 1)
        return tuple(int(e) for e in edges if not self.sounds[max(0, e - 2 * TRACE_HZ) : e].any())


def together(a: Trace, b: Trace) -> float:
    """Return the share of a's sounding time in which b sounds too."""
    n = min(len(a.sounds), len(b.sounds))
    return float((a.sounds[:n] & b.sounds[:n]).sum() / max(1, a.sounds.sum()))


def rhythm_likeness(a: Trace, b: Trace) -> float:
    """Return the correlation of the strikes of two layers while both sound."""
    n = min(len(a.onsets), len(b.onsets))
    both = a.sounds[:n] & b.sounds[:n]
    if both.sum() < TRACE_HZ:
        return 0.0
    x, y = a.strikes[:n][both], b.strikes[:n][both]
    x, y = x - x.mean(), y - y.mean()
    scale = float(np.sqrt((x @ x) * (y @ y)))
    return float(x @ y) / scale if scale > 0.0 else 0.0


def same_waveform(
    a: npt.NDArray[np.float32], b: npt.NDArray[np.float32], rate_hz: int, cancel: Cancel | None = None
) -> Alignment | None:
    """Return how b lies against a if both hold the same sound (bleed, a second microphone), else None."""
    found = lag_and_polarity(a, b, rate_hz, look=(cancel or Cancel()).check)
    return found if found is not None and found.sure and found.spread_frames < 0.005 * rate_hz else None


def _hysteresis(on: Bools, stay: Bools) -> Bools:
    """Return True from an `on` for as long as `stay` holds without a break."""
    if not len(on):
        return on
    # Runs of `stay`; a run counts from its first `on`.
    run = np.cumsum(np.diff(stay.astype(np.int8), prepend=0) == 1)
    seen = np.maximum.accumulate(np.where(on, run, 0))
    return np.asarray(stay & (seen == run) & (run > 0))


def _without_gaps(sounds: Bools, longest: int) -> Bools:
    edges = np.flatnonzero(np.diff(sounds.astype(np.int8), prepend=0, append=0))
    filled = sounds.copy()
    for end, start in zip(edges[1::2], edges[2::2], strict=False):
        if start - end <= longest:
            filled[end:start] = True
    return filled
