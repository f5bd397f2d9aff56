# SPDX-License-Identifier: Apache-2.0
"""By hand: what limiting changed between parts, from the files alone, and the true peak of a file.

The gain over time is read off the preview itself, as its quotient by the sum of the parts. K-weighting: the table for
48 kHz and the prototypes behind it, ITU-R BS.1770-5, Annex 1; gates: the same, section 5. True peak: Annex 2, with 16
points a sample by a polyphase filter of scipy.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy import signal

_BLOCK_S, _HOP_S = 0.4, 0.1


def k_weighted(audio: np.ndarray, rate_hz: int) -> np.ndarray:
    """Return audio ``(frames, channels)`` through both filters of the standard."""
    for hz, q, kind in ((1681.974450955533, 0.7071752369554196, "shelf"), (38.13547087602444, 0.5003270373238773, "")):
        k = np.tan(np.pi * hz / rate_hz)
        below = 1.0 + k / q + k * k
        a = [1.0, 2.0 * (k * k - 1.0) / below, (1.0 - k / q + k * k) / below]
        if kind == "shelf":
            high, band = 10 ** (3.999843853973347 / 20), 10 ** (3.999843853973347 * 0.4996667741545416 / 20)
            b = np.array([high + band * k / q + k * k, 2 * (k * k - high), high - band * k / q + k * k]) / below
        else:
            b = np.array([1.0, -2.0, 1.0])
        audio = signal.lfilter(b, a, audio, axis=0)
    return audio


def block_powers(audio: np.ndarray, rate_hz: int) -> np.ndarray:
    """Return the powers of gating blocks of 400 ms, one every 100 ms, both channels summed."""
    squares = np.cumsum(np.concatenate([[0.0], np.sum(k_weighted(audio, rate_hz) ** 2, axis=1)]))
    block, hop = round(_BLOCK_S * rate_hz), round(_HOP_S * rate_hz)
    starts = np.arange(0, len(audio) - block + 1, hop)
    return (squares[starts + block] - squares[starts]) / block


def gain_between(mix: np.ndarray, limited: np.ndarray) -> np.ndarray:
    """Return ``(frames,)`` by which `limited` is `mix`; where the mix crosses zero, as around it."""
    power = np.sum(mix**2, axis=1)
    found = power > 1e-6 * power.max()
    gain = np.sum(mix * limited, axis=1)[found] / power[found]
    return np.interp(np.arange(len(mix)), np.flatnonzero(found), gain)


def changes_lu(parts: Mapping[str, np.ndarray], limited: np.ndarray, rate_hz: int) -> dict[str, float]:
    """Return by how much each part of a mix became louder when it was limited, one static gain included."""
    gain = gain_between(np.sum(list(parts.values()), axis=0), limited)[:, np.newaxis]
    found = {}
    for name, audio in parts.items():
        before, after = block_powers(audio, rate_hz), block_powers(audio * gain, rate_hz)
        loud = -0.691 + 10.0 * np.log10(np.maximum(before, 1e-20)) > -70.0
        loud &= before > 0.1 * before[loud].mean()
        found[name] = 10.0 * np.log10(after[loud].mean() / before[loud].mean())
    return found


def true_peak_db(audio: np.ndarray) -> float:
    """Return the true peak of audio ``(frames, channels)`` in dBTP, by polyphase filters of scipy.

    Twice the rate first (64 samples to either side, cut at half the rate); what comes within 1.5 dB of the highest
    there is looked at with 16 points a sample.
    """
    twice = signal.resample_poly(audio, 2, 1, axis=0, window=_half_band(2, 64, 8.0))
    highest = peak = max(np.abs(twice).max(), np.abs(audio).max())
    taps = _half_band(8, 16, 8.0)
    padded = np.pad(twice, ((64, 320), (0, 0)))
    for start in range(0, len(twice), 256):
        if np.abs(twice[start : start + 256]).max() >= 0.84 * highest:
            fine = signal.resample_poly(padded[start : start + 384], 8, 1, axis=0, window=taps)
            peak = max(peak, np.abs(fine[512:-512]).max())
    return float(20.0 * np.log10(max(peak, 1e-9)))


def _half_band(points: int, samples: int, beta: float) -> np.ndarray:
    return np.asarray(signal.firwin(2 * samples * points + 1, 1.0 / points, window=("kaiser", beta)))
