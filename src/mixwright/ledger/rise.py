# SPDX-License-Identifier: Apache-2.0
"""By how many dB a layer would have to rise to be heard as loud as alone, in any band of a section."""

from __future__ import annotations

import functools

import numpy as np

from mixwright.hearing.bands import filter_edges
from mixwright.hearing.fader import Sketch, loudness_by_band
from mixwright.hearing.heard import ALONE, CUED, STRICT
from mixwright.model.ranges import Range

#: Faders at which a layer is heard; what lies between is interpolated, within about 0.1 dB.
GAINS_DB = (0.0, 1.5, 3.0, 5.0, 7.0, 10.0, 14.0, 19.0, 25.0, 32.0)
#: So many frames answer for a section.
FRAMES = 96
_NOTHING = 1e-9


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

    @functools.cached_property
    def heard(self) -> np.ndarray:
        """Loudness that each filter adds with the fader at GAINS_DB, float64 (gains, 3, FILTERS)."""
        raised = (_by_filter(self.sketch.raised(gain_db), alone=False) for gain_db in GAINS_DB[1:])
        first = np.stack([self.alone, self.left[STRICT], self.left[CUED]])
        found = np.stack([first, *raised])
        # More of a layer is never heard less, but for the mean over few frames.
        return np.asarray(np.maximum.accumulate(found, axis=0))

    def db(self, where: slice = slice(None)) -> Range:
        """Return the rise that some filters need; 0 where nothing is lost, None beyond the last fader."""
        wanted = float(self.alone[where].sum())
        found = self.heard[:, :, where].sum(axis=2)
        return Range(cued=_crossing(wanted, found[:, CUED]), strict=_crossing(wanted, found[:, STRICT]))

    @property
    def lost(self) -> np.ndarray:
        """Loudness that the mix takes from each filter, cued, float64 (FILTERS,)."""
        return np.asarray(np.maximum(self.alone - self.left[CUED], 0.0))


def _by_filter(sketch: Sketch, *, alone: bool = True) -> np.ndarray:
    """Return the mean over time of what each filter adds to the loudness, float64 ``(3, FILTERS)``: as `loudness`."""
    found = loudness_by_band(sketch, filter_edges(), alone=alone).astype(np.float64)
    return sketch.mean(np.swapaxes(found, 1, 2))


def _crossing(wanted: float, found: np.ndarray) -> float | None:
    if wanted <= found[0] or wanted <= _NOTHING:
        return 0.0
    if wanted > found[-1]:
        return None
    # Close to straight over dB, as loudness is close to a power of power.
    return float(np.interp(np.log(wanted), np.log(np.maximum(found, _NOTHING)), GAINS_DB))
