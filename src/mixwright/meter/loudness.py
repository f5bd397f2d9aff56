# SPDX-License-Identifier: Apache-2.0
"""Loudness by ITU-R BS.1770-5, EBU Tech 3341 and 3342, from K-weighted energies stored every 10 ms.

All times are in sub-blocks of 10 ms. Sub-block `k` covers the frames from ``sub_block_edge(k)`` to
``sub_block_edge(k + 1)``: exactly 10 ms where the rate divides by 100, to the nearest frame elsewhere. Because the
energies are kept, the loudness of any part of a song needs no second pass over its audio.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from mixwright.errors import SettingError
from mixwright.native.mathematics import ratio, tan

SUB_BLOCKS_PER_S = 100
MOMENTARY_SUB_BLOCKS = 40
SHORT_TERM_SUB_BLOCKS = 300
GATE_HOP_SUB_BLOCKS = 10
ABSOLUTE_GATE_LUFS = -70.0
#: The rate of the table of ITU-R BS.1770-5.
_TABLE_HZ = 48000

#: Loudness shown for silence in traces, so that no infinity appears.
SILENCE_LUFS = -300.0

# ITU-R BS.1770-5: surround channels count 1.41; the LFE channel does not count. Order L R C LFE Ls Rs.
_WEIGHTS: dict[int, tuple[float, ...]] = {
    1: (1.0,),
    2: (1.0, 1.0),
    3: (1.0, 1.0, 1.0),
    4: (1.0, 1.0, 1.41, 1.41),
    5: (1.0, 1.0, 1.0, 1.41, 1.41),
    6: (1.0, 1.0, 1.0, 0.0, 1.41, 1.41),
}


def channel_weights(channels: int, *, dual_mono: bool = False) -> np.ndarray:
    """Return the weight of each channel in the order L R C LFE Ls Rs (5 channels: no LFE, 4: L R Ls Rs).

    A single channel counts once, as the standard says: it reads 3.01 LU below the same signal in both channels of a
    stereo file. With `dual_mono` it counts twice, as it sounds when both loudspeakers play it.

    Raises
    ------
    SettingError
        for more than 6 channels, whose order no header tells
    """
    if channels not in _WEIGHTS:
        raise SettingError(f"loudness of {channels} channels is not defined here", hint="use 1 to 6 channels")
    if dual_mono and channels == 1:
        return np.array([2.0])
    return np.array(_WEIGHTS[channels])


def k_weighting(rate_hz: int) -> np.ndarray:
    """Return the K-weighting filter at any rate: shelf b0 b1 b2 a1 a2, high-pass a1 a2 (its numerator is 1 -2 1).

    The two analogue prototypes behind the 48 kHz table of ITU-R BS.1770-5 brought to `rate_hz` by the bilinear
    transform; at 48 kHz the table itself results.
    """
    k = float(tan(np.pi * 1681.974450955533 / rate_hz))
    q = 0.7071752369554196
    high = float(ratio(3.999843853973347))
    band = float(ratio(3.999843853973347 * 0.4996667741545416))
    a0 = 1.0 + k / q + k * k
    shelf = (
        (high + band * k / q + k * k) / a0,
        2.0 * (k * k - high) / a0,
        (high - band * k / q + k * k) / a0,
        2.0 * (k * k - 1.0) / a0,
        (1.0 - k / q + k * k) / a0,
    )
    k = float(tan(np.pi * 38.13547087602444 / rate_hz))
    q = 0.5003270373238773
    a0 = 1.0 + k / q + k * k
    return np.array((*shelf, 2.0 * (k * k - 1.0) / a0, (1.0 - k / q + k * k) / a0))


def k_gain(hz: npt.ArrayLike) -> np.ndarray:
    """Return the power gain of the K-weighting at 48 kHz (ITU-R BS.1770-5, tables 1 and 2), like `hz`."""
    z = np.exp(-2j * np.pi * np.asarray(hz, dtype=np.float64) / _TABLE_HZ)
    b0, b1, b2, a1, a2, c1, c2 = k_weighting(_TABLE_HZ)
    shelf = (b0 + b1 * z + b2 * z * z) / (1.0 + a1 * z + a2 * z * z)
    high_pass = (1.0 - 2.0 * z + z * z) / (1.0 + c1 * z + c2 * z * z)
    return np.asarray(np.abs(shelf * high_pass) ** 2)


def sub_block_edge(index: int, rate_hz: int) -> int:
    """Return the first frame of sub-block `index`: the nearest frame to `index` times 10 ms."""
    return (2 * index * rate_hz + SUB_BLOCKS_PER_S) // (2 * SUB_BLOCKS_PER_S)


def lufs_from_power(power: np.ndarray) -> np.ndarray:
    """Return the loudness of channel-weighted mean squares; silence reads `SILENCE_LUFS`."""
    return np.asarray(np.maximum(-0.691 + 10.0 * np.log10(np.maximum(power, 1e-40)), SILENCE_LUFS))


def _moving_sum(values: np.ndarray, length: int) -> np.ndarray:
    """Return sums of `length` neighbours (a multiple of 10); sums of sums, so that nothing cancels."""
    count = len(values) - length + 1
    if count <= 0:
        return np.zeros(0)
    tens = np.zeros(len(values) - 9)
    for offset in range(10):
        tens += values[offset : offset + len(tens)]
    total = np.zeros(count)
    for offset in range(0, length, 10):
        total += tens[offset : offset + count]
    return total


def gated_lufs(power: np.ndarray) -> float | None:
    """Return the integrated loudness of 400 ms block powers by both gates, or None when no block passes.

    Absolute gate at -70 LUFS, relative gate 10 LU below the loudness of the blocks above it.
    """
    loud = power[lufs_from_power(power) > ABSOLUTE_GATE_LUFS]
    if not len(loud):
        return None
    loud = loud[loud > np.mean(loud) * 0.1]
    return float(lufs_from_power(np.mean(loud)))


@dataclass(frozen=True, eq=False)
class Loudness:
    """The loudness of a piece of audio, and of any part of it.

    Attributes
    ----------
    rate_hz : int
    energy : (sub_blocks,) float64 array
        Channel-weighted sum of squares of the K-weighted signal in every complete sub-block.
    """

    rate_hz: int
    energy: np.ndarray

    @cached_property
    def _edges(self) -> np.ndarray:
        index = np.arange(len(self.energy) + 1, dtype=np.int64)
        return (2 * index * self.rate_hz + SUB_BLOCKS_PER_S) // (2 * SUB_BLOCKS_PER_S)

    def _window_power(self, length: int) -> np.ndarray:
        """Return the mean square of every window of `length` sub-blocks, at a hop of one."""
        total = _moving_sum(self.energy, length)
        return total / (self._edges[length:] - self._edges[:-length])[: len(total)] if len(total) else total

    @cached_property
    def momentary_power(self) -> np.ndarray:
        """Mean square of every 400 ms window, hop 10 ms; entry `k` starts at sub-block `k`."""
        return self._window_power(MOMENTARY_SUB_BLOCKS)

    @cached_property
    def short_term_power(self) -> np.ndarray:
        """Mean square of every 3 s window, hop 10 ms; entry `k` starts at sub-block `k`."""
        return self._window_power(SHORT_TERM_SUB_BLOCKS)

    def momentary_lufs(self) -> np.ndarray:
        """Return the loudness of every 400 ms window, hop 10 ms; entry `k` covers ``k/100`` to ``k/100 + 0.4`` s."""
        return lufs_from_power(self.momentary_power)

    def short_term_lufs(self) -> np.ndarray:
        """Return the loudness of every 3 s window, hop 10 ms; entry `k` covers ``k/100`` to ``k/100 + 3`` s."""
        return lufs_from_power(self.short_term_power)

    def _blocks(self, start_s: float, end_s: float | None) -> np.ndarray:
        """Return the powers of the 400 ms gating blocks, hop 100 ms, that lie wholly in a time range."""
        first = max(0, round(start_s * SUB_BLOCKS_PER_S))
        last = len(self.energy) if end_s is None else min(len(self.energy), round(end_s * SUB_BLOCKS_PER_S))
        return self.momentary_power[first : max(first, last - MOMENTARY_SUB_BLOCKS + 1) : GATE_HOP_SUB_BLOCKS]

    def integrated_lufs(self, start_s: float = 0.0, end_s: float | None = None) -> float | None:
        """Return the integrated loudness of a time range, or None when it is silent or shorter than 400 ms.

        The gates are those of the range itself: what lies outside has no influence.
        """
        return self.integrated_lufs_of([(start_s, end_s)])

    def integrated_lufs_of(self, spans: Iterable[tuple[float, float | None]]) -> float | None:
        """Return the integrated loudness of several time ranges together; no gating block lies across their edges."""
        return gated_lufs(np.concatenate([np.zeros(0), *(self._blocks(start_s, end_s) for start_s, end_s in spans)]))

    def active_s(
        self, start_s: float = 0.0, end_s: float | None = None, *, threshold_lufs: float = ABSOLUTE_GATE_LUFS
    ) -> float:
        """Return for how many seconds of a time range the sub-blocks of 10 ms lie above a loudness."""
        first = max(0, round(start_s * SUB_BLOCKS_PER_S))
        last = len(self.energy) if end_s is None else max(first, round(end_s * SUB_BLOCKS_PER_S))
        power = self.energy[first:last] / np.diff(self._edges)[first:last]
        return float(np.count_nonzero(lufs_from_power(power) > threshold_lufs)) / SUB_BLOCKS_PER_S

    def loudness_range_lu(self, *, hop_sub_blocks: int = GATE_HOP_SUB_BLOCKS) -> float | None:
        """Return the loudness range of EBU Tech 3342, or None when it is silent or shorter than 3 s.

        Short-term loudness above -70 LUFS and above 20 LU below its power mean; 95th minus 10th percentile by nearest
        rank. Not stable below about a minute.
        """
        power = self.short_term_power[::hop_sub_blocks]
        power = power[lufs_from_power(power) > ABSOLUTE_GATE_LUFS]
        if not len(power):
            return None
        values = np.sort(lufs_from_power(power[power > np.mean(power) * 0.01]))
        low, high = (values[math.floor((len(values) - 1) * share + 0.5)] for share in (0.10, 0.95))
        return float(high - low)


def change_lu(before: Loudness, after: Loudness, start_s: float = 0.0, end_s: float | None = None) -> float | None:
    """Return by how much a time range became louder, or None where it is silent or shorter than 400 ms.

    Of the gating blocks that count in `before` (both gates), in both: what a gain over time does moves no block in or
    out.
    """
    powers = [one.momentary_power for one in (before, after)]
    first = max(0, round(start_s * SUB_BLOCKS_PER_S))
    last = min(map(len, powers)) if end_s is None else round(end_s * SUB_BLOCKS_PER_S) - MOMENTARY_SUB_BLOCKS + 1
    then, now = (power[first : max(first, last) : GATE_HOP_SUB_BLOCKS] for power in powers)
    counting = lufs_from_power(then) > ABSOLUTE_GATE_LUFS
    if not counting.any():
        return None
    counting &= then > np.mean(then[counting]) * 0.1
    return float(lufs_from_power(np.mean(now[counting])) - lufs_from_power(np.mean(then[counting])))
