# SPDX-License-Identifier: Apache-2.0
"""The constants of specific loudness at any frequency, in the sets of three standards."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from mixwright.hearing import tables

ConstantSet = Literal["ISO 532-3", "ISO 532-2", "ANSI S3.4"]

#: Offsets of the masked threshold: as published, and with the cues by which layers of a song are told apart. Human
#: matches of tones and bands in maskers fit best near -10 dB; the published value suits a band of noise in like noise.
STRICT_DB = 0.0
CUED_DB = -10.0


@dataclass(frozen=True, eq=False)
class Constants:
    """What specific loudness depends on, for some frequencies; power ratios re the excitation of 1 kHz at 0 dB SPL.

    `scale` is C, in sone per Cam; `threshold` the excitation at absolute threshold; `gain` G, `exponent` alpha and
    `offset` A of ``C ((G E + A)^alpha - A^alpha)``; `masked_ratio` the published signal-to-noise ratio at masked
    threshold, as a power ratio. `two_ears`: what the loudness of one of two equal ears is multiplied by.
    """

    name: ConstantSet
    scale: float
    two_ears: float
    threshold: np.ndarray
    gain: np.ndarray
    exponent: np.ndarray
    offset: np.ndarray
    masked_ratio: np.ndarray


def constants_at(hz: npt.ArrayLike, name: ConstantSet = "ISO 532-3") -> Constants:
    """Return the constants at some frequencies.

    Parameters
    ----------
    hz : array_like, (n,)
        centre frequencies of the filters
    name : {"ISO 532-3", "ISO 532-2", "ANSI S3.4"}
        The ISO sets belong with binaural inhibition; that of ANSI S3.4-2007 counts two equal ears twice.
    """
    at = np.asarray(hz, dtype=np.float64)
    thresholds_db = {
        "ISO 532-3": tables.THRESHOLD_DB_ISO_532_3,
        "ISO 532-2": tables.THRESHOLD_DB_ISO_532_2,
        "ANSI S3.4": tables.THRESHOLD_DB_ANSI,
    }[name]
    threshold_db = np.interp(at, tables.THRESHOLD_HZ, thresholds_db)
    gain_db = thresholds_db[-1] - threshold_db
    scale, two_ears = {"ISO 532-3": (0.063, 1.5), "ISO 532-2": (0.0617, 1.5), "ANSI S3.4": (0.046871, 2.0)}[name]
    return Constants(
        name=name,
        scale=scale,
        two_ears=two_ears,
        threshold=10.0 ** (threshold_db / 10.0),
        gain=10.0 ** (gain_db / 10.0),
        exponent=np.interp(gain_db, tables.EXPONENT_GAIN_DB, tables.EXPONENT),
        offset=_offset(gain_db, name),
        masked_ratio=masked_ratio(at),
    )


def masked_ratio(hz: npt.ArrayLike) -> np.ndarray:
    """Return the power ratio of signal to noise at masked threshold (Moore, Glasberg and Baer 1997)."""
    ratio_db = np.interp(np.log(np.asarray(hz, dtype=np.float64)), np.log(tables.MASKED_HZ), tables.MASKED_RATIO_DB)
    return np.asarray(10.0 ** (ratio_db / 10.0))


def _offset(gain_db: np.ndarray, name: ConstantSet) -> np.ndarray:
    if name == "ANSI S3.4":
        from scipy.interpolate import PchipInterpolator  # slow to load

        return np.asarray(PchipInterpolator(tables.A_GAIN_DB_ANSI, tables.A_ANSI)(gain_db))
    values = tables.A_ISO_532_3 if name == "ISO 532-3" else tables.A_ISO_532_2
    return np.asarray(np.interp(gain_db, tables.A_GAIN_DB, values))
