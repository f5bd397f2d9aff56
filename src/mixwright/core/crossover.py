# SPDX-License-Identifier: Apache-2.0
"""Linkwitz-Riley crossovers: audio in 2 to 5 ranges that add up to an all-pass of it."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from mixwright.core.filters import check_hz
from mixwright.errors import SettingError
from mixwright.native import crossover as native

#: Slopes in dB per octave that a crossover may have, and the order each stands for.
ORDERS = {12: 2, 24: 4, 48: 8}


def crossover(hz: Sequence[float], rate_hz: int, slope_db_oct: int = 24) -> np.ndarray:
    """Return the coefficients of a crossover (csrc/crossover.h) that splits at `hz`.

    Parameters
    ----------
    hz : sequence of float
        1 to 4 frequencies, ascending
    rate_hz : int
    slope_db_oct : int
        12, 24 or 48

    Raises
    ------
    SettingError
        where they do not rise or one does not lie below half the rate
    """
    for one in hz:
        check_hz(one, rate_hz)
    if any(low >= high for low, high in itertools.pairwise(hz)):
        raise SettingError(
            f"a crossover at {', '.join(f'{one:g}' for one in hz)} Hz has its frequencies out of order",
            hint="name them from low to high",
        )
    return native.design(np.asarray(hz, dtype=np.float64), ORDERS[slope_db_oct], rate_hz)
