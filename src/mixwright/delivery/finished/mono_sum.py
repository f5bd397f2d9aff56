# SPDX-License-Identifier: Apache-2.0
"""What is lost when both sides are summed to one."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixwright.jobs.progress import Cancel, blocks
from mixwright.units import db_from_power

#: Below this the two sides should agree (common practice, no source).
LOW_HZ = 120.0
#: Correlations below these are told: of the whole, of its low end, of a second (common practice, no source).
WHOLE, LOW, SECOND = -0.3, -0.7, -0.5
#: So many seconds in a row below that of a second are told.
LASTING_S = 3
#: Quieter seconds are not looked at, nor a low end so far below the whole.
_GATE_DBFS = -60.0
_LOW_COUNTS_DB = -20.0


@dataclass(frozen=True)
class MonoSum:
    """Correlation (mean product over mean square, -1 to 1) of left and right; None where they are silent.

    `lasting_from_s`: where LASTING_S seconds in a row are against one another, if any are.
    """

    whole: float | None
    low: float | None
    lasting_from_s: float | None

    @property
    def loss_db(self) -> float | None:
        """How much level (L + R) / 2 loses against the mean of both: 0 for equal sides, -3 for unrelated ones."""
        return None if self.whole is None else db_from_power((1.0 + self.whole) / 2.0)


def mono_sum(audio: npt.NDArray[np.float32], rate_hz: int, cancel: Cancel | None = None) -> MonoSum:
    """Return how the sides of audio ``(frames, 2)`` go together; it may be mapped, and is read by seconds."""
    whole, low, seconds = np.zeros(2), np.zeros(2), []
    step = max(1, rate_hz // 2000)
    for block in blocks(audio, rate_hz, cancel):
        own = _sums(block.astype(np.float64))
        seconds.append(own)
        whole += own
        # A mean over half a millisecond twice keeps what lies below some hundred hertz; the sharper edge comes after.
        count = len(block) // step
        if count > 16:
            low += _low_sums(
                block[: count * step].astype(np.float64).reshape(count, step, 2).mean(axis=1), rate_hz / step
            )
    gate = 2.0 * rate_hz * 10.0 ** (_GATE_DBFS / 10.0)
    against = [power > gate and product < SECOND * power for product, power in seconds]
    lasting = next((k for k in range(len(against) - LASTING_S + 1) if all(against[k : k + LASTING_S])), None)
    low_counts = low[1] * step > whole[1] * 10.0 ** (_LOW_COUNTS_DB / 10.0) > 0.0
    return MonoSum(
        whole=_ratio(whole),
        low=_ratio(low) if low_counts else None,
        lasting_from_s=None if lasting is None else float(lasting),
    )


def _sums(block: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return twice the sum of products, and the sum of squares."""
    left, right = block.T
    return np.array([2.0 * np.sum(left * right), np.sum(left * left) + np.sum(right * right)])


def _low_sums(block: npt.NDArray[np.float64], rate_hz: float) -> npt.NDArray[np.float64]:
    """Return the same of what lies below LOW_HZ, from the spectrum of a second."""
    from scipy.fft import rfft  # slow to load

    spectrum = rfft(block * np.hanning(len(block))[:, None], axis=0)
    left, right = spectrum[1 : max(2, math.ceil(LOW_HZ * len(block) / rate_hz))].T
    # Two halves of the spectrum, a Hann window's mean square of 3/8, and Parseval's length.
    scale = 2.0 / (0.375 * len(block))
    return scale * np.array(
        [2.0 * np.sum((left * np.conj(right)).real), np.sum(np.abs(left) ** 2) + np.sum(np.abs(right) ** 2)]
    )


def _ratio(sums: npt.NDArray[np.float64]) -> float | None:
    return float(sums[0] / sums[1]) if sums[1] > 0.0 else None
