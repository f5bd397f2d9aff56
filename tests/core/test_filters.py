# SPDX-License-Identifier: Apache-2.0
"""Filter design against the Audio EQ Cookbook's formulae worked out, and against scipy.signal.butter."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal
from hypothesis import given
from hypothesis import strategies as st

from mixwright.core.filters import (
    design_band,
    design_high_pass,
    design_low_pass,
    memory_frames,
    strip_sections,
)
from mixwright.errors import SettingError
from mixwright.model.filters import EqBand, Pass
from mixwright.model.strip import Strip

Q = 0.5**0.5  # of a shelf of slope 1


def response_db(sections, hz, rate_hz):
    """Return the gain in dB at frequencies in Hz, by scipy.signal; -inf where nothing passes."""
    sos = np.insert(sections, 3, 1.0, axis=1)
    with np.errstate(divide="ignore"):
        return 20 * np.log10(np.abs(scipy.signal.sosfreqz(sos, worN=np.atleast_1d(hz), fs=rate_hz)[1]))


# Coefficients b0 b1 b2 a1 a2 at 48 kHz, worked out from the formulae of the Audio EQ Cookbook (W3C Note, 2021).
@pytest.mark.parametrize(
    ("section", "expected"),
    [
        (
            design_band(EqBand(hz=1000, gain_db=6, q=1), 48000),
            [1.043953086990, -1.895320723937, 0.867722284760, -1.895320723937, 0.911675371750],
        ),
        (
            design_band(EqBand(hz=10000, gain_db=6, q=1), 48000),
            [1.253587270323, -0.385746800506, 0.236823917746, -0.385746800506, 0.490411188069],
        ),
        (
            design_low_pass(Pass(hz=1000), 48000),
            [0.003916126661, 0.007832253321, 0.003916126661, -1.815341082705, 0.831005589347],
        ),
        (
            design_high_pass(Pass(hz=80), 48000),
            [0.992622542756, -1.985245085512, 0.992622542756, -1.985190657896, 0.985299513128],
        ),
        (
            design_band(EqBand(kind="low_shelf", hz=100, gain_db=6, q=Q), 48000),
            [1.003217895737, -1.984364430777, 0.981386698749, -1.984424329139, 0.984544696124],
        ),
        (
            design_band(EqBand(kind="high_shelf", hz=8000, gain_db=6, q=Q), 48000),
            [1.571670188571, -1.248879926747, 0.448691733076, -0.433510141577, 0.204992136478],
        ),
    ],
)
def test_coefficients(section, expected):
    assert section.shape == (1, 5)
    assert np.abs(section[0] - expected).max() < 1e-9


@pytest.mark.parametrize(
    ("section", "hz", "expected_db"),
    [
        (design_band(EqBand(hz=1000, gain_db=6, q=1), 48000), [500, 1000, 2000, 10000], [1.879, 6.0, 1.866, 0.048]),
        (design_low_pass(Pass(hz=1000), 48000), [1000, 2000, 10000], [-3.010, -12.375, -42.738]),
        (design_high_pass(Pass(hz=80), 48000), [20, 50, 100, 200], [-24.099, -8.782, -1.491, -0.110]),
        (design_band(EqBand(kind="low_shelf", hz=100, gain_db=6, q=Q), 48000), [20, 100, 200], [5.990, 3.0, 0.376]),
        (
            design_band(EqBand(kind="high_shelf", hz=8000, gain_db=6, q=Q), 48000),
            [5000, 8000, 12000, 20000],
            [0.676, 3.0, 5.366, 5.996],
        ),
    ],
)
def test_responses(section, hz, expected_db):
    assert np.abs(response_db(section, hz, 48000) - expected_db).max() < 6e-4


@pytest.mark.parametrize("slope", [6, 12, 18, 24, 30, 36, 42, 48])
@pytest.mark.parametrize(("hz", "rate_hz"), [(30.0, 44100), (997.0, 48000), (15000.0, 48000), (18.0, 192000)])
@pytest.mark.parametrize(("kind", "design"), [("highpass", design_high_pass), ("lowpass", design_low_pass)])
def test_passes_equal_scipys_butterworth(slope, hz, rate_hz, kind, design):
    # Reference: scipy.signal.butter, second-order sections; poles and responses.
    sections = design(Pass(hz=hz, slope_db_oct=slope), rate_hz)
    theirs = scipy.signal.butter(slope // 6, hz, kind, fs=rate_hz, output="sos")
    assert np.allclose(_poles(sections[:, 3:]), _poles(theirs[:, 4:]), atol=1e-8)
    at = np.geomspace(10.0, 0.49 * rate_hz, 200)
    _, response = scipy.signal.sosfreqz(theirs, at, fs=rate_hz)
    expected = 20.0 * np.log10(np.maximum(np.abs(response), 1e-12))
    heard = expected > -200.0
    assert np.abs(response_db(sections, at, rate_hz) - expected)[heard].max() < 2e-5
    assert response_db(sections, hz, rate_hz) == pytest.approx(20 * np.log10(0.5**0.5), abs=1e-7)


def _poles(a):
    return np.sort_complex(np.concatenate([np.roots([1.0, a1, a2]) if a2 else [-a1] for a1, a2 in a]).astype(complex))


@given(
    st.sampled_from(["bell", "low_shelf", "high_shelf"]),
    st.floats(20.0, 20000.0),
    st.floats(0.1, 24.0),
    st.floats(0.1, 40.0),
)
def test_boost_and_cut_cancel(kind, hz, gain_db, q):
    boost = design_band(EqBand(kind=kind, hz=hz, gain_db=gain_db, q=q), 44100)
    cut = design_band(EqBand(kind=kind, hz=hz, gain_db=-gain_db, q=q), 44100)
    at = np.geomspace(20.0, 22000.0, 50)
    assert np.abs(response_db(np.concatenate([boost, cut]), at, 44100)).max() < 1e-6


@given(st.floats(10.0, 23999.0), st.sampled_from([6, 18, 48]), st.floats(0.1, 40.0), st.floats(-24.0, 24.0))
def test_every_filter_is_stable(hz, slope, q, gain_db):
    cut = Pass(hz=hz, slope_db_oct=slope)
    bands = tuple(EqBand(kind=kind, hz=hz, gain_db=gain_db, q=q) for kind in ("bell", "low_shelf", "high_shelf"))
    sections = strip_sections(Strip(high_pass=cut, low_pass=cut, eq=bands), 48000)
    assert np.isfinite(sections).all()
    # Stability triangle of a second-order section
    assert (np.abs(sections[:, 4]) < 1.0).all()
    assert (np.abs(sections[:, 3]) < 1.0 + sections[:, 4] + 1e-12).all()


@pytest.mark.parametrize("hz", [24000.0, 30000.0])
def test_a_frequency_above_half_the_rate_is_refused(hz):
    for strip in (Strip(high_pass=Pass(hz=hz)), Strip(low_pass=Pass(hz=hz)), Strip(eq=(EqBand(hz=hz, gain_db=1),))):
        with pytest.raises(SettingError, match=r"does not fit a song of 48000 Hz; set it below 24000 Hz"):
            strip_sections(strip, 48000)


def test_a_band_at_0_db_is_left_out():
    assert strip_sections(Strip(eq=(EqBand(hz=1000, gain_db=0),)), 48000).shape == (0, 5)


@pytest.mark.parametrize(
    "strip",
    [
        Strip(high_pass=Pass(hz=30, slope_db_oct=48)),
        Strip(low_pass=Pass(hz=8000, slope_db_oct=6)),
        Strip(eq=(EqBand(hz=200, gain_db=12, q=10),)),
    ],
)
def test_memory_covers_the_ringing(strip):
    sections = strip_sections(strip, 48000)
    impulse = np.zeros(5 * 48000)
    impulse[0] = 1.0
    # Reference: scipy.signal.sosfilt
    rung = np.abs(scipy.signal.sosfilt(np.insert(sections, 3, 1.0, axis=1), impulse))
    assert rung[memory_frames(sections, 48000) :].max(initial=0.0) < 1e-8 * rung.max()
    assert memory_frames(np.empty((0, 5)), 48000) == 0
