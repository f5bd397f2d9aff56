# SPDX-License-Identifier: Apache-2.0
"""Flat runs at the extremes of a channel: what hard clipping leaves behind.

Counted are runs of equal samples at the channel's largest or smallest value. A low tone quantised to
16 bits is flat at its peak too: a tone of frequency f and amplitude A (in quantisation steps) stays
within one step of its peak for ``rate * acos(1 - 1/A) / (pi f)`` frames, so shorter runs are natural.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

#: Runs below this are never counted.
SHORTEST_RUN = 3
#: Steps of a 24-bit converter below full scale; float files are held to the same grid.
_STEPS_24 = 2.0**23
_STEPS_16 = 2.0**15
#: A half wave is not followed farther than this (half a period of 10 Hz).
_HALF_WAVE_S = 0.05
#: Half waves looked at for the natural bound; the runs of one clipped file are alike.
_BOUNDS_LOOKED_AT = 64


@dataclass
class FlatRuns:
    """Streaming detector for one side (+1 peaks, -1 troughs) of one channel.

    Push blocks in order; `runs` then holds (first frame, frames) of every unnatural run at the extreme.
    """

    sign: int
    rate_hz: int
    extreme: float = 0.0
    runs: list[tuple[int, int]] = field(default_factory=list)
    _open: tuple[int, int] | None = None
    _position: int = 0
    _bounds: dict[int, float] = field(default_factory=dict)

    def push(self, block: npt.NDArray[np.float32]) -> None:
        """Take the next frames of the channel, finite values."""
        side = block if self.sign > 0 else -block
        top = float(side.max())
        if top > self.extreme:
            self.extreme, self._open = top, None
            self.runs.clear()
            self._bounds.clear()
        if top == self.extreme and top > 0.0:
            self._collect(side)
        else:
            self._close()
        self._position += len(block)

    def finish(self) -> None:
        """Count a run that reaches the end of the file."""
        self._close()

    def _collect(self, side: npt.NDArray[np.float32]) -> None:
        at = np.flatnonzero(side == self.extreme)
        breaks = np.flatnonzero(np.diff(at) > 1)
        firsts = at[np.concatenate([[0], breaks + 1])]
        lasts = at[np.concatenate([breaks, [len(at) - 1]])]
        if firsts[0] > 0:
            self._close()
        # Only long runs and those at the edges of the block matter; quiet noise has a million short ones.
        telling = (lasts - firsts + 1 >= SHORTEST_RUN) | (firsts == 0) | (lasts == len(side) - 1)
        for first, last in zip(firsts[telling].tolist(), lasts[telling].tolist(), strict=True):
            length = last - first + 1
            begin = self._position + first
            if first == 0 and self._open is not None:
                begin, length = self._open[0], self._open[1] + length
                self._open = None
            if last == len(side) - 1:
                self._open = (begin, length)
            elif length >= SHORTEST_RUN and length > self._natural(side, first, last):
                self.runs.append((begin, length))

    def _close(self) -> None:
        if self._open is not None and self._open[1] >= SHORTEST_RUN:
            self.runs.append(self._open)
        self._open = None

    def _natural(self, side: npt.NDArray[np.float32], first: int, last: int) -> float:
        """Return the longest natural run, from the half wave around it and the step of the file."""
        if len(self._bounds) >= _BOUNDS_LOOKED_AT:
            return max(self._bounds.values())
        reach = round(_HALF_WAVE_S * self.rate_hz)
        before, after = side[max(0, first - reach) : first], side[last + 1 : last + 1 + reach]
        below, above = np.flatnonzero(before <= 0.0), np.flatnonzero(after <= 0.0)
        left = len(before) - 1 - int(below[-1]) if len(below) else reach
        right = int(above[0]) if len(above) else reach
        half_wave = left + (last - first + 1) + right
        near = np.concatenate([before, after]).astype(np.float64) * _STEPS_16
        steps = _STEPS_16 if np.array_equal(near, np.round(near)) else _STEPS_24
        amplitude = max(1.0, self.extreme * steps)
        # A clipped wave's half is as long as the natural one's, so the bound holds for both.
        bound = 2.0 * half_wave * math.acos(1.0 - 1.0 / amplitude) / math.pi + 1.0
        self._bounds[first] = bound
        return bound
