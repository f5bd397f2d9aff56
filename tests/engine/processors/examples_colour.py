# SPDX-License-Identifier: Apache-2.0
"""Inserts of colour to test by, with twins that use scipy's filters and numpy's functions."""

from __future__ import annotations

import numpy as np
from scipy.signal import butter, lfilter

from mixwright.model.colour_inserts import Saturation
from reference.oversample_twin import LATE, down, up

CURVES = {
    "smooth": np.tanh,
    "gentle": lambda x: x / np.hypot(1.0, x),
    "hard": lambda x: x * (1.0 + x**8) ** -0.125,
}
SLOPES = {
    "smooth": lambda x: np.cosh(x) ** -2,
    "gentle": lambda x: (1.0 + x**2) ** -1.5,
    "hard": lambda x: (1.0 + x**8) ** -1.125,
}


def curve(insert, u):
    """The curve through 0 with slope 1 there."""
    drive = 10.0 ** (insert.drive_db / 20.0)
    bend = CURVES[insert.curve]
    return (bend(drive * u + insert.bias) - bend(insert.bias)) / (drive * SLOPES[insert.curve](insert.bias))


def gains_of(out, into):
    """Float32 gains that make `out` of `into`; 1 where nearly nothing is."""
    quiet = np.abs(into) < 1e-9
    return np.where(quiet, 1.0, out / np.where(quiet, 1.0, into)).astype(np.float32).astype(np.float64)


def saturation_twin(insert, rate_hz, audio, key):
    n = np.arange(256)
    sine = 10.0 ** (-12.0 / 20.0) * np.sin(2.0 * np.pi * (n + 0.5) / 256)
    level = np.std(sine) / np.std(sine * gains_of(curve(insert, sine), sine))
    out = np.empty_like(audio)
    for channel, x in enumerate(audio.T):
        u = up(x, insert.oversampling)
        added = down(u * (gains_of(curve(insert, u), u) - 1.0), insert.oversampling)
        if insert.bias:
            added = lfilter(*butter(1, 10.0, "high", fs=rate_hz), added)
        late = LATE[insert.oversampling]
        out[:, channel] = level * (np.concatenate([np.zeros(late), x])[: len(x)] + added)
    return out


EXAMPLES = [
    (Saturation(drive_db=12), saturation_twin),
    (Saturation(curve="gentle", drive_db=9, bias=0.4, oversampling=2), saturation_twin),
    (Saturation(curve="hard", drive_db=-3, oversampling=8), saturation_twin),
    (Saturation(drive_db=3, bias=1.0), saturation_twin),
]
