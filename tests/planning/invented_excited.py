# SPDX-License-Identifier: Apache-2.0
"""A section of invented excitation: plain numbers, no sound behind them."""

import numpy as np

from mixwright.hearing.bands import PLACES
from mixwright.hearing.place_loudness import place_hz
from mixwright.model.song import Section
from mixwright.planning.excited import Excited

FRAMES = 40


def humps(hz, level_db, wide_oct=1.0):
    """Return excitation (PLACES,) around some frequencies."""
    octaves = np.log2(place_hz()[None] / np.atleast_1d(hz)[:, None])
    return (10.0 ** (level_db / 10.0) * np.exp(-0.5 * (octaves / wide_oct) ** 2)).sum(axis=0)


def excited(own, name="Chorus", seed=1):
    """Return what is asked of an Excited: rows (2, PLACES) or (PLACES,) that go up and down over time."""
    rng = np.random.default_rng(seed)
    rows = np.stack([np.broadcast_to(one, (2, PLACES)) for one in own])
    pace = 10.0 ** (rng.normal(0.0, 4.0, (len(rows), 1, FRAMES, 1)) / 10.0)
    made = (rows[:, :, None] * pace).astype(np.float32)
    seconds = np.full((len(rows), FRAMES), 0.25)
    energy = made / made.sum()
    return Excited(
        section=Section(name=name, start_s=0.0, end_s=10.0),
        rows=tuple(f"row-{k}" for k in range(len(rows))),
        at_s=(np.arange(FRAMES) + 0.5) * 0.25,
        own=made,
        alone=made,
        ratio=np.ones_like(made),
        inhibited=np.full(made.shape[::2][:2], 0.75, dtype=np.float32),
        inhibited_alone=np.full(made.shape[::2][:2], 0.75, dtype=np.float32),
        seconds=seconds,
        active_s=seconds.sum(axis=1),
        k_power=energy,
    )
