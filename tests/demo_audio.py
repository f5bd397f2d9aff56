# SPDX-License-Identifier: Apache-2.0
"""Reads files of the demo, at one rate."""

from pathlib import Path

import numpy as np
import soundfile
import soxr

RATE_HZ = 48_000


def read(path: Path) -> np.ndarray:
    """Return the audio of a file, (frames, channels), at 48 kHz."""
    audio, rate_hz = soundfile.read(path, always_2d=True)
    return audio if rate_hz == RATE_HZ else soxr.resample(audio, rate_hz, RATE_HZ, quality="VHQ")


def db(ratio: float) -> float:
    """Return a ratio of amplitudes in dB."""
    return 20.0 * np.log10(max(float(ratio), 1e-12))
