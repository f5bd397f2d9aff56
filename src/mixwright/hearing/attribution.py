# SPDX-License-Identifier: Apache-2.0
"""Who takes what a layer loses in the mix: each other layer by its share of the energy that masks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.hearing.bands import PLACES
from mixwright.hearing.scale import STEP_CAM
from mixwright.native import ear


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

    def push(self, layers: Sequence[int], patterns: Sequence[np.ndarray], cells: slice, places: slice) -> None:
        """Add cells of one ear, in some places; threads may add different places at the same time.

        Parameters
        ----------
        layers : sequence of int
            the numbers of those that sound; the others take nothing and lose nothing
        patterns : sequence of float32 arrays (cells, PATTERNS, PADDED_FILTERS)
            of each of them, from `native.ear.loudness`
        cells, places : slice
            from and to which
        """
        ear.share(
            patterns, np.array(layers, dtype=np.int32), cells, places, self._shares, self._losses, self._correlated
        )

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
