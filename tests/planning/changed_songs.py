# SPDX-License-Identifier: Apache-2.0
"""Layers of which one is changed: what `Excited` expects of the change, beside hearing all of it anew."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.signal import sosfilt, sosfreqz

from mixwright.hearing.feed import held
from mixwright.hearing.hear import hear
from mixwright.hearing.heard import ALONE, CUED, Hearing
from mixwright.hearing.phon import phon_from_sone
from mixwright.hearing.place_loudness import place_hz
from mixwright.meter.measure import Meter
from mixwright.model.song import Section
from mixwright.planning.excited import excited_of

RATE_HZ = 48_000
#: Of a layer that sounds for less, or of which less is left, little can be said.
LEAST_S, LEAST_PHON = 0.3, 20.0
Layers = Mapping[str, np.ndarray]


@dataclass(frozen=True)
class Change:
    """A change of one layer: its gain, or a bell of Q 2 at some frequency."""

    layer: str
    gain_db: float
    hz: float = 0.0


def bell(hz: float, gain_db: float, q: float = 2.0) -> np.ndarray:
    """Return a bell as one section (Bristow-Johnson, Cookbook formulae for audio EQ)."""
    amplitude, angle = 10.0 ** (gain_db / 40.0), 2.0 * np.pi * hz / RATE_HZ
    wide = np.sin(angle) / (2.0 * q)
    b = [1.0 + wide * amplitude, -2.0 * np.cos(angle), 1.0 - wide * amplitude]
    a = [1.0 + wide / amplitude, -2.0 * np.cos(angle), 1.0 - wide / amplitude]
    return np.array([[*b, *a]]) / a[0]


def heard(layers: Layers, offset_db: float) -> Hearing:
    """Hear layers in their sum."""
    frames = len(next(iter(layers.values())))
    return hear({id_: held(x) for id_, x in layers.items()}, rate_hz=RATE_HZ, frames=frames, offset_db=offset_db)


def lufs(layers: Layers) -> float:
    """Return the loudness of the mix by the meter."""
    meter = Meter(RATE_HZ, 2, spectrum=False, true_peak=False)
    meter.push(np.sum(list(layers.values()), axis=0, dtype=np.float32))
    return meter.result().integrated_lufs


def off_by(layers: Layers, offset_db: float, changes: list[Change]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return by how much the changed mix is expected too loud: alone and cued of every layer in phon, the mix in LU.

    The first of each is of no change at all. NaN where less than LEAST_PHON is left of a layer.
    """
    seconds = len(next(iter(layers.values()))) / RATE_HZ
    before, was_lufs = heard(layers, offset_db), lufs(layers)
    excited = excited_of(before.moments(0.0, seconds), Section(name="", start_s=0.0, end_s=seconds))
    sounding = [before.layers[id_].total[ALONE] > 0.05 for id_ in excited.rows]
    judged = excited.active_s > LEAST_S
    found: list[tuple[np.ndarray, np.ndarray, float]] = []
    for change in [None, *changes]:
        gains_db: dict[int, np.ndarray | float] = {}
        after, now = before, dict(layers)
        if change is not None:
            section = bell(change.hz, change.gain_db) if change.hz else np.array([[1.0, 0, 0, 1, 0, 0]])
            flat = 1.0 if change.hz else 10.0 ** (change.gain_db / 20.0)
            now[change.layer] = (flat * sosfilt(section, layers[change.layer], axis=0)).astype(np.float32)
            after = heard(now, offset_db)
            response = flat * np.abs(sosfreqz(section, place_hz(), fs=RATE_HZ)[1])
            gains_db[excited.rows.index(change.layer)] = 20.0 * np.log10(response)
        means = [
            after.layers[id_].total[:, where].mean(axis=1) if where.any() else np.zeros(3)
            for id_, where in zip(excited.rows, sounding, strict=True)
        ]
        real = phon_from_sone(np.array(means))[judged]
        alone, cued = (phon_from_sone(one)[judged] for one in excited.loudness(gains_db))
        louder = sum(
            np.sum(10.0 ** (np.asarray(gains_db.get(row, 0.0)) / 10.0) * one) for row, one in enumerate(excited.k_power)
        )
        of_cued = np.where(real[:, CUED] > LEAST_PHON, cued - real[:, CUED], np.nan)
        found.append((alone - real[:, ALONE], of_cued, 10.0 * np.log10(louder) - (lufs(now) - was_lufs)))
    alone, cued, mix = zip(*found, strict=True)
    return np.array(alone), np.array(cued), np.array(mix)
