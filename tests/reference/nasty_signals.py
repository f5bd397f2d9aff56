# SPDX-License-Identifier: Apache-2.0
"""Two hundred stereo signals that are hard on a true-peak limiter, made from frames and seeds alone.

Frequencies are shares of the rate. Levels are dB over full scale.
"""

from __future__ import annotations

import numpy as np

FRAMES = 6000


def nasty_signals():
    """Return a mapping of name to float64 audio ``(FRAMES, 2)``."""
    random = np.random.default_rng(2012)
    found = {}

    def add(name, wave, level_db=0.0):
        left = np.asarray(wave, dtype=np.float64) * 10.0 ** (level_db / 20.0)
        found[f"{name}, {level_db:+g} dB"] = np.stack((left, 0.7 * np.roll(left, 37)), axis=1)

    _tones(add)
    _gated(add)
    _edges(add)
    _steps(add, random)
    _stacks(add, random)
    _noise(add, random)
    _mixtures(add, random)
    found |= _extremes(random)
    return found


def _tone(share, phase_deg=0.0):
    return np.sin(2.0 * np.pi * share * np.arange(FRAMES) + np.radians(phase_deg))


def _gate(period):
    return np.arange(FRAMES) // period % 2


def _tones(add):
    for level_db in (0.5, 3, 4, 6, 9, 15, 43):
        add("a quarter of the rate at 45 degrees", _tone(0.25, 45.0), level_db)
    for divisor in (3, 5, 6, 8):
        for phase_deg in (0, 30, 45, 60, 67.5):
            add(f"rate/{divisor} at {phase_deg} degrees", _tone(1 / divisor, phase_deg), 6)
    for share in (0.42, 0.44, 0.45, 0.46, 0.47, 0.48, 0.49, 0.495, 0.499, 0.4999):
        for level_db in (1, 12):
            add(f"tone at {share} of the rate", _tone(share, 20.0), level_db)
    for start, end in ((0.001, 0.5), (0.3, 0.5), (0.02, 0.25)):
        for level_db in (3, 15):
            add(f"sweep {start} to {end}", np.sin(2 * np.pi * np.cumsum(np.linspace(start, end, FRAMES))), level_db)


def _gated(add):
    for period in (10, 50, 100, 333, 1000, 2500):
        for level_db in (3, 20):
            add(f"tone gated every {period}", _tone(0.0208) * _gate(period), level_db)
    for period in (20, 100, 500, 2000):
        for share in (0.25, 0.37, 0.45):
            add(f"tone at {share} gated every {period}", _tone(share, 40.0) * _gate(period), 9)


def _edges(add):
    n = np.arange(FRAMES)
    for period in (2, 3, 4, 5, 7, 16, 33, 100, 480):
        for level_db in (0, 6):
            add(
                f"square bursts of period {period}",
                np.sign(np.sin(2 * np.pi * (n + 0.5) / period)) * _gate(900),
                level_db,
            )
    clicks = np.where(n % 1777 == 1000, 1.0, 0.0)
    for width in (1, 2, 3, 5):
        for level_db in (0, 12, 40):
            add(f"clicks of {width}", np.convolve(clicks, np.ones(width))[:FRAMES], level_db)
    for level_db in (3, 20):
        add("click up and down", clicks - np.roll(clicks, 1), level_db)


def _steps(add, random):
    n = np.arange(FRAMES)
    for level_db in (0, 0.5, 3, 20, 40):
        add("constant", np.ones(FRAMES), level_db)
        add("step", np.where(n > 3000, 1.0, 0.0), level_db)
    for width in range(5, 55, 5):
        add(f"steps of {width}", np.repeat(random.uniform(-1, 1, FRAMES // width + 1), width)[:FRAMES], width / 2)


def _stacks(add, random):
    # Signs of a sinc between the samples: every tap of an interpolator adds up.
    stack = np.sign(np.sinc(np.arange(64) - 31.5))
    for level_db in (0, 6, 20, 40):
        wave = np.zeros(FRAMES)
        wave[3000:3064] = stack
        add("stack between samples", wave, level_db)
    for k in range(8):
        wave = np.zeros(FRAMES)
        for at in random.integers(100, FRAMES - 100, 6):
            wave[at : at + 64] = np.sign(np.sinc(np.arange(64) - 31.0 - random.uniform())) * random.uniform(0.3, 3.0)
        add(f"stacks {k}", wave)


def _noise(add, random):
    n = np.arange(FRAMES)
    for level_db in (-3, 0, 3, 6, 12, 20, 30, 40):
        add("white noise", random.standard_normal(FRAMES), level_db)
    for level_db in (0, 3, 6, 12, 20):
        add("clipped noise", np.clip(4 * random.standard_normal(FRAMES), -1, 1), level_db)
        add("signs", random.choice([-1.0, 1.0], FRAMES), level_db)
    for frames in (25, 123, 1230):
        for level_db in (6, 30):
            swell = (1 + np.sin(2 * np.pi * n / frames)) ** 3 / 4
            add(f"noise swelling every {frames}", random.standard_normal(FRAMES) * swell, level_db)
    for k in range(1, 9):
        add(f"sparse noise {k}", random.standard_normal(FRAMES) * (random.uniform(size=FRAMES) < 0.003 * k), 18 + 2 * k)


def _mixtures(add, random):
    for k in range(12):
        tones = _tone(random.uniform(0.0, 0.5)) + _tone(random.uniform(0.3, 0.5))
        add(f"two tones {k}", tones, round(random.uniform(0, 20), 1))
    add("rising", np.linspace(0, 4, FRAMES))
    growing = np.exp(np.linspace(-20, 9, FRAMES))
    add("growing", growing * _tone(0.143))
    add("dying", growing[::-1] * _tone(0.302))
    add("square at the ceiling", np.sign(_tone(0.0016, 1.0)), -1)


def _extremes(random):
    n = np.arange(FRAMES)[:, np.newaxis]
    both = np.ones((FRAMES, 2))
    noise = random.standard_normal((FRAMES, 2))
    found = {
        "silence": 0.0 * both,
        "denormals": 5e-324 * both,
        "denormals of float": 1e-40 * noise,
        "one sample of 1e30": np.where(n == 3000, 1e30, 0.5) * both,
        "samples of 1e300": np.where(n % 997 == 0, 1e300, 0.5 * np.sin(n)) * both,
        "largest floats": 3.4e38 * np.where(n % 2, 1.0, -1.0) * both,
        "largest doubles": np.finfo(np.float64).max * np.where(n // 7 % 2, 1.0, -1.0) * both,
    }
    for k in range(8):
        apart = noise * 10.0 ** (3 * k / 20) * np.where(n > FRAMES // 3, [1.0, 0.0], [0.0, 1.0])
        found[f"channels in turn, {3 * k:+d} dB"] = apart
    return found
