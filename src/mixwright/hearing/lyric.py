# SPDX-License-Identifier: Apache-2.0
"""Lyric audibility: how much of a lead's voice stands out of the rest, phrase by phrase.

Not intelligibility: how a word is sung decides at least as much about whether it is understood, and no such measure has
been found to agree well with listeners of songs. It is for comparing the same voice before and after a change.
Two measures, for the better ear at every place and moment:

- Glimpses (Cooke 2006, from memory): the share of places on the ERB-number scale from 100 to 7500 Hz and moments at
  which the voice stands more than 3 dB above the rest and above the ear's threshold. Here a moment is a cell of 16 ms
  and a place a filter of the ear, its shape set by the mix.
- Audibility by bands: the speech intelligibility index of ANSI S3.5-1997 moment by moment, in the manner of Rhebergen
  and Versfeld 2005 (from memory). Its bands are taken from the components of the ear's running spectrum, whose windows
  grow shorter upwards as theirs do, set back from the cochlea to the sound field. Excitations would count the spread
  of masking twice, since the index has its own.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np

from mixwright.core.spectra import OCTAVE
from mixwright.hearing.components import SPREAD_DB, WINDOW_MS, components
from mixwright.hearing.constants import constants_at
from mixwright.hearing.ear_filter import transmission_db
from mixwright.hearing.scale import filter_hz
from mixwright.hearing.sii import BANDWIDTH_DB, IMPORTANCE, audibility, disturbance_db
from mixwright.model.hearing import Phrase, PhraseFlag
from mixwright.model.song import changed

#: A glimpse stands so far above the rest, as a power ratio, at places between these frequencies.
GLIMPSE_RATIO = 10.0 ** (3.0 / 10.0)
LOWEST_HZ, HIGHEST_HZ = 100.0, 7500.0
#: A voice sounds within this many dB of its loud moments (the 95th percentile of its level): a quiet verse does,
#: breath and spill do not. Ours.
VOICED_DB = 30.0
#: Shorter gaps do not end a phrase, shorter phrases are none. Ours.
GAP_S, LEAST_S = 0.4, 0.3
#: A phrase is flagged below so much of what the same voice has in its middle phrase: what a voice 3 dB softer leaves,
#: the least change of speech in noise that listeners notice (McShefferty et al. 2015, from memory); measured on two
#: songs, 0.70 to 0.79 and 0.78 to 0.85. No level is known below which sung words are lost: a fixed mark taken from
#: speech flags every phrase even with the voice 6 dB up.
FEW_GLIMPSES, BANDS_COVERED = 0.75, 0.8


@dataclass(frozen=True, eq=False)
class Lyric:
    """A voice in the rest of the mix, cell by cell: float32 (cells,) each.

    `level_db`: of the voice alone in the bands of speech, dB SPL in the sound field, mean power of both ears, -inf
    where it is silent; `glimpses`: share of the places; `bands`: audibility weighted by the bands' importance.
    """

    level_db: np.ndarray
    glimpses: np.ndarray
    bands: np.ndarray

    @property
    def rows(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """All three."""
        return self.level_db, self.glimpses, self.bands


class LyricLine:
    """Takes a voice and what is left without it, chunk by chunk."""

    def __init__(self) -> None:
        self._cells: list[np.ndarray] = []

    def silence(self, cells: int) -> None:
        """Go on by cells in which there is no voice."""
        self._cells.append(np.broadcast_to(np.array([[-np.inf], [0.0], [0.0]], dtype=np.float32), (3, cells)))

    def push(
        self,
        voice: tuple[np.ndarray, np.ndarray],
        rest: tuple[np.ndarray, np.ndarray],
        excitations: np.ndarray,
        masking: np.ndarray,
    ) -> None:
        """Go on by a chunk.

        Parameters
        ----------
        voice, rest : two arrays (frames, 134 or more)
            power at both ears, rows whose first 134 are the means of frames
        excitations, masking : arrays (2, cells, filters)
            of voice and rest, means over the frames of a cell
        """
        cells = masking.shape[1]
        count = len(components().hz)
        field = [_field_power(np.stack([ear[:, :count] for ear in part]), cells) for part in (voice, rest)]
        with np.errstate(divide="ignore"):
            level_db = 10.0 * np.log10(field[0].sum(axis=2).mean(axis=0))
            speech_db, noise_db = (10.0 * np.log10(part) - BANDWIDTH_DB for part in field)
        bands = audibility(speech_db, disturbance_db(speech_db, noise_db)).max(axis=0) @ np.array(IMPORTANCE)
        places, threshold = _places()
        heard, covering = excitations[..., places], masking[..., places]
        glimpses = ((heard > GLIMPSE_RATIO * covering) & (heard > threshold)).any(axis=0).mean(axis=1)
        self._cells.append(np.stack([level_db, glimpses, bands]).astype(np.float32))

    def result(self, cells: slice) -> Lyric:
        """Return some of the cells."""
        return Lyric(*np.concatenate(self._cells, axis=1)[:, cells])


def phrases_of(lyric: Lyric, layer: str, cell_s: float) -> tuple[Phrase, ...]:
    """Return the phrases of a voice in order of time, with how audible they are: means over what sounds of each.

    Parameters
    ----------
    lyric : Lyric
    layer : str
        whose voice it is
    cell_s : float
        length of a cell
    """
    sounding = lyric.level_db > 0.0
    if not sounding.any():
        return ()
    voiced = lyric.level_db > max(0.0, float(np.percentile(lyric.level_db[sounding], 95.0)) - VOICED_DB)
    at = np.flatnonzero(voiced)
    pauses = np.flatnonzero(np.diff(at) - 1 >= GAP_S / cell_s)
    ends = itertools.pairwise([0, *(pauses + 1).tolist(), len(at)])
    found = (at[first:last] for first, last in ends)
    phrases = [_phrase(lyric, cells, layer, cell_s) for cells in found if _length(cells) >= LEAST_S / cell_s]
    usual = usual_of(phrases)
    return tuple(changed(phrase, flags=_flags(phrase, *usual)) for phrase in phrases)


def usual_of(phrases: Sequence[Phrase]) -> tuple[float, float]:
    """Return the medians of `glimpse_share` and `band_audibility` over the phrases of a voice, 0 of none."""
    if not phrases:
        return 0.0, 0.0
    return median(one.glimpse_share for one in phrases), median(one.band_audibility for one in phrases)


def _flags(phrase: Phrase, glimpses: float, bands: float) -> tuple[PhraseFlag, ...]:
    flags: list[PhraseFlag] = []
    if phrase.glimpse_share < FEW_GLIMPSES * glimpses:
        flags.append("few_glimpses")
    if phrase.band_audibility < BANDS_COVERED * bands:
        flags.append("bands_covered")
    return tuple(flags)


def _length(cells: np.ndarray) -> int:
    return int(cells[-1] - cells[0]) + 1


def _phrase(lyric: Lyric, cells: np.ndarray, layer: str, cell_s: float) -> Phrase:
    glimpses = float(lyric.glimpses[cells].mean(dtype=np.float64))
    bands = float(lyric.bands[cells].mean(dtype=np.float64))
    return Phrase(
        layer=layer,
        start_s=round(int(cells[0]) * cell_s, 3),
        end_s=round((int(cells[-1]) + 1) * cell_s, 3),
        glimpse_share=glimpses,
        band_audibility=bands,
    )


@functools.cache
def _places() -> tuple[np.ndarray, np.ndarray]:
    """Return the filters that count, and the excitation at threshold there."""
    hz = filter_hz()
    places = np.flatnonzero((hz >= LOWEST_HZ) & (hz <= HIGHEST_HZ))
    return places, constants_at(hz[places]).threshold


def _field_power(power: np.ndarray, cells: int) -> np.ndarray:
    """Return the power in the bands of speech in the sound field, (ears, cells, 18), from that of the components."""
    return np.asarray(
        power.reshape(len(power), cells, -1, power.shape[-1]).mean(axis=2, dtype=np.float64) @ _to_bands()
    )


@functools.cache
def _to_bands() -> np.ndarray:
    """Return how the power of every component at the cochlea adds to that of the bands in the field, (134, 18).

    A component stands for the stretch halfway to its neighbours, in which power is taken to be spread evenly.
    """
    parts = components()
    step_hz = 500.0 / np.array(WINDOW_MS)[parts.window]
    between = (parts.hz[1:] + parts.hz[:-1]) / 2.0
    edges = np.concatenate(([parts.hz[0] - step_hz[0] / 2.0], between, [parts.hz[-1] + step_hz[-1] / 2.0]))
    middle_hz = 1000.0 * OCTAVE ** (np.arange(-8, 10) / 3.0)
    lower, upper = middle_hz * OCTAVE ** (-1.0 / 6.0), middle_hz * OCTAVE ** (1.0 / 6.0)
    inside = np.minimum(edges[1:, None], upper) - np.maximum(edges[:-1, None], lower)
    field = 10.0 ** (-(transmission_db(parts.hz) + SPREAD_DB) / 10.0)
    return np.asarray((field / step_hz)[:, None] * np.maximum(inside, 0.0))
