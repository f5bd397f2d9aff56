# SPDX-License-Identifier: Apache-2.0
"""Density of the middle: how much of 200 Hz to 4 kHz is filled, in time and in frequency."""

from __future__ import annotations

import numpy as np

from mixwright.model.profile import Values
from mixwright.reference.span import Floats, Span

#: A band is filled while it lies within so many dB of what it reaches in the loudest twentieth of the song.
_FILLED_DB = 12.0
_LOUD = 95.0
#: Records fall by 4.5 dB an octave in density between 89 Hz and 4.5 kHz (Elowsson & Friberg 2017): 1.5 in bands.
_TILT_DB_THIRD = 0.5


def density_values(span: Span) -> Values:
    """Return for how much of the time bands are filled, and how many of them carry the middle at once, in per cent.

    The second is the number of bands that would hold as much if all were equal (exponential of the entropy), after
    the usual slope of records is taken away; over the number of bands.
    """
    middle = span.traces.short[:, 1:-1].astype(np.float64)
    at = span.traces.short_s
    inside = (at >= span.start_s) & (at < span.end_s)
    if np.count_nonzero(span.short) < 10:
        return {"filled_time_percent": (None,), "filled_bands_percent": (None,)}
    # Beside what the whole song reaches: a thin verse is thin beside its chorus.
    loud = np.percentile(middle, _LOUD, axis=0)
    bands = loud > 0.0
    if not bands.any():
        return {"filled_time_percent": (None,), "filled_bands_percent": (None,)}
    filled = middle[inside][:, bands] > loud[bands] * 10.0 ** (-_FILLED_DB / 10.0)
    return {
        "filled_time_percent": (100.0 * float(filled.mean()),),
        "filled_bands_percent": (100.0 * _evenness(middle[span.short]),),
    }


def _evenness(power: Floats) -> float:
    flat = power * 10.0 ** (_TILT_DB_THIRD * np.arange(power.shape[1]) / 10.0)
    part = flat / np.maximum(flat.sum(axis=1, keepdims=True), 1e-30)
    entropy = -np.sum(part * np.log(np.maximum(part, 1e-12)), axis=1)
    return float(np.mean(np.exp(entropy)) / power.shape[1])
