# SPDX-License-Identifier: Apache-2.0
"""How every row of a section excites the ear, at moments that all rows share: what a plan tries its moves on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mixwright.model.song import Section


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
        or add in phase; from 0.1 to 10, 1 where there is nothing. The rest that masks a row is this times that sum
    inhibited : ndarray, float32, (rows, frames)
        what is left of the sum over ears and places of loudness in the mix (cued) when each ear inhibits the other;
        from 0.5 to 1
    inhibited_alone : ndarray, float32, (rows, frames)
        the same of loudness alone
    seconds : ndarray, float64, (rows, frames)
        of how much of the time in which the row sounds each moment stands for; 0 where it is none of the row's
    active_s : ndarray, float64, (rows,)
        for how long each row sounds: the sum of `seconds`
    k_power : ndarray, float32, (rows, 2, frames, PLACES)
        the part of the mix's K-weighted energy in the section that is due to each row there, all of it adds up to 1;
        negative where a row cancels others. Loudness of the mix changes by about
        ``10 * log10((10 ** (dB / 10) * k_power).sum())`` LU
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
