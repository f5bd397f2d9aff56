# SPDX-License-Identifier: Apache-2.0
"""What stands between a mix and who listens, and never in a print: one band alone."""

from __future__ import annotations

import math

from mixwright.engine.chain import Chain
from mixwright.engine.processors.insert import made
from mixwright.errors import SettingError
from mixwright.model.filter_inserts import Filters
from mixwright.model.filters import Pass

#: The nearest that an edge may come to half the rate.
_MOST_OF_RATE = 0.45
_LOWEST_HZ = 10.0


def band_chain(low_hz: float, high_hz: float, rate_hz: int) -> dict[str, object]:
    """Return the operations, as `Chain.listed` has them, that leave one band of a stereo signal.

    Butterworth passes of 24 dB an octave, so that what lies outside is not mistaken for the band (common practice, no
    source).

    Parameters
    ----------
    low_hz, high_hz : float
        the edges; 0: open
    rate_hz : int

    Raises
    ------
    SettingError
        where nothing lies between them
    """
    most = _MOST_OF_RATE * rate_hz
    edges = [edge for edge in (low_hz, high_hz) if edge != 0.0]
    fits = all(math.isfinite(edge) and _LOWEST_HZ <= edge <= most for edge in edges)
    if not fits or (len(edges) == 2 and low_hz >= high_hz):
        raise SettingError(
            f"no band lies from {low_hz:g} to {high_hz:g} Hz", hint=f"give edges from {_LOWEST_HZ:g} to {most:g} Hz"
        )
    insert = Filters(
        high_pass=Pass(hz=low_hz, slope_db_oct=24) if low_hz else None,
        low_pass=Pass(hz=high_hz, slope_db_oct=24) if high_hz else None,
    )
    return Chain(made(insert, rate_hz), 2).listed()
