# SPDX-License-Identifier: Apache-2.0
"""A small finished piece made by code, in three parts, for the tests of checks; it is invented."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import soundfile

RATE_HZ = 24000
SECONDS = 4.0


def dithered(audio: np.ndarray, bits: int, seed: int = 1) -> np.ndarray:
    """Round to so many bits with triangular dither of two steps."""
    rng = np.random.default_rng(seed)
    top = 2.0 ** (bits - 1)
    noise = rng.uniform(-0.5, 0.5, audio.shape) + rng.uniform(-0.5, 0.5, audio.shape)
    return np.clip(np.rint(audio * top + noise), -top, top - 1) / top


@cache
def parts() -> tuple[np.ndarray, ...]:
    """Return a voice in the middle, chords wide, and a bass; (frames, 2), faded at both ends."""
    n = np.arange(round(SECONDS * RATE_HZ))
    t = n / RATE_HZ
    rng = np.random.default_rng(7)
    ends = np.minimum(1.0, np.minimum(t / 0.05, (SECONDS - t) / 0.8))[:, None] ** 2
    sung = 0.5 + 0.5 * np.sin(2 * np.pi * 2.1 * t)
    voice = sum(np.sin(2 * np.pi * k * 311.0 * t + 2.0 * np.sin(2 * np.pi * 5 * t)) / k for k in range(1, 14)) * sung
    hiss = rng.standard_normal((len(n), 2)) * 0.003
    chord = [sum(np.sin(2 * np.pi * k * hz * t + k * hz) / k**2 for k in range(1, 9)) for hz in (196.0, 247.3, 293.1)]
    wide = np.stack([chord[0] + 0.5 * chord[1], chord[0] * 0.3 + chord[2]], axis=1)
    bass = np.sin(2 * np.pi * 55.0 * t) + 0.4 * np.sin(2 * np.pi * 110.0 * t + 1.0)
    return (
        0.15 * np.stack((voice, voice), axis=1) * ends + hiss * 0.1 * ends,
        0.12 * wide * ends + hiss * ends,
        0.12 * np.stack((bass, bass), axis=1) * ends,
    )


def mix() -> np.ndarray:
    """Return the sum of the parts."""
    return np.sum(parts(), axis=0)


def write(path: Path, audio: np.ndarray, bits: int = 24, rate_hz: int = RATE_HZ) -> Path:
    """Write audio as WAV with dither."""
    soundfile.write(path, dithered(audio, bits), rate_hz, subtype=f"PCM_{bits}")
    return path
