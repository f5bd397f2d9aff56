# SPDX-License-Identifier: Apache-2.0
"""How every row of a section excites the ear, at moments that all rows share: what a plan tries its moves on."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from mixwright.hearing.bands import PLACE_FILTERS, PLACES
from mixwright.hearing.components import components
from mixwright.hearing.ear_filter import transmission_db
from mixwright.hearing.excitation import SharedFilters, excitation, levels_per_erb
from mixwright.hearing.fader import loudness_of_excitations
from mixwright.hearing.heard import ALONE, CUED
from mixwright.hearing.moments import Moments
from mixwright.hearing.place_loudness import alone_in_places, cued_in_places, place_hz
from mixwright.hearing.scale import FILTERS, cam_from_hz
from mixwright.meter.loudness import k_gain
from mixwright.model.song import Section

#: Less excitation than this, in all, is nothing; and how far the rest may differ from the sum of the others.
_NOTHING, _LEAST_RATIO, _MOST_RATIO = 1e-3, 0.1, 10.0
#: What the ears can leave of each other.
_LEAST_LEFT, _MOST_LEFT = 0.5, 1.0


@dataclass(frozen=True, eq=False)
class Excited:
    """One section as the ear is excited by it; excitations are linear, re that of 1 kHz at 0 dB SPL.

    Rows are layers of the ledger, frames the moments of `hearing.moments.Moments` in the section, places half a Cam
    wide (`hearing.bands.PLACES` of them); ears are left and right. Where a row does not ring, all of it is 0.

    Parameters
    ----------
    section : Section
    rows : tuple of str
        ids of the layers
    at_s : ndarray, float64, (frames,)
        the middle of each moment in the song, ascending
    own : ndarray, float32, (rows, 2, frames, PLACES)
        excitation by each row through filters that the mix sets, mean over the filters of a place; a gain in dB of the
        row at some place and moment multiplies it by ``10 ** (dB / 10)``
    alone : ndarray, float32, (rows, 2, frames, PLACES)
        the same through filters that the row itself sets
    ratio : ndarray, float32, (rows, 2, frames, PLACES)
        excitation by the mix without the row, its waveform, over the sum of `own` of the other rows: what they cancel
        or add in phase; from 0.1 to 10, 1 where there is nothing. What masks a row is this times that sum (`rests`)
    inhibited : ndarray, float32, (rows, frames)
        what is left of the sum over ears and places of loudness in the mix (cued, `place_loudness.cued_in_places`) when
        each ear inhibits the other; from 0.5 to 1
    inhibited_alone : ndarray, float32, (rows, frames)
        the same of loudness alone
    seconds : ndarray, float64, (rows, frames)
        of how much of the time in which the row sounds each moment stands for; 0 where it is none of the row's
    active_s : ndarray, float64, (rows,)
        for how long each row sounds: the sum of `seconds`
    k_power : ndarray, float32, (rows, 2, frames, PLACES)
        the part of the mix's K-weighted energy in the section that is due to each row there, by their powers; all of it
        adds up to 1. The loudness of the mix changes by about ``10 * log10((10 ** (dB / 10) * k_power).sum())`` LU
    """

    section: Section
    rows: tuple[str, ...]
    at_s: np.ndarray
    own: np.ndarray
    alone: np.ndarray
    ratio: np.ndarray
    inhibited: np.ndarray
    inhibited_alone: np.ndarray
    seconds: np.ndarray
    active_s: np.ndarray
    k_power: np.ndarray

    def rests(self, own: np.ndarray | None = None) -> np.ndarray:
        """Return what masks each row, float32 (rows, 2, frames, PLACES), where rows excite as much as `own`."""
        now = self.own if own is None else own
        others = now.sum(axis=0, dtype=np.float64) - now
        return np.asarray(np.maximum(others, 0.0) * self.ratio, dtype=np.float32)

    def loudness(self, gains_db: Mapping[int, np.ndarray | float] | None = None) -> tuple[np.ndarray, np.ndarray]:
        """Return the mean loudness of every row over the time in which it sounds, sone (rows,): alone, and cued.

        `gains_db`: of some rows by number, broadcast to (2, frames, PLACES); the filters stay as they are.
        """
        own, alone = self.own, self.alone
        if gains_db:
            own, alone = own.copy(), alone.copy()
            for row, gain_db in gains_db.items():
                gain = np.asarray(10.0 ** (np.asarray(gain_db) / 10.0), dtype=np.float32)
                own[row] *= gain
                alone[row] *= gain
        found = []
        for sone, left in (
            (alone_in_places(alone), self.inhibited_alone),
            (cued_in_places(own, self.rests(own)), self.inhibited),
        ):
            moments = sone.sum(axis=(1, 3), dtype=np.float64) * left
            found.append((moments * self.seconds).sum(axis=1) / np.maximum(self.active_s, 1e-9))
        return found[0], found[1]


def excited_of(moments: Moments, section: Section) -> Excited:
    """Return how rows excite the ear in a section.

    Parameters
    ----------
    moments : Moments
        those of the section: ``hearing.moments(section.start_s, section.end_s)``
    section : Section

    Notes
    -----
    The mix as it is sets the filters, and by how much the ears inhibit each other.
    """
    count, frames = len(moments.layers), len(moments)
    excited = np.zeros((3, count, 2, frames, FILTERS + 10), dtype=np.float32)  # own, shared, masking
    filters = SharedFilters()
    for side in range(2) if count and frames else ():
        levels = levels_per_erb(np.ascontiguousarray(moments.mix[side]))
        powers = [
            np.ascontiguousarray(part[row, side]) for part in (moments.power, moments.rest) for row in range(count)
        ]
        filters.excite(powers, levels, [excited[part, row, side] for part in (1, 2) for row in range(count)])
        for row, power in enumerate(powers[:count]):
            excitation(power, out=excited[0, row, side])
    whole = np.array([0, FILTERS], dtype=np.int32)
    heard = np.zeros((3, count, frames), dtype=np.float32)
    for row in range(count) if frames else ():
        ears = [(excited[0, row, side], excited[1, row, side], excited[2, row, side]) for side in range(2)]
        heard[:, row] = loudness_of_excitations(ears, whole)[:, :, 0]
    of_places = np.add.reduce([excited[..., k:FILTERS:PLACE_FILTERS] for k in range(PLACE_FILTERS)])
    alone, own, rest = of_places / np.float32(PLACE_FILTERS)
    others = own.sum(axis=0, dtype=np.float64) - own
    ratio = np.divide(rest, others, out=np.ones(others.shape), where=others > _NOTHING)
    ratio = ratio.clip(_LEAST_RATIO, _MOST_RATIO).astype(np.float32)
    found = Excited(
        section,
        moments.layers,
        moments.at_s,
        own,
        alone,
        ratio,
        inhibited=np.ones((count, frames), np.float32),
        inhibited_alone=np.ones((count, frames), np.float32),
        seconds=moments.seconds,
        active_s=moments.seconds.sum(axis=1),
        k_power=_k_power(moments),
    )
    of_alone = _left(heard[ALONE], alone_in_places(alone), np.full((count, frames), 0.75, np.float32))
    of_cued = _left(heard[CUED], cued_in_places(own, found.rests()), of_alone)
    return replace(found, inhibited=of_cued, inhibited_alone=of_alone)


def _left(heard: np.ndarray, places: np.ndarray, otherwise: np.ndarray) -> np.ndarray:
    """Return which part is left, (rows, frames), of the loudness of places; `otherwise` where next to nothing is."""
    whole = places.sum(axis=(1, 3))
    left = np.divide(heard, whole, out=otherwise.copy(), where=whole > 1e-4)
    return np.asarray(left.clip(_LEAST_LEFT, _MOST_LEFT))


def _k_power(moments: Moments) -> np.ndarray:
    """Return the parts of rows in the K-weighted energy of the mix, (rows, 2, frames, PLACES)."""
    together = moments.power.sum(axis=0)
    part = np.divide(moments.mix, together, out=np.zeros_like(together), where=together > 0.0)
    weighted = moments.power * (part * moments.time_s[:, None] * _k_by_cochlea()).astype(np.float32)
    place = np.abs(cam_from_hz(components().hz)[:, None] - cam_from_hz(place_hz())).argmin(axis=1)
    into = (place[:, None] == np.arange(PLACES)).astype(np.float32)
    found = weighted @ into
    return np.asarray(found / max(float(found.sum(dtype=np.float64)), 1e-30))


@functools.cache
def _k_by_cochlea() -> np.ndarray:
    """Return K-weighted power by power at the cochlea, of every component; sound from the front."""
    hz = components().hz
    return np.asarray(k_gain(hz) / 10.0 ** (transmission_db(hz) / 10.0))
