# SPDX-License-Identifier: Apache-2.0
"""Inserts of colour to test by, with twins that use scipy's filters and numpy's functions."""

from __future__ import annotations

import numpy as np
from scipy.signal import bilinear, buttap, lfilter, sosfilt

from engine.processors.examples_dynamics import levels_twin
from mixwright.core.filters import design_band, design_high_pass, design_low_pass
from mixwright.model.colour_inserts import BassHarmonics, LowEnd, Saturation, Width
from mixwright.model.dynamics_inserts import LevelRange, Levels
from mixwright.model.filters import EqBand, Pass
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
            pole = np.exp(-2.0 * np.pi * 10.0 / rate_hz)  # that of s / (s + 2 pi 10), which is 1 at high frequencies
            gain = (1.0 - pole) * rate_hz / (2.0 * np.pi * 10.0)
            added = lfilter([gain, -gain], [1.0, -pole], added)
        late = LATE[insert.oversampling]
        out[:, channel] = level * (np.concatenate([np.zeros(late), x])[: len(x)] + added)
    return out


def width_twin(insert, rate_hz, audio, key):
    """Analogue shelves: Butterworth poles, zeros of the same polynomial moved, bilinear by scipy."""
    middle = audio.mean(axis=1) * 10.0 ** (insert.middle_db / 20.0)
    if audio.shape[1] == 1:
        return middle[:, np.newaxis]
    side = 0.5 * (audio[:, 0] - audio[:, 1]) * 10.0 ** (insert.side_db / 20.0)
    widths = np.array(insert.widths)
    widths[1:-1] = np.maximum(widths[1:-1], 1e-3)
    poly = np.real(np.poly(buttap(4)[1]))
    for k, hz in enumerate(insert.splits_hz):
        below, above = (1.0 if k else widths[0]), widths[k + 1] / (widths[k] if k else 1.0)
        powers = np.arange(4, -1, -1) / 4.0
        zeros = poly * above**powers * below ** (1.0 - powers)
        warped = 2.0 * rate_hz * np.tan(np.pi * hz / rate_hz)
        side = lfilter(*bilinear(zeros / warped ** (4 * powers), poly / warped ** (4 * powers), rate_hz), side)
    if len(widths) == 1:
        side = side * widths[0]
    return np.stack([middle + side, middle - side], axis=1)


def bass_harmonics_twin(insert, rate_hz, audio, key):
    """Filters run by scipy; the level by Fourier coefficients of the curve."""

    def passed(kind, order, hz, x):
        design = design_low_pass if kind == "low" else design_high_pass
        return filtered(design(Pass(hz=hz, slope_db_oct=6 * order), rate_hz), x)

    def bent(u):
        return u * gains_of(curve(BentLike(insert), u), u)

    n = np.arange(256)
    sine = 10.0 ** (-12.0 / 20.0) * np.sin(2.0 * np.pi * (n + 0.5) / 256)
    harmonics = np.abs(np.fft.rfft(bent(sine)))[2:-1] / 128
    level = 10.0 ** ((insert.level_db - 12.0) / 20.0) / np.sqrt(np.sum(harmonics**2))
    band = passed("low", 6, insert.high_hz, passed("high", 2, insert.low_hz, audio))
    above = passed("low", 2, 8.0 * insert.high_hz, passed("high", 4, insert.high_hz, bent(band) - band))
    return audio + level * above


def filtered(sections, audio):
    """Sections as core.filters makes them (tests/core/test_filters.py), run by scipy."""
    return sosfilt(np.insert(sections, 3, 1.0, axis=1), audio, axis=0)


class BentLike:
    """What the curve of bass harmonics is in the terms of a saturation."""

    def __init__(self, insert):
        self.curve, self.drive_db, self.bias = "smooth", insert.drive_db, insert.bias


def low_end_twin(insert, rate_hz, audio, key):
    """The lower of two ranges as plain Python levels them, then shelf and bell run by scipy."""
    low = LevelRange(
        target_db=insert.target_db,
        raise_db=insert.raise_db,
        lower_db=insert.lower_db,
        floor_db=insert.floor_db,
        attack_ms=insert.attack_ms,
        release_ms=insert.release_ms,
    )
    rest = LevelRange(target_db=0, raise_db=0, lower_db=0)
    out = levels_twin(Levels(hz=(insert.hz,), ranges=(low, rest), rms_ms=100), rate_hz, audio, key)
    shelf = EqBand(kind="low_shelf", hz=insert.hz, gain_db=insert.shelf_db, q=1.2)
    dip = EqBand(hz=2 * insert.hz, gain_db=-insert.dip_db, q=1.4)
    for band in (shelf, dip):
        out = filtered(design_band(band, rate_hz), out)
    return out


EXAMPLES = [
    (Saturation(drive_db=12), saturation_twin),
    (Saturation(curve="gentle", drive_db=9, bias=0.4, oversampling=2), saturation_twin),
    (Saturation(curve="hard", drive_db=-3, oversampling=8), saturation_twin),
    (Saturation(drive_db=3, bias=1.0), saturation_twin),
    (Width(splits_hz=(120, 900, 6000), widths=(0, 1, 0.5, 1.6), middle_db=-1), width_twin),
    (Width(splits_hz=(2000,), widths=(1.3, 0), side_db=2), width_twin),
    (Width(widths=(0.4,)), width_twin),
    (BassHarmonics(level_db=-6), bass_harmonics_twin),
    (BassHarmonics(low_hz=30, high_hz=300, level_db=0, drive_db=30, bias=0), bass_harmonics_twin),
    (LowEnd(target_db=-30, shelf_db=3, dip_db=4, attack_ms=10, release_ms=40), low_end_twin),
    (LowEnd(target_db=-20, hz=200, raise_db=9, lower_db=0, floor_db=-90), low_end_twin),
]
