# SPDX-License-Identifier: Apache-2.0
"""What was measured of a layer in the mix, as a plan needs it: loudness over time and over frequency."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixwright.meter.loudness import ABSOLUTE_GATE_LUFS, gated_lufs, lufs_from_power

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

#: A layer counts as sounding down to this far below its own loudness.
ACTIVE_LU = 20.0


@dataclass(frozen=True, eq=False)
class Sound:
    """A contribution to the mix.

    Attributes
    ----------
    blocks : array, (blocks,)
        K-weighted power, channels summed, of every 400 ms block at a hop of 100 ms (ITU-R BS.1770-5, Annex 1).
    bands : array, (bands,)
        Mean-square third-octave levels over the whole song, as powers.
    """

    blocks: Array
    bands: Array

    def gated(self) -> Mask:
        """Return the blocks that pass both gates of BS.1770-5; none where it is silent."""
        above = lufs_from_power(self.blocks) > ABSOLUTE_GATE_LUFS
        if not above.any():
            return above
        return np.asarray(above & (self.blocks > 0.1 * float(self.blocks[above].mean())))

    def loudness(self) -> float | None:
        """Return the integrated loudness in LUFS, None where it is silent."""
        return gated_lufs(self.blocks)

    def active(self) -> Mask:
        """Return the blocks in which it sounds."""
        loudness = self.loudness()
        if loudness is None:
            return np.zeros(len(self.blocks), dtype=bool)
        return np.asarray(lufs_from_power(self.blocks) > max(loudness - ACTIVE_LU, ABSOLUTE_GATE_LUFS))

    def louder(self, gain_db: float) -> Sound:
        """Return it after a gain."""
        power = 10.0 ** (gain_db / 10.0)
        return Sound(self.blocks * power, self.bands * power)


def together(sounds: Iterable[Sound]) -> Sound:
    """Return the sum of layers, taken as uncorrelated: powers add."""
    found = list(sounds)
    return Sound(
        np.sum([sound.blocks for sound in found], axis=0),
        np.sum([sound.bands for sound in found], axis=0),
    )


def power_of(lufs: npt.ArrayLike) -> Array:
    """Return the K-weighted power, channels summed, of a loudness."""
    return np.asarray(10.0 ** ((np.asarray(lufs, dtype=np.float64) + 0.691) / 10.0))
