# SPDX-License-Identifier: Apache-2.0
"""Sounds made by code for the tests of intake: a voice, drums, a bass, chords, and a song of them."""

from __future__ import annotations

import numpy as np
from scipy import signal

RATE_HZ = 24000


def hits(kind: str, times_s, duration_s: float, seed: int = 1) -> np.ndarray:
    """Drum hits: "kick" (a falling tone), "snare" (tone and noise), "hats" (high noise)."""
    rng = np.random.default_rng(seed)
    out = np.zeros(round(duration_s * RATE_HZ))
    t = np.arange(round(0.3 * RATE_HZ)) / RATE_HZ
    order, edge_hz = (2, 900) if kind == "snare" else (4, 6000)
    high_pass = signal.butter(order, edge_hz, "high", fs=RATE_HZ, output="sos")
    for time_s in times_s:
        if kind == "kick":
            one = np.sin(2 * np.pi * (50 * t + 6 * (1 - np.exp(-t * 40)))) * np.exp(-t * 14)
        elif kind == "snare":
            noise = signal.sosfilt(high_pass, rng.standard_normal(len(t)))
            one = 0.5 * noise * np.exp(-t * 25) + 0.4 * np.sin(2 * np.pi * 190 * t) * np.exp(-t * 30)
        else:
            one = 0.5 * signal.sosfilt(high_pass, rng.standard_normal(len(t))) * np.exp(-t * 50)
        start = round(time_s * RATE_HZ)
        n = min(len(one), len(out) - start)
        if n > 0:
            out[start : start + n] += one[:n]
    return 0.5 * out


def tone(notes, *, harmonics: int = 8, decay: float = 0.0, vibrato: float = 0.0, seed: int = 0) -> np.ndarray:
    """Notes ((hz, seconds), ...) of harmonics at 1/k; 0 Hz is silence; `decay` per second, vibrato in semitones."""
    rng = np.random.default_rng(seed)
    pieces = []
    for hz, seconds in notes:
        t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
        if hz == 0:
            pieces.append(np.zeros(len(t)))
            continue
        bend = 2 ** (vibrato * np.sin(2 * np.pi * 5.5 * t + rng.uniform(0, 6)) / 12)
        phase = 2 * np.pi * np.cumsum(hz * bend) / RATE_HZ
        wave = sum(np.sin(k * phase) / k for k in range(1, harmonics + 1) if k * hz < RATE_HZ / 2.2)
        fade = np.minimum(1.0, np.minimum(t, seconds - t) / 0.01)
        pieces.append(wave * np.exp(-decay * t) * fade)
    return 0.15 * np.concatenate(pieces)


def voice(notes, seed: int = 3) -> np.ndarray:
    """A sung line: a gliding harmonic tone through formants that change with every syllable, with hiss between."""
    rng = np.random.default_rng(seed)
    vowels = [(730, 1090, 2440), (270, 2290, 3010), (300, 870, 2240), (530, 1840, 2480)]  # Peterson and Barney 1952
    pieces = []
    for i, (hz, seconds) in enumerate(notes):
        source = tone([(hz, seconds)], harmonics=40, vibrato=0.4, seed=seed + i)
        if hz == 0:
            pieces.append(source)
            continue
        half = len(source) // 2
        shaped = np.zeros(len(source))
        for part, start in ((source[:half], 0), (source[half:], half)):
            formants = vowels[rng.integers(len(vowels))]
            for k, formant_hz in enumerate(formants):
                b, a = signal.iirpeak(formant_hz, formant_hz / 90, fs=RATE_HZ)
                shaped[start : start + len(part)] += signal.lfilter(b, a, part) * (1.0, 0.7, 0.3)[k]
        hiss = round(0.06 * RATE_HZ)
        noise = signal.sosfilt(signal.butter(2, 5000, "high", fs=RATE_HZ, output="sos"), rng.standard_normal(hiss))
        shaped[:hiss] = 0.02 * noise
        pieces.append(shaped)
    return 1.5 * np.concatenate(pieces)


def stereo(left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Two mono sounds as float32 (frames, 2)."""
    return np.stack([left, right], axis=1).astype(np.float32)


def mono(sound: np.ndarray) -> np.ndarray:
    """A sound as float32 (frames, 1)."""
    return sound.astype(np.float32)[:, None]
