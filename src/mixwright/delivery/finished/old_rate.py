# SPDX-License-Identifier: Apache-2.0
"""Whether a file was brought up from a lower rate: a steep edge below half of that, and nothing above."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixwright.jobs.progress import Cancel, until_stopped

#: Rates that material comes from (AES5: 48 kHz, its multiples, and 44.1 kHz; from memory).
_OLD_RATES_HZ = (44_100, 48_000, 88_200, 96_000)
_SIZE = 8192
_MOST_WINDOWS = 400
#: Half an old rate lies below this share of half the new one, or there is no room to tell.
_ROOM = 0.95
#: The edge lies within these shares of half the old rate: converters pass 0.91 and more of it, nothing from 0.99 on.
_EDGE = (0.96, 1.03)
#: Level a tenth below the edge over what is left above it (standards ask for 40 dB of steepness; dither of 16 bits
#: leaves less to see).
_DROP_DB = 15.0
#: What is left above varies by no more.
_FLAT_DB = 9.0
_NOTHING_DB = 70.0
#: A twentieth of half the old rate (1 kHz) below the edge there is still this share of the drop, in dB: a filter that
#: falls slowly towards half the rate is no converter.
_STEEP, _BACK = 0.85, 0.05


def old_rate_hz(audio: npt.NDArray[np.float32], rate_hz: int, cancel: Cancel | None = None) -> int | None:
    """Return the lower rate that audio ``(frames, channels)`` was brought up from, or None.

    A spectrum of at most 400 windows of 8192 frames, spread over the file.
    """
    candidates = [old for old in _OLD_RATES_HZ if old < _ROOM * rate_hz]
    if not candidates or len(audio) < 2 * _SIZE:
        return None
    level_db = _spectrum_db(audio, cancel)
    hz = np.arange(len(level_db)) * rate_hz / _SIZE
    for old in candidates:
        half = old / 2.0
        above = level_db[(hz > _EDGE[1] * half) & (hz < 0.99 * rate_hz / 2.0)]
        below = level_db[(hz > 0.84 * half) & (hz < 0.9 * half)]
        # What lies far down is nothing, whatever its shape.
        above = np.maximum(np.convolve(above, np.full(9, 1.0 / 9.0), mode="valid"), np.median(below) - _NOTHING_DB)
        if len(above) < 4 or np.median(below) - above.max() < _DROP_DB or np.ptp(above) > _FLAT_DB:
            continue
        smooth = np.convolve(level_db, np.full(9, 1.0 / 9.0), mode="same")
        reaches = float(hz[np.flatnonzero((smooth > above.max() + 6.0) & (hz <= _EDGE[1] * half))[-1]])
        floor, full = float(above.max()), float(np.median(below))
        before = float(smooth[np.searchsorted(hz, reaches - _BACK * half)])
        if reaches >= _EDGE[0] * half and before - floor > _STEEP * (full - floor):
            return old
    return None


def _spectrum_db(audio: npt.NDArray[np.float32], cancel: Cancel | None) -> npt.NDArray[np.float64]:
    from scipy.fft import rfft  # slow to load

    window = np.blackman(_SIZE)[:, None]
    starts = np.linspace(0, len(audio) - _SIZE, min(_MOST_WINDOWS, len(audio) // _SIZE)).astype(np.int64)
    power = np.zeros(_SIZE // 2 + 1)
    for start in until_stopped(starts.tolist(), cancel):
        spectrum = rfft(audio[start : start + _SIZE].astype(np.float64) * window, axis=0)
        power += np.square(np.abs(spectrum)).sum(axis=1)
    return np.asarray(10.0 * np.log10(np.maximum(power / len(starts), 1e-30)))
