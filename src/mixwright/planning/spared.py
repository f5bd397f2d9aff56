# SPDX-License-Identifier: Apache-2.0
"""Rows that lie so far inside their tolerance that their faders need not be asked."""

from __future__ import annotations

import numpy as np

from mixwright.planning.powers import phon

#: A row is asked where it may have lost nearly as much as it lies inside: so much less, in phon.
_NEARLY_PHON = 0.25


class Spared:
    """A row that lies `inside_phon` inside, as heard before any move: loudness alone and in the mix, sone (PLACES,).

    While it loses less than that it is not heard with its fader up: a layer that is raised loses fewer phon by what
    covers it than one that is not. `audible.Heard.raised` then is what it was, changed by as many sone as `cued`.
    """

    def __init__(self, inside_phon: float, alone: np.ndarray, cued: np.ndarray) -> None:
        self._inside_phon = inside_phon
        self._alone_phon, self._cued_phon = (phon(float(one.sum()))[0] for one in (alone, cued))

    def still_inside(self, alone: np.ndarray, cued: np.ndarray) -> bool:
        """Tell whether a row of such loudness, alone and in the mix, still lies inside for sure."""
        lost = max(self._cued_phon - phon(float(cued.sum()))[0], 0.0)
        grown = phon(float(alone.sum()))[0] - self._alone_phon
        return grown + lost + _NEARLY_PHON < self._inside_phon
