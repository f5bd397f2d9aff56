# SPDX-License-Identifier: Apache-2.0
"""Invented parts that hold, strike, or do something between, and what the ear hears of them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mixwright.hearing.feed import held
from mixwright.hearing.hear import hear
from mixwright.hearing.heard import Heard

RATE_HZ = 48_000
SECONDS = 8.0
FRAMES = round(RATE_HZ * SECONDS)
T = np.arange(FRAMES) / RATE_HZ


def chord(*hz: float) -> np.ndarray:
    """Return a chord of sawtooth-like tones, in the first ten partials."""
    tones = [np.sin(2 * np.pi * k * f * T + k * k + f) / k for f in hz for k in range(1, 11) if k * f < 12_000]
    return np.sum(tones, axis=0) / len(hz)


def struck(sound: np.ndarray, every_s: float, lasts_s: float, first_s: float = 0.1) -> np.ndarray:
    """Return a sound struck again and again: it rises within 3 ms and falls to 1/e in `lasts_s`."""
    envelope = np.zeros(FRAMES)
    for at_s in np.arange(first_s, SECONDS - 0.05, every_s):
        since = T - at_s
        now = (since >= 0.0) & (since < every_s)
        envelope[now] = np.minimum(since[now] / 0.003, 1.0) * np.exp(-since[now] / lasts_s)
    return sound * envelope


def noise(seed: int = 0) -> np.ndarray:
    """Return white noise."""
    return np.random.default_rng(seed).standard_normal(FRAMES) * 0.3


def notes(hz: float, every_s: float, gap_s: float = 0.0) -> np.ndarray:
    """Return a pad that changes its chord in steps, each swelling and fading within 30 ms."""
    out = np.zeros(FRAMES)
    for number, at_s in enumerate(np.arange(0.0, SECONDS, every_s)):
        ends_s = at_s + every_s - gap_s
        edge = np.minimum((T - at_s) / 0.03, (ends_s + 0.03 - T) / 0.03).clip(0.0, 1.0)
        out += edge * chord(hz * (1.0, 1.2, 0.9)[number % 3], hz * (1.26, 1.5, 1.12)[number % 3])
    return out


def heard(layers: Mapping[str, np.ndarray], db: float = -25.0) -> dict[str, Heard]:
    """Hear layers in their sum, each at the same rms; 0 dB plays at 100 dB SPL."""
    levelled = {id_: one * (10.0 ** (db / 20.0) / float(np.sqrt(np.mean(one**2)))) for id_, one in layers.items()}
    return heard_as_is(levelled)


def heard_as_is(layers: Mapping[str, np.ndarray]) -> dict[str, Heard]:
    """Hear layers in their sum, at the levels that they have."""
    audio = {id_: np.column_stack([one, one]).astype(np.float32) for id_, one in layers.items()}
    frames = len(next(iter(audio.values())))
    sources = {id_: held(one) for id_, one in audio.items()}
    return dict(hear(sources, rate_hz=RATE_HZ, frames=frames, offset_db=100.0).layers)
