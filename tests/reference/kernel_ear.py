# SPDX-License-Identifier: Apache-2.0
"""What the package's kernels make of single sounds."""

from __future__ import annotations

import functools

import numpy as np

from mixwright.hearing.bands import BANDS, band_edges
from mixwright.hearing.constants import CUED_DB, constants_at
from mixwright.hearing.excitation import excitation
from mixwright.hearing.feed import held
from mixwright.hearing.hear import hear
from mixwright.hearing.heard import ALONE
from mixwright.hearing.kernels import MARGIN, loudness_table, spread_table, whole_frames
from mixwright.hearing.scale import STEP_CAM
from mixwright.hearing.spectrum import RunningSpectrum
from mixwright.hearing.statistics import most_long_term_sone
from mixwright.native import ear
from mixwright.native.ear import PADDED_FILTERS, PATTERNS


def package_sone(power: np.ndarray) -> np.ndarray:
    """Loudness alone, both ears alike, of each frame of a power at the cochlea (frames, 134): the package's kernels."""
    own = excitation(np.ascontiguousarray(power, dtype=np.float32))
    nothing = np.zeros_like(own)
    patterns = np.zeros((len(own), PATTERNS, PADDED_FILTERS), dtype=np.float32)
    constants, scale = loudness_table()
    state = np.zeros((3, PADDED_FILTERS), dtype=np.float32)
    parts, at_once = whole_frames().parts, np.ones(1, dtype=np.float32)
    ear.loudness(own, nothing, nothing, 1, parts, constants, scale, at_once, at_once, state, patterns)
    out = np.empty((len(own), 3, BANDS), dtype=np.float32)
    ear.bands(patterns, patterns, spread_table(), band_edges(), STEP_CAM, out)
    return out[:, ALONE].sum(axis=1)


@functools.cache
def tone_power(hz: float) -> np.ndarray:
    """Power of the components of a steady tone of 0 dB SPL, (134,)."""
    n = np.arange(4 * 192 + 2 * MARGIN)
    audio = np.sqrt(2.0) * np.sin(2.0 * np.pi * hz * n / 48000.0)
    spectrum = RunningSpectrum(0.0)
    return spectrum.power(spectrum.bins(audio.astype(np.float32))).mean(axis=0)


def package_tones(*parts: tuple[float, float]) -> list[float]:
    """Loudness of steady tones (Hz, dB SPL), each alone."""
    return package_sone(np.stack([tone_power(hz) * 10.0 ** (db / 10.0) for hz, db in parts])).tolist()


def specific_patterns(hz: float, signal: np.ndarray, noise: np.ndarray) -> np.ndarray:
    """Specific loudness (3, n) alone, strict and cued at one place, constants of ANSI S3.4-2007, by the kernel."""
    c = constants_at([hz], "ANSI S3.4")
    floor = c.offset**c.exponent
    least = (c.gain * c.threshold + c.offset) ** c.exponent - floor
    cued = c.masked_ratio * 10.0 ** (CUED_DB / 10.0)
    rows = np.stack([c.gain, c.offset, c.exponent, floor, c.threshold, least, c.masked_ratio, cued])
    constants = np.repeat(rows, PADDED_FILTERS, axis=1).astype(np.float32)
    own, rest = (np.zeros((1, PADDED_FILTERS), dtype=np.float32) for _ in range(2))
    own[0, : len(signal)], rest[0, : len(signal)] = signal, noise
    patterns = np.zeros((1, PATTERNS, PADDED_FILTERS), dtype=np.float32)
    state = np.zeros((3, PADDED_FILTERS), dtype=np.float32)
    parts, at_once = whole_frames().parts, np.ones(1, dtype=np.float32)
    ear.loudness(own, own, rest, 1, parts, constants, c.scale, at_once, at_once, state, patterns)
    return patterns[0, :3, : len(signal)].astype(np.float64)


def package_maxima(left: np.ndarray, right: np.ndarray | None = None) -> tuple[float, float]:
    """Return the largest short-term and long-term loudness alone, as the package hears it."""
    audio = np.stack([left, left if right is None else right], axis=1).astype(np.float32)
    heard = hear({"": held(audio)}, rate_hz=48000, frames=len(audio), offset_db=100.0, workers=1).layers[""]
    return float(heard.total[ALONE].max()), float(most_long_term_sone([heard])[0])
