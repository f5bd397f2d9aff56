# SPDX-License-Identifier: Apache-2.0
"""Fader equivalent: by how many dB a layer must rise in the mix to be heard as loud as asked; solved, not guessed.

It works on a sketch: the powers of the layer, of the rest and of the mix at frames spread over the song. The rest stays
as it is while the layer rises, and the filters are set anew by the mix that results.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mixwright.hearing.bands import BANDS, band_edges
from mixwright.hearing.excitation import excitation, levels_per_erb
from mixwright.hearing.kernels import loudness_table, spread_table
from mixwright.hearing.scale import STEP_CAM
from mixwright.native import ear
from mixwright.native.ear import PADDED_FILTERS, PATTERNS

#: How far a fader is asked to go, in dB.
LOWEST_DB, HIGHEST_DB = -60.0, 40.0
_NEAR_DB = 0.005


@dataclass(frozen=True, eq=False)
class Sketch:
    """Frames of a layer in the mix: float32 ``(2, frames, 134)`` each, power at both ears of layer, rest and mix."""

    layer: np.ndarray
    rest: np.ndarray
    mix: np.ndarray

    def raised(self, gain_db: float) -> Sketch:
        """Return the sketch with the layer's fader moved; what layer and rest have in common is kept."""
        gain = 10.0 ** (gain_db / 20.0)
        common = self.mix - self.layer - self.rest
        mix = np.maximum(self.rest + gain * common + gain * gain * self.layer, 0.0)
        return Sketch((gain * gain * self.layer).astype(np.float32), self.rest, mix.astype(np.float32))

    def sounding(self, at_least_sone: float) -> Sketch:
        """Return the frames in which the layer alone is at least so loud."""
        kept = loudness(self)[0] >= at_least_sone
        return Sketch(self.layer[:, kept], self.rest[:, kept], self.mix[:, kept])


def loudness(sketch: Sketch) -> np.ndarray:
    """Return the loudness of the layer at the moment of each frame, float32 ``(3, frames)``: alone, strict, cued."""
    frames = sketch.layer.shape[1]
    patterns = np.zeros((2, frames, PATTERNS, PADDED_FILTERS), dtype=np.float32)
    constants, scale = loudness_table()
    for side in range(2):
        layer, rest, mix = (np.ascontiguousarray(part[side]) for part in (sketch.layer, sketch.rest, sketch.mix))
        levels = levels_per_erb(mix)
        own, shared, masking = excitation(layer), excitation(layer, levels), excitation(rest, levels)
        # Every frame on its own: what was before does not linger.
        state = np.zeros((3, PADDED_FILTERS), dtype=np.float32)
        ear.loudness(own, shared, masking, 1, constants, scale, 1.0, 1.0, state, patterns[side])
    out = np.empty((frames, 3, BANDS), dtype=np.float32)
    ear.bands(patterns[0], patterns[1], spread_table(), band_edges(), STEP_CAM, out)
    return np.ascontiguousarray(out.sum(axis=2).T)


def fader_equivalent_db(sketch: Sketch, wanted_sone: float, row: int) -> float | None:
    """Return the dB by which the layer must rise so that its mean loudness in the mix is as wanted.

    Parameters
    ----------
    sketch : Sketch
    wanted_sone : float
        mean over the sketch's frames, above 0
    row : int
        which loudness: strict or cued

    Returns
    -------
    float or None
        negative where it is heard louder already; None where no fader between LOWEST_DB and HIGHEST_DB reaches it
    """

    def missing(gain_db: float) -> float:
        return wanted_sone - float(loudness(sketch.raised(gain_db))[row].mean(dtype=np.float64))

    from scipy.optimize import brentq  # slow to load

    if missing(LOWEST_DB) < 0.0 or missing(HIGHEST_DB) > 0.0:
        return None
    return float(brentq(missing, LOWEST_DB, HIGHEST_DB, xtol=_NEAR_DB))
