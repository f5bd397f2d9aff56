# SPDX-License-Identifier: Apache-2.0
"""Who takes what a layer loses in the mix: each other layer by its share of the energy that masks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mixwright.hearing.bands import BANDS, band_edges
from mixwright.hearing.scale import STEP_CAM

#: Where the layers' powers added up and the waveform of the rest differ by more, layers are correlated.
CORRELATED = 10.0 ** (3.0 / 10.0)
#: Less excitation is none.
_NOTHING = 1e-30


@dataclass(frozen=True, eq=False)
class Taken:
    """What layers lose to each other in one stretch of the song, in sone, mean over its time, both ears added.

    `strict` and `cued`: float64 (layers, layers, bands), [who loses, who takes, where]; the rows add up to
    `loss_strict` and `loss_cued` (layers, bands), measured against the waveform of the rest. `correlated` (layers,
    bands): share of the cued loss in places where the powers of the other layers and their waveform differ by over
    3 dB.
    """

    layers: tuple[str, ...]
    strict: np.ndarray
    cued: np.ndarray
    loss_strict: np.ndarray
    loss_cued: np.ndarray
    correlated: np.ndarray


class Attribution:
    """Adds up who takes what, stretch by stretch.

    The loss of a layer in one filter and cell is shared among the other layers by the excitation of each there over
    the sum of theirs: the shares add up exactly, and follow the Shapley value closely.

    Parameters
    ----------
    layers : sequence of str
    stretches : int
        how many parts of the song are told apart
    """

    def __init__(self, layers: tuple[str, ...], stretches: int) -> None:
        count = len(layers)
        self._layers = layers
        self._shares = np.zeros((2, stretches, count, count, BANDS))
        self._losses = np.zeros((2, stretches, count, BANDS))
        self._correlated = np.zeros((stretches, count, BANDS))
        self._cells = np.zeros(stretches)

    def push(
        self,
        losses: np.ndarray,
        excitations: np.ndarray,
        rests: np.ndarray,
        stretch: np.ndarray,
        bands: tuple[int, int] = (0, BANDS),
    ) -> None:
        """Add cells of one ear, in some bands; threads may add different bands at the same time.

        Parameters
        ----------
        losses : float array (2, layers, cells, filters)
            loss of specific loudness, strict and cued, in the filters of these bands
        excitations, rests : float arrays (layers, cells, filters)
            of each layer through the filters of the mix; of the waveform of what is left without it
        stretch : int array (cells,)
            which part of the song a cell belongs to; -1: none
        bands : (first, end)
        """
        for part in np.unique(stretch[stretch >= 0]):
            chosen = np.flatnonzero(stretch == part)
            cells = slice(int(chosen[0]), int(chosen[-1]) + 1)  # stretches are whole
            self._add(int(part), losses[:, :, cells, :], excitations[:, cells, :], rests[:, cells, :], bands)

    def count(self, stretch: np.ndarray) -> None:
        """Count cells, once for both ears."""
        np.add.at(self._cells, stretch[stretch >= 0], 1.0)

    def result(self) -> tuple[Taken, ...]:
        """Return what was added up, stretch by stretch."""
        found = []
        for part, cells in enumerate(self._cells):
            mean = STEP_CAM / max(cells, 1.0)
            cued = self._losses[1, part]
            correlated = np.divide(self._correlated[part], cued, out=np.zeros_like(cued), where=cued > 0.0)
            found.append(
                Taken(
                    layers=self._layers,
                    strict=self._shares[0, part] * mean,
                    cued=self._shares[1, part] * mean,
                    loss_strict=self._losses[0, part] * mean,
                    loss_cued=cued * mean,
                    correlated=correlated,
                )
            )
        return tuple(found)

    def _add(
        self, part: int, losses: np.ndarray, excitations: np.ndarray, rests: np.ndarray, bands: tuple[int, int]
    ) -> None:
        """Add cells of one part, band by band: so little at a time stays near to the processor."""
        edges = band_edges()
        for band in range(*bands):
            inside = slice(edges[band] - edges[bands[0]], edges[band + 1] - edges[bands[0]])
            excited, rest = (_places(one[:, :, inside]) for one in (excitations, rests))
            others = np.maximum(excited.sum(axis=0) - excited, 0.0)
            # A layer that is not there takes nothing and cannot lose; rounding may leave a trace of loss without a
            # taker.
            heard = others > _NOTHING
            each = heard / np.maximum(others, _NOTHING)
            apart = (rest * each > CORRELATED) | ((rest > _NOTHING) & (others > CORRELATED * rest))
            for k in range(2):
                loss = np.maximum(_places(losses[k][:, :, inside]), 0.0) * heard
                taken = (loss * each) @ excited.T
                np.fill_diagonal(taken, 0.0)
                self._shares[k, part, :, :, band] += taken
                self._losses[k, part, :, band] += loss.sum(axis=1)
                if k == 1:
                    self._correlated[part, :, band] += (loss * apart).sum(axis=1)


def _places(patterns: np.ndarray) -> np.ndarray:
    """Return patterns ``(layers, cells, filters)`` as float64 ``(layers, cells * filters)``."""
    return patterns.astype(np.float64).reshape(len(patterns), -1)
