# SPDX-License-Identifier: Apache-2.0
"""Who takes what a layer loses in the mix: each other layer by its share of the energy that masks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mixwright.hearing.bands import PLACE_FILTERS, PLACES
from mixwright.hearing.scale import STEP_CAM

#: Where the layers' powers added up and the waveform of the rest differ by more, layers are correlated.
CORRELATED = 10.0 ** (3.0 / 10.0)
#: Less excitation is none.
_NOTHING = 1e-30
#: So many places at a time stay near to the processor.
_PLACES_AT_ONCE = 5


@dataclass(frozen=True, eq=False)
class Taken:
    """What layers lose to each other in one stretch of the song, in sone, mean over its time, both ears added.

    `strict` and `cued`: float64 (layers, layers, places), [who loses, who takes, where]; the rows add up to
    `loss_strict` and `loss_cued` (layers, places), measured against the waveform of the rest. `correlated` (layers,
    places): share of the cued loss in cells where the powers of the other layers and their waveform differ by over
    3 dB. Places are half a Cam wide; sums over those of a band: `bands.bands_of_places`.
    """

    layers: tuple[str, ...]
    strict: np.ndarray
    cued: np.ndarray
    loss_strict: np.ndarray
    loss_cued: np.ndarray
    correlated: np.ndarray


class Attribution:
    """Adds up who takes what in one stretch of the song.

    The loss of a layer in one filter and cell is shared among the other layers by the excitation of each there over
    the sum of theirs: the shares add up exactly, and follow the Shapley value closely.

    Parameters
    ----------
    layers : sequence of str
    """

    def __init__(self, layers: tuple[str, ...]) -> None:
        count = len(layers)
        self._layers = layers
        self._shares = np.zeros((2, PLACES, count, count))
        self._losses = np.zeros((2, PLACES, count))
        self._correlated = np.zeros((PLACES, count))

    def push(
        self, layers: np.ndarray, losses: np.ndarray, excitations: np.ndarray, rests: np.ndarray, places: slice
    ) -> None:
        """Add cells of one ear, in some places; threads may add different places at the same time.

        Parameters
        ----------
        layers : int array (layers,)
            the numbers of those that sound; the others take nothing and lose nothing
        losses : float array (2, layers, cells, filters)
            loss of specific loudness, strict and cued, in the filters of these places
        excitations, rests : float arrays (layers, cells, filters)
            of each layer through the filters of the mix; of the waveform of what is left without it
        places : slice
            from and to which place
        """
        step = _PLACES_AT_ONCE
        for first in range(places.start, places.stop, step):
            here = slice(first, min(first + step, places.stop))
            inside = slice((here.start - places.start) * PLACE_FILTERS, (here.stop - places.start) * PLACE_FILTERS)
            excited, rest = (_by_place(one[..., inside]) for one in (excitations, rests))
            others = np.maximum(excited.sum(axis=1, keepdims=True) - excited, 0.0)
            # A layer that is not there takes nothing and cannot lose; rounding may leave a trace of loss without a
            # taker.
            heard = others > _NOTHING
            each = heard / np.maximum(others, _NOTHING)
            apart = (rest * each > CORRELATED) | ((rest > _NOTHING) & (others > CORRELATED * rest))
            takers = excited.transpose(0, 2, 1)
            for k in range(2):
                loss = np.maximum(_by_place(losses[k][..., inside]), 0.0) * heard
                taken = (loss * each) @ takers
                taken[:, range(len(layers)), range(len(layers))] = 0.0
                self._shares[k, here, layers[:, None], layers] += taken.transpose(1, 2, 0)
                self._losses[k, here, layers] += loss.sum(axis=2).T
                if k == 1:
                    self._correlated[here, layers] += (loss * apart).sum(axis=2)

    def result(self, cells: int) -> Taken:
        """Return what was added up over so many cells."""
        mean = STEP_CAM / max(cells, 1)
        strict, cued = self._losses.transpose(0, 2, 1)
        correlated = np.divide(self._correlated.T, cued, out=np.zeros_like(cued), where=cued > 0.0)
        # Shares are worked out in single precision: as a whole they are the loss.
        whole = self._shares.sum(axis=3)
        exact = np.divide(self._losses, whole, out=np.zeros_like(whole), where=whole > 0.0)
        shares = (self._shares * (mean * exact)[..., None]).transpose(0, 2, 3, 1)
        return Taken(self._layers, shares[0], shares[1], strict * mean, cued * mean, correlated)


def _by_place(patterns: np.ndarray) -> np.ndarray:
    """Return patterns ``(layers, cells, filters)`` as ``(places, layers, cells * filters of a place)``."""
    layers, cells, filters = patterns.shape
    count = filters // PLACE_FILTERS
    places = patterns.reshape(layers, cells, count, PLACE_FILTERS)
    return np.ascontiguousarray(places.transpose(2, 0, 1, 3)).reshape(count, layers, cells * PLACE_FILTERS)
