# SPDX-License-Identifier: Apache-2.0
"""Whether a file was brought up from a lower rate: a steep edge below half of that, and nothing above."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixwright.delivery.finished.window_powers import hz_of_bins

#: Rates that material comes from (AES5: 48 kHz, its multiples, and 44.1 kHz; from memory).
_OLD_RATES_HZ = (44_100, 48_000, 88_200, 96_000)
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


def old_rate_hz(powers: npt.NDArray[np.float64], rate_hz: int) -> int | None:
    """Return the lower rate that a file was brought up from, or None.

    Parameters
    ----------
    powers : (windows, bins) array
        As of `window_powers`.
    rate_hz : int
        Of the file.
    """
    candidates = [old for old in _OLD_RATES_HZ if old < _ROOM * rate_hz]
    if not candidates or not len(powers):
        return None
    level_db = 10.0 * np.log10(np.maximum(powers.mean(axis=0), 1e-30))
    hz = hz_of_bins(rate_hz)
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
