# SPDX-License-Identifier: Apache-2.0
"""Analogue prototypes of the filters, and how near digital ones come to them.

Bands: Audio EQ Cookbook (R. Bristow-Johnson; W3C Working Group Note, 2021); s in units of the band's frequency.
Tilt: common practice, no source. High-pass and low-pass: scipy.signal.butter, analogue.
"""

from __future__ import annotations

import numpy as np
import scipy.signal


def band(kind, gain_db, q):
    """Return numerator and denominator of H(s), highest power first."""
    a = 10.0 ** (gain_db / 40.0)
    slope = a**0.5 / q
    return {
        "bell": ([1.0, a / q, 1.0], [1.0, 1.0 / (a * q), 1.0]),
        "low_shelf": ([a, a * slope, a * a], [a, slope, 1.0]),
        "high_shelf": ([a * a, a * slope, a], [1.0, slope, a]),
        "notch": ([1.0, 0.0, 1.0], [1.0, 1.0 / q, 1.0]),
        "band_pass": ([1.0 / q, 0.0], [1.0, 1.0 / q, 1.0]),
        "tilt": ([a * a, 1.0], [1.0, a * a]),
    }[kind]


def band_db(one, at_hz):
    """Return the gain in dB of a band's prototype at frequencies."""
    numerator, denominator = band(one.kind, one.gain_db, one.q)
    s = 1j * np.asarray(at_hz) / one.hz
    return decibels(np.polyval(numerator, s) / np.polyval(denominator, s))


def pass_db(kind, cut, at_hz):
    """Return the gain in dB of a Butterworth filter, `kind` as scipy.signal.butter has it."""
    b, a = scipy.signal.butter(cut.slope_db_oct // 6, 1.0, kind, analog=True)
    return decibels(scipy.signal.freqs(b, a, np.asarray(at_hz) / cut.hz)[1])


def digital_db(sections, at_hz, rate_hz):
    """Return the gain in dB of sections ``(n, 5)`` at frequencies."""
    sos = np.insert(sections, 3, 1.0, axis=1)
    return decibels(scipy.signal.sosfreqz(sos, worN=np.atleast_1d(at_hz), fs=rate_hz)[1])


def decibels(response):
    with np.errstate(divide="ignore"):
        return 20.0 * np.log10(np.abs(response))


def grid(hz):
    """Return frequencies from 10 Hz to 16 kHz, close together around `hz`."""
    return np.unique(np.concatenate([np.geomspace(10.0, 16000.0, 300), hz * np.linspace(0.9, 1.1, 41)]).clip(10, 16000))


def errors_db(sections, prototype_db, at_hz, rate_hz):
    """Return the largest deviations in dB below 4 kHz and up to 16 kHz, of what the prototype has above -40 dB."""
    off = np.abs(digital_db(sections, at_hz, rate_hz) - prototype_db)[prototype_db > -40.0]
    low = off[at_hz[prototype_db > -40.0] < 4000.0]
    return low.max(initial=0.0), off.max(initial=0.0)
