# SPDX-License-Identifier: Apache-2.0
"""Spectra of windows spread over a finished file, from which its bandwidth is told."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixwright.jobs.progress import Cancel, until_stopped

SIZE = 8192
_MOST_WINDOWS = 400


def window_powers(audio: npt.NDArray[np.float32], cancel: Cancel | None = None) -> npt.NDArray[np.float64]:
    """Return the power spectra, (windows, SIZE / 2 + 1), of at most 400 Blackman windows of 8192 frames.

    The power of a bin is its share of the sum of squares of all channels ``(frames, channels)``, full scale 1.0; the
    audio may be mapped. What is shorter than two windows has none.
    """
    from scipy.fft import rfft  # slow to load

    if len(audio) < 2 * SIZE:
        return np.zeros((0, SIZE // 2 + 1))
    window = np.blackman(SIZE)[:, None]
    scale = 2.0 / (SIZE * float(np.square(window).sum()))
    starts = np.linspace(0, len(audio) - SIZE, min(_MOST_WINDOWS, len(audio) // SIZE)).astype(np.int64)
    powers = np.empty((len(starts), SIZE // 2 + 1), dtype=np.float64)
    for i, start in enumerate(until_stopped(starts.tolist(), cancel)):
        spectrum = rfft(audio[start : start + SIZE].astype(np.float64) * window, axis=0)
        powers[i] = scale * np.square(np.abs(spectrum)).sum(axis=1)
    return powers


def hz_of_bins(rate_hz: int) -> npt.NDArray[np.float64]:
    """Return the frequencies of the bins."""
    return np.arange(SIZE // 2 + 1, dtype=np.float64) * (rate_hz / SIZE)
