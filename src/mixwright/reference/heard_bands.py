# SPDX-License-Identifier: Apache-2.0
"""How much is heard of each band of a finished song: what to look at first is what is loud in it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from mixwright.hearing.places import WORKING_DB_SPL
from mixwright.model.profile import THIRDS_HZ
from mixwright.reference.span import Floats

#: Threshold and equal-loudness contours of 20, 40, 60 and 80 phon in dB SPL (ISO 226:2023, table 1 and formula 1). The
#: standard ends at 12.5 kHz; the last two rows say that hearing falls off beyond it (from memory, no source).
_PHON = (0.0, 20.0, 40.0, 60.0, 80.0)
_CONTOURS = (
    (20.0, 78.1, 89.5, 99.7, 109.4, 118.9),
    (31.5, 59.5, 76.3, 88.2, 99.1, 109.7),
    (50.0, 44.0, 64.3, 77.8, 89.9, 101.8),
    (80.0, 31.5, 53.4, 68.3, 81.9, 95.1),
    (125.0, 22.1, 44.1, 60.4, 75.4, 90.1),
    (200.0, 14.4, 35.6, 53.3, 69.7, 85.9),
    (315.0, 8.6, 28.9, 47.6, 65.4, 82.9),
    (500.0, 4.4, 23.6, 43.1, 62.1, 80.9),
    (800.0, 2.2, 20.1, 40.0, 59.8, 79.6),
    (1250.0, 3.5, 21.4, 41.8, 62.1, 82.5),
    (2000.0, -1.3, 18.2, 39.2, 60.0, 80.7),
    (3150.0, -6.0, 14.2, 35.5, 56.4, 77.2),
    (5000.0, -1.5, 18.7, 40.1, 61.0, 81.8),
    (8000.0, 12.6, 31.4, 51.6, 71.5, 91.3),
    (12500.0, 12.3, 33.0, 51.3, 68.6, 85.6),
    (16000.0, 40.0, 60.0, 78.0, 95.0, 112.0),
    (20000.0, 90.0, 100.0, 110.0, 120.0, 130.0),
)


def heard_thirds(levels_db: Sequence[float | None]) -> Floats:
    """Return the loudness of each third of an octave beside the loudest of them: 0 to 1, 0 below hearing.

    Played at the working level; each band by itself, as a tone of its level: sones double every 10 phon (ISO 532-1).

    Parameters
    ----------
    levels_db : sequence of float or None
        31 levels minus the loudness of the song; None where nothing is.
    """
    table = np.array(_CONTOURS)
    at = np.log(np.array(THIRDS_HZ))
    contours = np.stack([np.interp(at, np.log(table[:, 0]), column) for column in table[:, 1:].T], axis=1)
    phon = np.array(
        [
            -np.inf if level is None or level + WORKING_DB_SPL <= contour[0]
            else np.interp(level + WORKING_DB_SPL, contour, _PHON)
            for level, contour in zip(levels_db, contours, strict=True)
        ]
    )  # fmt: skip
    loudest = float(phon.max(initial=-np.inf))
    return np.asarray(2.0 ** ((phon - loudest) / 10.0) if np.isfinite(loudest) else np.zeros(len(phon)))
