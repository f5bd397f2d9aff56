# SPDX-License-Identifier: Apache-2.0
"""The limiter in plain Python, one frame at a time: the slow twin of csrc/limiter.c."""

from __future__ import annotations

import math

import numpy as np

from mixwright.meter.true_peak import interpolator
from reference.interpolated_peak import interval_peaks

OCTAVE_DB = 20.0 * math.log10(2.0)
HOLD = 16
AFTER = 66


def compressed_db(level_db, threshold_db, ratio, knee_db):
    """The static curve: output level of an input level (Giannoulis, Massberg and Reiss 2012, equation 4)."""
    above = level_db - threshold_db
    if 2.0 * above < -knee_db:
        return level_db
    if 2.0 * above > knee_db:
        return threshold_db + above / ratio
    return level_db + ((1.0 / ratio - 1.0) * (above + knee_db / 2.0) ** 2 / (2.0 * knee_db) if knee_db else 0.0)


def limiter_gains(audio, rate_hz, *, ceiling_dbtp, release_s):
    """Return the delayed audio ``(frames, 2)`` and the gains of its frames ``(frames,)`` as doubles."""
    ceiling = 10.0 ** ((ceiling_dbtp - 5e-5) / 20.0)
    late, octaves = np.array(audio, dtype=np.float64), np.zeros(len(audio))
    for seconds, phases in ((0.002, 8), (0.0005, 16)):
        box = max(24, round(seconds * rate_hz))
        late, octaves = _limiter_pass(late, octaves, box, phases, ceiling, release_s * rate_hz)
    gains = np.exp2(-octaves)
    return late, np.where(gains < np.finfo(np.float32).tiny, 0.0, gains)


def _limiter_pass(audio, octaves, box, phases, ceiling, release_frames):
    frames = len(audio)
    product = np.clip(audio * np.exp2(-octaves).astype(np.float32)[:, np.newaxis], -1e30, 1e30).astype(np.float32)
    product = np.concatenate((np.zeros((AFTER, 2), dtype=np.float32), product))  # rings before the first frame too
    tops = np.max([interval_peaks(channel, interpolator(phases)) for channel in product.T], axis=0).tolist()[:frames]
    needs = [4096.0 if top >= 1e30 else max(0.0, math.log2(top / ceiling)) if top else 0.0 for top in tops]
    window = 2 * box + 2 * HOLD
    released = 0.0
    units, inner, total = [], [], []
    for frame in range(frames):
        largest = max(needs[max(0, frame - window + 1) : frame + 1])
        released = max(largest, released * math.exp(-1.0 / release_frames))
        units.append(int(released * 2**20 + 0.5))
        inner.append(sum(units[-box:]))
        total.append(sum(inner[-box:]) / 2**20 / box**2)
        if (frame + 1) % 256 == 0 and released < 1e-30:
            released = 0.0
    latency = AFTER + HOLD + 2 * box - 2
    late = [np.concatenate((np.zeros((latency, *x.shape[1:])), x))[:frames] for x in (audio, octaves)]
    return late[0], late[1] + np.array(total)
