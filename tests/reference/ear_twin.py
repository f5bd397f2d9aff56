# SPDX-License-Identifier: Apache-2.0
"""The ear in slow, plain numpy: excitation, specific and partial loudness, smoothing, two ears.

Moore, Glasberg and Baer 1997; Glasberg and Moore 2002, 2005; ANSI S3.4-2007; ISO 532-2:2017; ISO 532-3:2023.
"""

import numpy as np

from mixwright.hearing.components import SPREAD_DB, WINDOW_MS, components
from mixwright.hearing.constants import Constants
from mixwright.hearing.scale import bandwidth_hz, hz_from_cam
from mixwright.hearing.tables import DIFFUSE_FIELD_DB, EAR_HZ, FREE_FIELD_DB, MIDDLE_EAR_DB

FIELDS = {"free": FREE_FIELD_DB, "diffuse": DIFFUSE_FIELD_DB, "eardrum": tuple(0.0 for _ in EAR_HZ)}


def transmission_db(hz, field="free"):
    """Outer and middle ear, linear in dB over linear frequency; below 20 Hz the middle ear falls 18 dB an octave."""
    at = np.asarray(hz, dtype=np.float64)
    db = np.interp(at, EAR_HZ, np.add(FIELDS[field], MIDDLE_EAR_DB))
    return np.where(at < 20.0, db + 60.0 * np.log10(np.maximum(at, 1e-3) / 20.0), db)


def roex(slope, distance):
    """Weight of a filter of slope p at the distance |g|."""
    x = slope * np.abs(distance)
    return (1.0 + x) * np.exp(-x)


def level_per_erb_db(hz, power):
    """Level of the sound around each component, through a symmetric filter at the component: (..., J)."""
    slope = 4.0 * hz / bandwidth_hz(hz)
    weights = roex(slope[None, :], (hz[:, None] - hz[None, :]) / hz[None, :])  # [heard, around]
    return 10.0 * np.log10(np.maximum(power @ weights, 1e-10))


def filter_weights(hz, level_db, centre_hz):
    """Weight of each component in each filter, (..., J, I), by the level per ERB around the component."""
    upper = 4.0 * centre_hz / bandwidth_hz(centre_hz)
    at_1k = 4.0 * 1000.0 / bandwidth_hz(1000.0)
    distance = (hz[:, None] - centre_hz[None, :]) / centre_hz[None, :]
    lower = upper[None, :] - 0.35 * (upper[None, :] / at_1k) * (np.asarray(level_db)[..., :, None] - 51.0)
    slope = np.where(distance >= 0.0, upper[None, :], np.maximum(lower, 0.1))
    return np.where(distance <= 4.0, roex(slope, distance), 0.0)


def excitation(hz, power, centre_hz, level_db=None):
    """Excitation (I,) of a line spectrum at the cochlea; `level_db` from another sound shares its filters."""
    level_db = level_per_erb_db(hz, power) if level_db is None else level_db
    return power @ filter_weights(hz, level_db, centre_hz)


def specific_loudness(excited, c: Constants):
    """Specific loudness in quiet of one ear, sone per Cam."""
    e = np.asarray(excited, dtype=np.float64)
    middle = c.scale * ((c.gain * e + c.offset) ** c.exponent - c.offset**c.exponent)
    low = middle * (2.0 * e / (e + c.threshold)) ** 1.5
    high = c.scale * (e / 1.0707) ** 0.2
    return np.where(e > 1e10, high, np.where(e < c.threshold, low, middle))


def partial_loudness(signal, noise, c: Constants, offset_db=0.0):
    """Specific loudness of a signal in noise, the four branches of Moore, Glasberg and Baer 1997."""
    s = np.asarray(signal, dtype=np.float64)
    n = np.maximum(np.asarray(noise, dtype=np.float64), 0.0)
    masked = c.masked_ratio * 10.0 ** (offset_db / 10.0) * n + c.threshold
    floor = c.offset**c.exponent

    def low(e):
        return (c.gain * e + c.offset) ** c.exponent

    def high(e):
        return (e / 1.0707) ** 0.2

    at_threshold = low(c.threshold) - floor
    ratio = masked / np.maximum(s, 1e-300)
    shrunk = (2.0 * s / (s + masked)) ** 1.5
    total = s + n
    branch_17 = low(total) - floor - (low(n + masked) - low(c.threshold)) * ratio**0.3
    branch_18 = shrunk * at_threshold / (low(n + masked) - low(n)) * (low(total) - low(n))
    branch_19 = high(total) - (high(n + masked) - at_threshold) * ratio**0.3
    branch_20 = shrunk * at_threshold / (high(n + masked) - high(n)) * (high(total) - high(n))
    loud = total > 1e10
    above = s >= masked
    result = np.where(above, np.where(loud, branch_19, branch_17), np.where(loud, branch_20, branch_18))
    return c.scale * np.where(s > 0.0, np.maximum(result, 0.0), 0.0)


def average(values, attack_per_ms, release_per_ms, hop_ms):
    """Attack and release along the first axis, from silence."""
    attack, release = 1.0 - (1.0 - attack_per_ms) ** hop_ms, 1.0 - (1.0 - release_per_ms) ** hop_ms
    out = np.empty(np.shape(values))
    state = np.zeros(np.shape(values)[1:])
    for t, value in enumerate(values):
        state = state + np.where(value > state, attack, release) * (value - state)
        out[t] = state
    return out


def inhibited(left, right, step_cam=0.25):
    """Both ears' specific loudness (..., I) after mutual inhibition."""
    reach = round(18.0 / step_cam)
    weights = np.exp(-((0.08 * step_cam * np.arange(-reach, reach + 1)) ** 2))

    def smooth(x):
        return np.apply_along_axis(lambda row: np.convolve(row, weights, "same"), -1, x) + 1e-13

    a, b = smooth(np.asarray(left, dtype=np.float64)), smooth(np.asarray(right, dtype=np.float64))

    def divisor(ratio):
        return 2.0 / (1.0 + (1.0 / np.cosh(np.minimum(ratio, 700.0))) ** 1.5978)

    return left / divisor(b / a), right / divisor(a / b)


def centres(step_cam=0.25, first_cam=1.75, count=150):
    """Centre frequencies of the filters."""
    return hz_from_cam(first_cam + step_cam * np.arange(count))


def ear_filter(field="free", taps=4097, rate_hz=48000):
    """Outer and middle ear as a linear-phase filter, by frequency sampling."""
    from scipy.signal import firwin2

    hz = np.linspace(0.0, rate_hz / 2.0, 8193)
    return firwin2(taps, hz, 10.0 ** (transmission_db(hz, field) / 20.0), fs=rate_hz)


def running_power(audio, offset_db, hop_ms=1, average_ms=None, field="free"):
    """Power of every component (T, J) of one ear at steps of `hop_ms`, re the 1 kHz threshold reference.

    `audio` at 48 kHz, `offset_db` the level in dB SPL of a signal whose mean square is 1. The frame of step t is
    centred on sample t * hop. With `average_ms` the power of sub-frames is averaged over each hop.
    """
    from scipy.signal import fftconvolve

    parts = components()
    heard = np.pad(np.asarray(audio, dtype=np.float64), 4096)
    heard = fftconvolve(heard, ear_filter(field), "same")
    steps = -(-len(audio) // (48 * hop_ms))
    out = np.empty((steps, len(parts.hz)))
    for k, window_ms in enumerate(WINDOW_MS):
        length = 48 * window_ms
        window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(length) / length)
        own_ms = hop_ms if average_ms is None else min(hop_ms, max(1, window_ms // 4))
        mine = slice(parts.first[k], parts.first[k + 1])
        bins = np.rint(parts.hz[mine] * 2 * length / 48000).astype(int)
        power = np.zeros((steps, len(bins)))
        for sub in range(hop_ms // own_ms):
            at = 4096 + 48 * (hop_ms * np.arange(steps) + own_ms * sub) - length // 2
            frames = heard[at[:, None] + np.arange(length)] * window
            power += np.abs(np.fft.rfft(frames, 2 * length)[:, bins]) ** 2
        scale = 2.0 / (2 * length * np.sum(window**2)) * own_ms / hop_ms
        out[:, mine] = power * scale * 10.0 ** ((offset_db + SPREAD_DB) / 10.0)
    return out
