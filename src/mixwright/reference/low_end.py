# SPDX-License-Identifier: Apache-2.0
"""The shape of the low end: which octave carries it."""

from __future__ import annotations

import numpy as np

from mixwright.model.profile import BANDS_HZ, THIRDS_HZ, Values
from mixwright.reference.span import Floats, Span
from mixwright.units import db_from_power


def low_end_values(span: Span) -> Values:
    """Return the energy of each octave from 20 to 160 Hz over that of all three, in dB."""
    return {"low_octaves_db": octave_shares(span.mean(span.traces.both))}


def octave_shares(power: Floats) -> tuple[float | None, ...]:
    """Return the energy of each octave from 20 to 160 Hz over that of all three, in dB; None where nothing is.

    Parameters
    ----------
    power : (31,) array
        In thirds of an octave.
    """
    hz = np.array(THIRDS_HZ)
    # A third belongs to the octave in which its middle lies: 20, 25, 31.5; 40, 50, 63; 80, 100, 125 Hz.
    octaves = [float(power[(hz >= low * 0.98) & (hz < high * 0.98)].sum()) for low, high in BANDS_HZ["bottom"]]
    total = sum(octaves)
    return tuple(db_from_power(part / total) if total > 0.0 else None for part in octaves)
