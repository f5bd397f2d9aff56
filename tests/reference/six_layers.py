# SPDX-License-Identifier: Apache-2.0
"""Six invented layers of a song, mono: kick, snare, hat, bass, pad and voice."""

from __future__ import annotations

import numpy as np

RATE_HZ = 48000
#: dBFS of each layer's root mean square.
RMS_DB = {"kick": -18.0, "snare": -22.0, "hat": -30.0, "bass": -20.0, "pad": -24.0, "voice": -21.0}


def band_of_noise(random, frames, low_hz, high_hz):
    spectrum = np.fft.rfft(random.standard_normal(frames))
    hz = np.fft.rfftfreq(frames, 1.0 / RATE_HZ)
    return np.fft.irfft(np.where((hz >= low_hz) & (hz <= high_hz), spectrum, 0.0), frames)


def phase(hz):
    return 2.0 * np.pi * np.cumsum(hz) / RATE_HZ


def six_layers(seconds, seed=11):
    """Return the layers by name, float64 arrays."""
    random = np.random.default_rng(seed)
    frames = round(seconds * RATE_HZ)
    n = np.arange(frames) / RATE_HZ
    beat, second = n % 0.5, (n + 0.5) % 1.0
    hit = np.where(beat < 0.003, random.standard_normal(frames), 0.0)
    kick = np.sin(phase(45.0 + 75.0 * np.exp(-beat / 0.03))) * np.exp(-beat / 0.12) + 0.3 * hit
    rattle = band_of_noise(random, frames, 800.0, 9000.0)
    snare = (rattle + 0.7 * np.sin(2.0 * np.pi * 190.0 * n)) * np.exp(-second / 0.07)
    hat = band_of_noise(random, frames, 7000.0, 20000.0) * np.exp(-(n % 0.25) / 0.03)
    low_hz = np.array([41.2, 55.0, 49.0, 43.7])[(n // 0.5).astype(int) % 4]
    bass = sum(10.0 ** (-7.0 * np.log2(k) / 20.0) * np.sin(k * phase(low_hz)) for k in range(1, 16))
    pad = np.zeros(frames)
    for hz in (220.0, 277.2, 329.6, 415.3):
        orders = np.arange(1, int(3500.0 / hz) + 1)
        pad += sum(np.sin(2.0 * np.pi * hz * k * n + random.uniform(0.0, 6.28)) / k for k in orders)
    notes_s = np.arange(0.0, seconds + 0.8, 0.4)
    sung_hz = np.interp(n, notes_s, random.uniform(175.0, 330.0, len(notes_s)))
    turning = phase(sung_hz * (1.0 + 0.012 * np.sin(2.0 * np.pi * 5.5 * n)))
    voice = np.zeros(frames)
    for k in range(1, 25):
        hz = k * 250.0
        formants = sum(
            np.exp(-(((hz - at) / width) ** 2)) for at, width in ((650.0, 200.0), (1200.0, 250.0), (2700.0, 400.0))
        )
        voice += (0.03 + formants) * np.sin(k * turning) / np.sqrt(k)
    consonants = 0.5 * band_of_noise(random, frames, 3000.0, 9000.0) * (n % 0.8 > 0.72)
    voice = voice * (0.6 + 0.4 * np.sin(2.0 * np.pi * 1.7 * n)) + consonants
    made = {"kick": kick, "snare": snare, "hat": hat, "bass": bass, "pad": pad, "voice": voice}
    return {name: x * 10.0 ** (RMS_DB[name] / 20.0) / np.sqrt(np.mean(x**2)) for name, x in made.items()}
