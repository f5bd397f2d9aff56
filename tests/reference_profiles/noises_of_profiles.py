# SPDX-License-Identifier: Apache-2.0
"""Signals whose figures are known from how they are made."""

import functools

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft, rfftfreq

RATE_HZ = 48000


def noise(seconds=4.0, *, slope_db_oct=0.0, side=0.3, seed=1, rate_hz=RATE_HZ):
    """Noise whose power density falls by a slope, with a side signal of known size."""
    rng = np.random.default_rng(seed)
    frames = round(seconds * rate_hz)
    length = next_fast_len(frames, real=True)
    hz = rfftfreq(length, 1.0 / rate_hz)
    gain = np.where(hz > 15.0, 10.0 ** (slope_db_oct * np.log2(np.maximum(hz, 15.0) / 1000.0) / 20.0), 0.0)
    parts = [irfft(rfft(rng.standard_normal(length)) * gain, length)[:frames] for _ in range(2)]
    mid, other = (0.05 * part / np.sqrt(np.mean(part**2)) for part in parts)
    return np.stack([mid + side * other, mid - side * other], axis=1).astype(np.float32)


@functools.cache
def song(seconds=32.0, *, seed=1, rate_hz=RATE_HZ, tempo_s=0.5):
    """Soft halves with a pulse, then loud, bright and wide halves: something like verse and chorus, twice."""
    frames = round(seconds * rate_hz)
    thin = noise(seconds, slope_db_oct=-4.0, side=0.2, seed=seed, rate_hz=rate_hz)
    full = noise(seconds, slope_db_oct=-2.5, side=0.5, seed=seed + 1, rate_hz=rate_hz)
    at = np.arange(frames) / rate_hz
    chorus = ((at // (seconds / 4.0)) % 2 == 1)[:, None]
    beat = np.exp(-(at % tempo_s) / 0.08)[:, None]
    made = np.where(chorus, 2.0 * full * (0.5 + 0.5 * beat), thin * (0.1 + 1.2 * beat)).astype(np.float32)
    made.flags.writeable = False
    return made


def tone(hz, seconds=6.0, *, rate_hz=RATE_HZ):
    """A sine on both sides."""
    wave = 0.25 * np.sin(2.0 * np.pi * hz * np.arange(round(seconds * rate_hz)) / rate_hz)
    return np.stack([wave, wave], axis=1).astype(np.float32)


def speech_like(seconds=20.0, *, seed=1, rate_hz=RATE_HZ):
    """Syllables of a voice at 4 a second with pauses, without anything below 100 Hz, on both sides alike."""
    rng = np.random.default_rng(seed)
    at = np.arange(round(seconds * rate_hz)) / rate_hz
    voice = sum(np.sin(2.0 * np.pi * 130.0 * k * at) / k for k in range(1, 30))
    spoken = np.sin(np.pi * (at * 4.0 % 1.0)) ** 2 * (np.floor(at / 0.75) % 3 < 2)
    wave = 0.05 * voice * spoken + 1e-5 * rng.standard_normal(len(at))
    return np.stack([wave, wave], axis=1).astype(np.float32)
