# SPDX-License-Identifier: Apache-2.0
"""Outer and middle ear: the transmission from the sound field to the cochlea, and filters that have it."""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt

from mixwright.hearing import tables
from mixwright.hearing.components import RANGE_HZ, RATE_HZ, WINDOW_MS

#: How the sound reaches the ear: from the front (ISO 532-3), from all around, or measured at the eardrum.
Field = Literal["free", "diffuse", "eardrum"]

#: Every range of components is filtered at the lowest rate that holds it, longest window first.
RANGE_RATE_HZ = tuple(RATE_HZ * 2 // window_ms for window_ms in WINDOW_MS)
#: Half the length of each range's filter, at its own rate: as fine as a filter of 4097 taps at 48 kHz where it matters.
REACH = (128, 96, 64, 64, 64, 64)


def transmission_db(hz: npt.ArrayLike, field: Field = "free") -> np.ndarray:
    """Return the level at the cochlea minus that of the sound field, 0 dB for a 1 kHz tone from the front.

    Linear in dB over linear frequency (ISO 532-2:2017); below 20 Hz the middle ear is taken to fall by 18 dB an octave.
    """
    at = np.asarray(hz, dtype=np.float64)
    outer = {"free": tables.FREE_FIELD_DB, "diffuse": tables.DIFFUSE_FIELD_DB, "eardrum": (0.0,) * len(tables.EAR_HZ)}
    db = np.interp(at, tables.EAR_HZ, np.add(outer[field], tables.MIDDLE_EAR_DB))
    below = 60.0 * np.log10(np.clip(at, 1.0, 20.0) / 20.0)
    return np.asarray(db + below)


def ear_filters(field: Field = "free") -> tuple[np.ndarray, ...]:
    """Return the filter of each range: the centre tap and those to one side of it, float64, ``REACH + 1`` taps each.

    Least squares of the relative error where the range and the skirts of its window lie, and loosely elsewhere.
    """
    return tuple(_designed(k, field) for k in range(len(WINDOW_MS)))


def _designed(k: int, field: Field) -> np.ndarray:
    rate_hz, reach = RANGE_RATE_HZ[k], REACH[k]
    hz = np.linspace(0.0, rate_hz / 2.0, 8 * reach + 1)
    wanted = 10.0 ** (transmission_db(hz, field) / 20.0)
    skirt_hz = 2000.0 / WINDOW_MS[k]
    inside = (hz >= RANGE_HZ[k] - skirt_hz) & (hz <= RANGE_HZ[k + 1] + skirt_hz)
    weight = np.where(inside, 1.0, 0.05) / np.maximum(wanted, 0.003)
    waves = np.cos(2.0 * np.pi * np.outer(hz / rate_hz, np.arange(reach + 1)))
    waves[:, 1:] *= 2.0
    return np.asarray(np.linalg.lstsq(waves * weight[:, None], wanted * weight, rcond=None)[0])
