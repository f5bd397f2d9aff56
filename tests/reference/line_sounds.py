# SPDX-License-Identifier: Apache-2.0
"""Sounds as line spectra, so that no generator of noise is involved: frequencies and powers re (20 uPa)^2."""

from __future__ import annotations

import numpy as np

from reference import ear_twin as twin


def white(density_db, low_hz=50.0, high_hz=15000.0):
    """Components every 10 Hz."""
    hz = np.arange(low_hz + 5.0, high_hz, 10.0)
    return hz, np.full(len(hz), 10.0 ** ((density_db + 10.0) / 10.0))


def pink(density_db):
    """The same, with a density at 1 kHz."""
    hz = np.arange(55.0, 15000.0, 10.0)
    return hz, 10.0 ** ((density_db - 10.0 * np.log10(hz / 1000.0) + 10.0) / 10.0)


def band(centre_hz, width_hz, level_db, step_hz=10.0):
    hz = np.arange(centre_hz - width_hz / 2.0 + step_hz / 2.0, centre_hz + width_hz / 2.0, step_hz)
    return hz, np.full(len(hz), 10.0 ** (level_db / 10.0) / len(hz))


def agrees(found, printed, within=0.01):
    """Whether a number is within a share of one printed, or half a unit of its last digit."""
    return abs(found - float(printed)) <= max(within * abs(float(printed)), 1.0000002 * half_unit(printed))


def half_unit(printed):
    """Half a unit of the last printed digit."""
    mantissa, _, exponent = printed.partition("e")
    return 0.5 * 10.0 ** (int(exponent or 0) - len(mantissa.partition(".")[2]))


def tones(*parts):
    return twin.together(*(twin.tone(hz, level_db) for hz, level_db in parts))
