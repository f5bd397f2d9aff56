# SPDX-License-Identifier: Apache-2.0
"""By how many dB a layer would have to rise to be heard as loud as alone, in any band of a section."""

from __future__ import annotations

import numpy as np

from mixwright.hearing import rise as hearing_rise
from mixwright.hearing.bands import filter_edges
from mixwright.hearing.fader import Sketch, loudness_by_band
from mixwright.hearing.heard import ALONE, CUED, STRICT
from mixwright.model.ranges import Range

#: Faders at which a layer is heard.
GAINS_DB = hearing_rise.GAINS_DB[:-1]
#: So many frames answer for a section.
FRAMES = 96


class Rise:
    """A layer in a part of the song, filter by filter: alone, and in the mix at several faders.

    Parameters
    ----------
    sketch : Sketch
        frames of that part in which the layer sounds, one at least
    """

    def __init__(self, sketch: Sketch) -> None:
        self.sketch = sketch.thinned(FRAMES)
        now = _by_filter(self.sketch)
        #: Loudness in sone that each filter adds, float64 (FILTERS,): alone, and as it is, strict and cued.
        self.alone = now[ALONE]
        self.left = {STRICT: now[STRICT], CUED: now[CUED]}
        self._heard = [now]  # at the first faders

    def db(self, where: slice = slice(None)) -> Range:
        """Return the rise that some filters need; 0 where nothing is lost, None beyond the last fader."""
        wanted = float(self.alone[where].sum())
        strict, cued = (self._fader_db(wanted, reading, where) for reading in (STRICT, CUED))
        return Range(cued=cued, strict=strict)

    def making_up_db(self, strict_sone: float, cued_sone: float) -> Range:
        """Return the rise of the layer as a whole that would make up for a loss, by both readings."""
        lost, everywhere = {STRICT: strict_sone, CUED: cued_sone}, slice(None)
        strict, cued = (
            self._fader_db(float(self.left[reading].sum()) + max(lost[reading], 0.0), reading, everywhere)
            for reading in (STRICT, CUED)
        )
        return Range(cued=cued, strict=strict)

    def _fader_db(self, wanted: float, reading: int, where: slice) -> float | None:
        """Return at which fader some filters are as loud as wanted; no fader beyond is heard."""
        found = [float(heard[reading, where].sum()) for heard in self._heard]
        while found[-1] < wanted and len(found) < len(GAINS_DB):
            if len(found) == len(self._heard):
                raised = _by_filter(self.sketch.raised(GAINS_DB[len(found)]), alone=False)
                # More of a layer is never heard less, but for the mean over few frames.
                self._heard.append(np.maximum(raised, self._heard[-1]))
            found.append(float(self._heard[len(found)][reading, where].sum()))
        return hearing_rise.fader_db(wanted, np.array(found))

    @property
    def lost(self) -> np.ndarray:
        """Loudness that the mix takes from each filter, cued, float64 (FILTERS,)."""
        return np.asarray(np.maximum(self.alone - self.left[CUED], 0.0))


def _by_filter(sketch: Sketch, *, alone: bool = True) -> np.ndarray:
    """Return the mean over time of what each filter adds to the loudness, float64 ``(3, FILTERS)``: as `loudness`."""
    found = loudness_by_band(sketch, filter_edges(), alone=alone).astype(np.float64)
    return sketch.mean(np.swapaxes(found, 1, 2))
