# SPDX-License-Identifier: Apache-2.0
"""Spectrum: thirds of an octave beside the loudness, the slope, and the ends beside the middle."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from mixwright.model.profile import THIRDS_HZ, Values
from mixwright.reference.span import Floats, Span
from mixwright.units import db_from_power

LOW_HZ = (20.0, 160.0)
MIDDLE_HZ = (200.0, 4000.0)
TOP_HZ = (5000.0, 16000.0)
#: Where the slope is taken: between the ends, which differ most (Pestana et al. 2013: 100 Hz to 10 kHz).
SLOPE_HZ = (100.0, 10000.0)
#: Nominal limits stand for exact mid-bands (158.5 Hz for 160 Hz), so bands within 2 % of a limit are inside.
_NOMINAL = 1.02
#: A third of an octave holds 1 dB an octave more than its density: its width grows with its frequency.
_DENSITY_DB_OCT = 10.0 * math.log10(2.0)


def spectrum_values(span: Span) -> Values:
    """Return thirds minus loudness, slope, and the shares of the ends."""
    power = span.mean(span.traces.both)
    loudness = span.loudness_lufs
    levels = [db_from_power(float(band)) for band in power]
    low, top = shares(np.array(THIRDS_HZ), power)
    return {
        "third_octaves_db": tuple(None if loudness is None or level is None else level - loudness for level in levels),
        "slope_db_oct": (slope_db_oct(power),),
        "low_end_db": (low,),
        "top_end_db": (top,),
    }


def slope_db_oct(power: Floats) -> float | None:
    """Return by how many dB an octave the power density changes from 100 Hz to 10 kHz, a straight line in dB.

    Parameters
    ----------
    power : (31,) array
        In thirds of an octave.
    """
    hz = np.array(THIRDS_HZ)
    known = in_range(hz, SLOPE_HZ) & (power > 0.0)
    if np.count_nonzero(known) < np.count_nonzero(in_range(hz, SLOPE_HZ)):
        return None
    return float(np.polyfit(np.log2(hz[known]), 10.0 * np.log10(power[known]), 1)[0]) - _DENSITY_DB_OCT


def band_power(levels_db: Sequence[float | None]) -> Floats:
    """Return band levels in dB as powers, 0 for None."""
    return np.array([0.0 if level is None else 10.0 ** (level / 10.0) for level in levels_db], dtype=np.float64)


def shares(hz: Floats, power: Floats) -> tuple[float | None, float | None]:
    """Return the energy of the low end and of the top end over that of the middle, in dB; None where nothing is."""
    middle = float(power[in_range(hz, MIDDLE_HZ)].sum())
    found = []
    for limits in (LOW_HZ, TOP_HZ):
        energy = float(power[in_range(hz, limits)].sum())
        found.append(10.0 * math.log10(energy / middle) if energy > 0.0 and middle > 0.0 else None)
    return found[0], found[1]


def in_range(hz: Floats, limits: tuple[float, float]) -> npt.NDArray[np.bool_]:
    """Return which mid-bands belong to a range given by nominal limits."""
    return np.asarray((hz >= limits[0] / _NOMINAL) & (hz <= limits[1] * _NOMINAL))
