# SPDX-License-Identifier: Apache-2.0
"""How loud the lead voice of a finished song is beside the whole, as an interval: the mix alone tells no more.

A lead stands in the centre, lasts longer than a hit, and rests between its phrases. What stands in the centre from
200 Hz to 4 kHz and lasts is an upper estimate: keys or guitars may stand there too. What of it comes and goes is a
lower one: a voice that hardly rests hides in what stays. The interval reaches from below the one to above the other, by
as much as invented mixes whose lead is known were found to need (benchmarks/beside_records.py).
"""

from __future__ import annotations

import numpy as np

from mixwright.meter.loudness import gated_lufs, k_gain
from mixwright.model.profile import THIRDS_HZ
from mixwright.reference.span import Floats
from mixwright.reference.traces import MIDDLE_THIRDS, Traces

#: What lasts: the median over so many short windows, about 0.19 s.
_LASTS = 9
#: Windows are put together to pieces of about half a second; phrases rest in the softest quarter of them.
_PIECE, _RESTS = 24, 25.0
#: How far the interval reaches below the lower estimate and above the upper one: of a voice what lies below 200 Hz and
#: above 4 kHz is not seen, nor what others that move cover.
BELOW_LU, ABOVE_LU = 1.5, 2.0
_SHORTEST_PIECES = 16


def lead_interval(traces: Traces) -> tuple[float, float] | None:
    """Return between which values the loudness of the lead minus that of the song is likely to lie, in LU.

    None where both sides are the same, or the song is too short to have rests. That a voice leads is taken for given.
    """
    found = estimates(traces)
    if found is None:
        return None
    low, high = found
    return round(low - BELOW_LU, 3), round(min(high + ABOVE_LU, 0.0), 3)


def estimates(traces: Traces) -> tuple[float, float] | None:
    """Return the lower and the upper estimate of the loudness of the lead minus that of the song, in LU."""
    whole = traces.levels.integrated_lufs
    pieces = len(traces.centre) // _PIECE
    if whole is None or traces.levels.side_to_mid_db is None or pieces < _SHORTEST_PIECES:
        return None
    centre = traces.centre.astype(np.float64)
    lasting = np.minimum(centre, _median(centre))
    weighted = lasting @ k_gain(THIRDS_HZ[MIDDLE_THIRDS])
    power = 2.0 * weighted[: pieces * _PIECE].reshape(pieces, _PIECE).mean(axis=1)
    upper = gated_lufs(power)
    lower = gated_lufs(np.maximum(power - np.percentile(power, _RESTS), 0.0))
    if upper is None or lower is None:
        return None
    return min(lower, upper) - whole, upper - whole


def _median(power: Floats) -> Floats:
    edge = _LASTS // 2
    padded = np.pad(power, ((edge, edge), (0, 0)), mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, _LASTS, axis=0), axis=2))
