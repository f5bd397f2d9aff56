# SPDX-License-Identifier: Apache-2.0
"""The ear in slow, plain numpy: line spectra, running spectra, excitation, loudness, smoothing, two ears, shares.

Moore, Glasberg and Baer 1997; Glasberg and Moore 2002, 2005; ANSI S3.4-2007; ISO 532-2:2017; ISO 532-3:2023.
"""

import functools
import itertools
import math

import numpy as np

from mixwright.hearing.components import SPREAD_DB, WINDOW_MS, components
from mixwright.hearing.constants import CUED_DB, STRICT_DB, Constants, constants_at
from mixwright.hearing.scale import bandwidth_hz, cam_from_hz, hz_from_cam
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
    return 10.0 * np.log10(np.maximum(power @ _weights_around(hz.tobytes()), 1e-10))


@functools.lru_cache(maxsize=4)
def _weights_around(hz_bytes):
    hz = np.frombuffer(hz_bytes)
    slope = 4.0 * hz / bandwidth_hz(hz)
    return roex(slope[None, :], (hz[:, None] - hz[None, :]) / hz[None, :])  # [heard, around]


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
    ratio = masked / np.maximum(s, 1e-30)  # of use where the signal is above
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


# Line spectra: arrays of frequencies and powers re (20 uPa)^2, in steps of 0.1 Cam as in ANSI S3.4-2007.


def grid(name="ANSI S3.4"):
    """Constants of the 372 filters from 1.8 to 38.9 Cam, and their centres."""
    centre_hz = centres(0.1, 1.8, 372)
    return constants_at(centre_hz, name), centre_hz


def tone(hz, level_db):
    """One component."""
    return np.array([hz], dtype=np.float64), 10.0 ** (np.array([level_db]) / 10.0)


def together(*sounds):
    """Return several sounds as one."""
    return np.concatenate([hz for hz, _ in sounds]), np.concatenate([power for _, power in sounds])


def at_cochlea(sound, field="free"):
    """The power of the sound's components at the cochlea; "free, spline": a cubic spline through the ear's table."""
    from scipy.interpolate import CubicSpline

    hz, power = sound
    if field == "free, spline":
        return power * 10.0 ** (CubicSpline(EAR_HZ, np.add(FREE_FIELD_DB, MIDDLE_EAR_DB))(hz) / 10.0)
    return power * 10.0 ** (transmission_db(hz, field) / 10.0)


def loudness(sound, name="ANSI S3.4", field="free"):
    """Loudness in sone of a line spectrum, both ears alike."""
    c, centre_hz = grid(name)
    return float(
        c.two_ears * 0.1 * specific_loudness(excitation(sound[0], at_cochlea(sound, field), centre_hz), c).sum()
    )


def rectangular_level_db(hz, power):
    """Level within half a Cam around each component: another reading of the level per ERB, in use elsewhere."""
    cam = cam_from_hz(hz)
    return 10.0 * np.log10(np.maximum([power[np.abs(cam - at) <= 0.5].sum() for at in cam], 1e-10))


def partial(sounds, offset_db=0.0, name="ANSI S3.4", field="free", level=level_per_erb_db):
    """Partial loudness in sone of each of several sounds heard together, both ears alike: a list."""
    c, centre_hz = grid(name)
    hz, _ = together(*sounds)
    powers = np.zeros((len(sounds), len(hz)))
    start = 0
    for k, sound in enumerate(sounds):
        powers[k, start : start + len(sound[0])] = at_cochlea(sound, field)
        start += len(sound[0])
    excited = powers @ filter_weights(hz, level(hz, powers.sum(axis=0)), centre_hz)
    rests = [np.delete(excited, k, axis=0).sum(axis=0) for k in range(len(sounds))]
    return [
        float(c.two_ears * 0.1 * partial_loudness(signal, rest, c, offset_db).sum())
        for signal, rest in zip(excited, rests, strict=True)
    ]


# Running sounds: powers (T, J) of steps of any length.


@functools.cache
def _weights_by_level():
    """Weights (J, levels, I) of the 134 components in the 150 filters, at levels from -40 to 125 dB in half dB."""
    return filter_weights(components().hz, np.arange(-40.0, 125.5, 0.5)[:, None], centres()).transpose(1, 0, 2).copy()


def running_excitation(powers, filters_from=None):
    """Excitations, each (T, 150), of sounds with powers (T, J), through filters set by one power (T, J) or their own.

    Filters are taken at the nearest half dB: within 0.1 % of loudness of `excitation` step by step.
    """
    if filters_from is None:
        return [running_excitation([power], power)[0] for power in powers]
    table, every = _weights_by_level(), np.arange(len(components().hz))
    level_db = level_per_erb_db(components().hz, filters_from)
    nearest = np.rint(2.0 * (np.clip(level_db, -40.0, 125.0) + 40.0)).astype(int)
    rows = np.stack(powers, axis=1)
    return list(np.stack([row @ table[every, at] for row, at in zip(rows, nearest, strict=True)], axis=1))


#: How the package cuts time: first filter, end, ms of a step, and the first window whose power is taken step by step.
STEPS = ((0, 64, 4, 6), (64, 88, 2, 3), (88, 150, 1, 4))


def at_steps(power, ms):
    """Powers (T / ms, J) of steps from those at 1 ms (T, J): a window's is taken every quarter of it, or every 4 ms."""
    made = np.empty((len(power) // ms, power.shape[1]))
    for k, window_ms in enumerate(WINDOW_MS):
        own = min(4, max(1, window_ms // 4))
        mine, step = components().window == k, max(ms, own)
        means = power[::own, mine].reshape(-1, step // own, np.count_nonzero(mine)).mean(axis=1)
        made[:, mine] = np.repeat(means, step // ms, axis=0)
    return made


def stepped_excitation(powers, filters_from=None):
    """As `running_excitation` of powers at 1 ms (T, J), T a multiple of 4, in steps as the package cuts them."""
    if filters_from is None:
        return [stepped_excitation([power], power)[0] for power in powers]
    shapes, wholes = at_steps(filters_from, 4), [at_steps(power, 4) for power in powers]
    made = [np.empty((len(power), 150)) for power in powers]
    for first, end, ms, window in STEPS:
        rows = [
            np.where(components().window >= window, at_steps(power, ms), np.repeat(whole, 4 // ms, axis=0))
            for power, whole in zip(powers, wholes, strict=True)
        ]
        for out, excited in zip(made, running_excitation(rows, np.repeat(shapes, 4 // ms, axis=0)), strict=True):
            out[:, first:end] = np.repeat(excited[:, first:end], ms, axis=0)
    return made


def stepped_average(values):
    """Short-term averages of specific loudness (T, 150) at 1 ms, in steps as the package cuts them."""
    parts = [np.repeat(average(values[::ms, a:b], 0.045, 0.033, ms), ms, axis=0) for a, b, ms, _ in STEPS]
    return np.concatenate(parts, axis=1)


def short_term(left, right=None, hop_ms=1, step_cam=0.25):
    """Short-term loudness (T,) of both ears and of each, from their specific loudness (T, I)."""
    smooth = [average(x, 0.045, 0.033, hop_ms) for x in ((left,) if right is None else (left, right))]
    ears = [x.sum(axis=1) * step_cam for x in inhibited(smooth[0], smooth[-1], step_cam)]
    return ears[0] + ears[1], ears


def long_term(ears, hop_ms=1):
    """Long-term loudness (T,): each ear's short-term loudness averaged again, both added."""
    return sum(average(ear, 0.01, 0.00133, hop_ms) for ear in ears)


def decimated_power(audio, frames, margin, half_band, ear, windows, scale):
    """Powers (frames, 4, J) at 1 ms, each range at its own rate, as the C core does it: 96 samples a window.

    `half_band` coefficients at the odd distances, `ear` the half filters by range, `windows` in a frame of 4 ms and
    `scale` of their power; all longest window first. Where a frame has fewer windows each holds for longer.
    """
    parts = components()
    half = np.zeros(2 * 2 * len(half_band) - 1)
    middle = 2 * len(half_band) - 1
    half[middle] = 0.5
    for k, tap in enumerate(half_band):
        half[middle - 2 * k - 1] = half[middle + 2 * k + 1] = tap
    at_rate, zero, rate_hz = np.asarray(audio, dtype=np.float64), margin, 48000
    out = np.empty((frames, 4, len(parts.hz)))
    m = np.arange(-47, 48)
    for k in reversed(range(len(WINDOW_MS))):
        heard = np.convolve(at_rate, np.concatenate([ear[k][:0:-1], ear[k]]), "same")
        hz = parts.hz[parts.first[k] : parts.first[k + 1]]
        waves = (0.5 + 0.5 * np.cos(np.pi * m / 48.0))[:, None] * np.exp(-2j * np.pi * np.outer(m, hz / rate_hz))
        hop = rate_hz // 250 // windows[k]
        at = zero + hop * np.arange(frames * windows[k])
        power = np.abs(heard[at[:, None] + m] @ waves) ** 2
        held = np.repeat(power.reshape(frames, windows[k], -1), 4 // windows[k], axis=1)
        out[:, :, parts.first[k] : parts.first[k + 1]] = held * scale[k]
        at_rate, zero, rate_hz = np.convolve(at_rate, half, "same")[::2], zero // 2, rate_hz // 2
    return out


def listen(audio, offset_db=100.0, hop_ms=1, average_ms=None, field="free"):
    """Specific loudness (T, 150) of what one ear hears at 48 kHz, by the constants of ISO 532-3:2023."""
    power = running_power(audio, offset_db, hop_ms, average_ms, field)
    return specific_loudness(running_excitation([power])[0], constants_at(centres()))


def in_a_mix(audio, mix, offset_db, hop_ms=1, average_ms=None, excite=running_excitation):
    """Specific loudness (T, 150) at one ear of a layer alone, strict and cued in a mix: a list of three.

    What masks it is the waveform of the mix without it. With steps of 1 ms `excite` may be `stepped_excitation`.
    """
    whole, layer, rest = (running_power(x, offset_db, hop_ms, average_ms) for x in (mix, audio, mix - audio))
    c = constants_at(centres())
    signal, noise = excite([layer, rest], whole)
    partials = [partial_loudness(signal, noise, c, db) for db in (STRICT_DB, CUED_DB)]
    return [specific_loudness(excite([layer])[0], c), *partials]


# Who takes what.


def shapley(signal, others, c: Constants, offset_db=0.0):
    """Loss of specific loudness (..., I) by each of the other sounds: its mean over all orders of their arrival."""
    count = len(others)
    value = {
        members: partial_loudness(signal, sum((others[k] for k in members), np.zeros_like(signal)), c, offset_db)
        for size in range(count + 1)
        for members in itertools.combinations(range(count), size)
    }
    losses = [np.zeros_like(signal) for _ in others]
    for members, before in value.items():
        weight = math.factorial(len(members)) * math.factorial(max(0, count - len(members) - 1))
        for k in set(range(count)) - set(members):
            after = value[tuple(sorted((*members, k)))]
            losses[k] += weight / math.factorial(count) * (before - after)
    return losses
