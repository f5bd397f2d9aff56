# SPDX-License-Identifier: Apache-2.0
"""Loudness in sone as loudness level in phon."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixwright.hearing.tables import TONE_DB_SPL, TONE_SONE_ISO_532_3


def phon_from_sone(sone: npt.ArrayLike) -> np.ndarray:
    """Return the level in phon: that of the 1 kHz tone as loud, between 0 and 120 (ISO 532-3:2023, Table 5).

    Interpolated over the logarithm of sone; the doubling every 10 phon holds only roughly.
    """
    logarithm = np.log10(np.maximum(np.asarray(sone, dtype=np.float64), TONE_SONE_ISO_532_3[0]))
    return np.asarray(np.interp(logarithm, np.log10(TONE_SONE_ISO_532_3), TONE_DB_SPL))
