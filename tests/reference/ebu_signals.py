# SPDX-License-Identifier: Apache-2.0
"""Test signals of EBU Tech 3341 (loudness meters) and Tech 3342 (loudness range), made from their tables."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np


def tone(rate_hz: int, segments: Sequence[tuple[float, float | None]], channels: int = 2) -> np.ndarray:
    """Return a phase-continuous 1 kHz sine in `channels` channels; segments are (seconds, peak dBFS or None)."""
    cycle = np.sin(2.0 * np.pi * 1000.0 * np.arange(rate_hz // 100) / rate_hz).astype(np.float32)
    edges = np.round(np.cumsum([0.0] + [seconds for seconds, _ in segments]) * rate_hz).astype(int)
    wave = np.tile(cycle, edges[-1] // len(cycle) + 1)[: edges[-1]]
    for (_, level_db), start, end in zip(segments, edges[:-1], edges[1:], strict=True):
        wave[start:end] *= 0.0 if level_db is None else 10.0 ** (level_db / 20.0)
    return np.repeat(wave[:, None], channels, axis=1)


def faded(wave: np.ndarray, rate_hz: int) -> np.ndarray:
    """Return the wave with fades of 10 ms, in two channels."""
    frames = rate_hz // 100
    ramp = np.arange(frames) / frames
    wave = wave.copy()
    wave[:frames] *= ramp
    wave[-frames:] *= ramp[::-1]
    return np.repeat(wave.astype(np.float32)[:, None], 2, axis=1)


def straddling_sine(rate_hz: int, divisor: int, amplitude: float, phase_deg: float) -> np.ndarray:
    """Return signals 15 to 19: a sine at rate / divisor whose samples miss its peaks; 1 s."""
    n = np.arange(rate_hz)
    return faded(amplitude * np.sin(2.0 * np.pi * n / divisor + np.radians(phase_deg)), rate_hz)


def burst_sine(rate_hz: int, offset: int) -> np.ndarray:
    """Return signals 20 to 23: rate/6 at 0.5 with one period of rate/4 at 1.0, made at four times the rate; 1 s."""
    base = 0.5 * np.sin(2.0 * np.pi * np.arange(24 * (rate_hz // 12)) / 24.0)
    burst = np.sin(2.0 * np.pi * np.arange(16) / 16.0)
    wave = np.concatenate((base, burst, base))
    at = np.arange(2049) - 1024
    cut_off = 0.98 / 4.0
    low_pass = cut_off * np.sinc(cut_off * at) * np.kaiser(2049, 10.0)
    size = 1 << int(np.ceil(np.log2(len(wave) + 2048)))
    filtered = np.fft.irfft(np.fft.rfft(wave, size) * np.fft.rfft(low_pass, size), size)[1024 : 1024 + len(wave)]
    return faded(filtered[offset::4], rate_hz)
