# SPDX-License-Identifier: Apache-2.0
"""Steps and tones to test processors by, and when something is reached."""

from __future__ import annotations

import numpy as np

from engine.processors.examples import RATE_HZ


def level(level_db, seconds, channels=1):
    return np.full((round(seconds * RATE_HZ), channels), 10.0 ** (level_db / 20.0))


def sine(hz, level_db, seconds, channels=1):
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return np.repeat(10.0 ** (level_db / 20.0) * np.sin(2.0 * np.pi * hz * t)[:, np.newaxis], channels, axis=1)


def milliseconds_to(reached):
    assert reached.any()
    return 1000.0 * int(np.argmax(reached)) / RATE_HZ
