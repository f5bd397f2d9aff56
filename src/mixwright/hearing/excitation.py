# SPDX-License-Identifier: Apache-2.0
"""Excitation of the auditory filters, whose lower slopes depend on the level of the sound that sets them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from mixwright.hearing.components import components
from mixwright.hearing.kernels import Steps, filter_tables, whole_frames
from mixwright.native import ear
from mixwright.native.ear import PADDED_FILTERS


def levels_per_erb(power: np.ndarray) -> np.ndarray:
    """Return the level around every component in whole dB, counted from -20, uint8 ``(frames, 134)``.

    `power`: float32, rows of powers, whose first 134 count.
    """
    tables = filter_tables()
    out = np.empty((len(power), len(components().hz)), dtype=np.uint8)
    ear.levels(power, tables.around, tables.first, tables.last, out)
    return out


def excitation(
    power: np.ndarray,
    levels: np.ndarray | None = None,
    steps: Steps | None = None,
    out: np.ndarray | None = None,
) -> np.ndarray:
    """Return the excitation by one sound, through its own filters unless `levels` of another sound set them.

    Parameters
    ----------
    power : ndarray, float32, (frames, 134)
        or rows of powers laid out as `steps` say
    levels : ndarray, uint8, (frames, 134), optional
        from `levels_per_erb`
    steps : Steps, optional
        by default frames are whole
    out : ndarray, float32, optional
        to write to

    Returns
    -------
    ndarray, float32, (frames, 160)
        in the 150 filters, the last ten are room; or rows of excitations laid out as `steps` say
    """
    tables, cut = filter_tables(), steps or whole_frames()
    made = np.empty((len(power), len(cut.filters)), dtype=np.float32) if out is None else out
    own = levels_per_erb(power) if levels is None else levels
    ear.excitation(power, own, cut.parts, tables.table, tables.reach, made)
    return made


class SharedFilters:
    """Filters set by the mix, through which layers are heard together; holds room to work in, one for each thread.

    `steps`: how powers and excitations are laid out; by default frames are whole.
    """

    def __init__(self, steps: Steps | None = None) -> None:
        self._parts = (steps or whole_frames()).parts
        self._room = np.empty((len(components().hz), PADDED_FILTERS), dtype=np.float32)

    def excite(self, powers: Sequence[np.ndarray], levels: np.ndarray, outs: Sequence[np.ndarray]) -> None:
        """Write the excitation of every sound; as `excitation`, but the filters are fetched once for all."""
        tables = filter_tables()
        ear.shared_excitation(powers, levels, self._parts, tables.table, tables.reach, self._room, outs)
