# SPDX-License-Identifier: Apache-2.0
"""Filter design against its analogue prototypes: the Audio EQ Cookbook's, and scipy.signal.butter's."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal
from hypothesis import given
from hypothesis import strategies as st

from mixwright.core.filters import (
    acts,
    design_band,
    design_high_pass,
    design_low_pass,
    memory_frames,
    moving_band,
    moving_pass,
    strip_sections,
)
from mixwright.errors import SettingError
from mixwright.model.filters import EqBand, Pass
from mixwright.model.strip import Strip
from reference import prototypes

Q = 0.5**0.5  # of a shelf of slope 1
BANDS = ["bell", "low_shelf", "high_shelf", "notch", "band_pass", "tilt"]
PASSES = {"highpass": design_high_pass, "lowpass": design_low_pass}
SLOPES = [6, 12, 18, 24, 30, 36, 42, 48]

#: What is promised, in dB: below 4 kHz, and to 16 kHz at 48 kHz, where the prototype lies above -40 dB.
CLOSE_DB, NEAR_DB = 0.05, 0.2


# Coefficients b0 b1 b2 a1 a2 at 48 kHz, worked out from the Audio EQ Cookbook's formulae (W3C Note, 2021): what its
# prototypes become by the bilinear transform. So the prototypes that all else here is held against are the Cookbook's.
@pytest.mark.parametrize(
    ("kind", "hz", "gain_db", "q", "expected"),
    [
        (
            "bell", 1000.0, 6.0, 1.0,
            [1.043953086990, -1.895320723937, 0.867722284760, -1.895320723937, 0.911675371750],
        ),
        (
            "bell", 10000.0, 6.0, 1.0,
            [1.253587270323, -0.385746800506, 0.236823917746, -0.385746800506, 0.490411188069],
        ),
        (
            "low_shelf", 100.0, 6.0, Q,
            [1.003217895737, -1.984364430777, 0.981386698749, -1.984424329139, 0.984544696124],
        ),
        (
            "high_shelf", 8000.0, 6.0, Q,
            [1.571670188571, -1.248879926747, 0.448691733076, -0.433510141577, 0.204992136478],
        ),
    ],
)  # fmt: skip
def test_prototypes_are_the_cookbooks(kind, hz, gain_db, q, expected):
    b, a = prototypes.band(kind, gain_db, q)
    bilinear_b, bilinear_a = scipy.signal.bilinear(b, a, 0.5 / np.tan(np.pi * hz / 48000.0))
    assert np.abs(np.concatenate([bilinear_b, bilinear_a[1:]]) - expected).max() < 1e-9


# Responses in dB at 48 kHz, worked out from the same formulae, where the bilinear transform has not bent them yet (to
# 2 kHz), and from the prototype above.
@pytest.mark.parametrize(
    ("section", "hz", "expected_db", "within_db"),
    [
        (design_band(EqBand(hz=1000, gain_db=6, q=1), 48000), [500, 1000, 2000], [1.883, 6.0, 1.883], 0.01),
        (design_band(EqBand(hz=10000, gain_db=6, q=1), 48000), [5000, 10000, 16000], [1.884, 6.0, 3.073], 0.12),
        (design_low_pass(Pass(hz=1000), 48000), [1000, 2000], [-3.010, -12.304], 0.01),
        (design_low_pass(Pass(hz=10000), 48000), [10000, 16000], [-3.010, -8.78], 0.03),
        (design_high_pass(Pass(hz=80), 48000), [20, 50, 100, 200], [-24.099, -8.782, -1.491, -0.110], 2e-3),
        (
            design_band(EqBand(kind="low_shelf", hz=100, gain_db=6, q=Q), 48000),
            [20, 100, 200],
            [5.990, 3.0, 0.376],
            2e-3,
        ),
    ],
)
def test_responses(section, hz, expected_db, within_db):
    assert np.abs(prototypes.digital_db(section, hz, 48000) - expected_db).max() < within_db


@pytest.mark.parametrize("kind", BANDS)
def test_bands_are_as_their_prototypes_to_16_khz(kind):
    rng = np.random.default_rng(11)
    hz = np.concatenate([np.geomspace(20.0, 16000.0, 60), np.exp(rng.uniform(np.log(20.0), np.log(16000.0), 60))])
    for one_hz in hz:
        for gain_db in (-24.0, -6.0, float(rng.uniform(-24.0, 24.0)), 3.0, 12.0):
            q = float(rng.choice([0.1, 0.4, Q, 1.0, 2.0, 6.0, 40.0, np.exp(rng.uniform(np.log(0.1), np.log(40.0)))]))
            band = EqBand(kind=kind, hz=one_hz, gain_db=gain_db, q=q)
            at = prototypes.grid(one_hz)
            low, high = prototypes.errors_db(design_band(band, 48000), prototypes.band_db(band, at), at, 48000)
            assert low < CLOSE_DB, band
            assert high < NEAR_DB, band


@pytest.mark.parametrize("slope", SLOPES)
@pytest.mark.parametrize(("kind", "design"), PASSES.items())
def test_passes_are_as_their_prototypes_to_16_khz(slope, kind, design):
    for hz in np.geomspace(20.0, 16000.0, 60):
        cut, at = Pass(hz=hz, slope_db_oct=slope), prototypes.grid(hz)
        low, high = prototypes.errors_db(design(cut, 48000), prototypes.pass_db(kind, cut, at), at, 48000)
        assert low < CLOSE_DB, cut
        assert high < NEAR_DB, cut


@pytest.mark.parametrize("slope", SLOPES)
@pytest.mark.parametrize(("hz", "rate_hz"), [(30.0, 44100), (997.0, 48000), (18.0, 192000)])
@pytest.mark.parametrize(("kind", "design"), PASSES.items())
def test_passes_have_butterworths_poles(slope, hz, rate_hz, kind, design):
    # Reference: scipy.signal.butter, analogue; a pole s goes to e^(s / rate).
    sections = design(Pass(hz=hz, slope_db_oct=slope), rate_hz)
    poles = scipy.signal.butter(slope // 6, 2.0 * np.pi * hz, kind, analog=True, output="zpk")[1]
    assert np.allclose(_poles(sections[:, 3:]), np.sort_complex(np.exp(poles / rate_hz)), atol=1e-8)
    at = np.array([hz])
    assert prototypes.digital_db(sections, at, rate_hz)[0] == pytest.approx(20 * np.log10(0.5**0.5), abs=0.02)


@pytest.mark.parametrize("kind", BANDS)
def test_settings_that_stand_still_give_the_filter_as_designed(kind):
    hz, gain_db, q = np.array([90.0, 3000.0, 12000.0]), np.array([3.0, -7.0, 12.0]), np.array([1.0, 0.5, 2.0])
    tables = moving_band(EqBand(kind=kind, hz=100.0), 48000, hz, gain_db, q)
    for k, table in enumerate(tables):
        designed = design_band(EqBand(kind=kind, hz=hz[k], gain_db=gain_db[k], q=q[k]), 48000)
        assert np.array_equal(table[: len(designed)], designed)
        assert len(designed) == 2 or np.array_equal(table[1], [1.0, 0.0, 0.0, 0.0, 0.0])
    for high, design in ((True, design_high_pass), (False, design_low_pass)):
        cut = Pass(hz=100.0, slope_db_oct=30)
        for table, one in zip(moving_pass(cut, 48000, hz, high=high), hz, strict=True):
            assert np.array_equal(table, design(Pass(hz=one, slope_db_oct=30), 48000))
    assert np.isfinite(moving_band(EqBand(kind=kind, hz=100.0), 48000, np.full(1, 1e6), gain_db[:1], q[:1])).all()


def _poles(a):
    return np.sort_complex(np.concatenate([np.roots([1.0, a1, a2]) if a2 else [-a1] for a1, a2 in a]).astype(complex))


@given(
    st.sampled_from(["bell", "low_shelf", "high_shelf", "tilt"]),
    st.floats(20.0, 20000.0),
    st.floats(0.1, 24.0),
    st.floats(0.1, 40.0),
)
def test_boost_and_cut_cancel(kind, hz, gain_db, q):
    boost = design_band(EqBand(kind=kind, hz=hz, gain_db=gain_db, q=q), 44100)
    cut = design_band(EqBand(kind=kind, hz=hz, gain_db=-gain_db, q=q), 44100)
    at = np.geomspace(20.0, 22000.0, 50)
    assert np.abs(prototypes.digital_db(np.concatenate([boost, cut]), at, 44100)).max() < 1e-6


@given(st.floats(10.0, 23999.0), st.sampled_from([6, 18, 48]), st.floats(0.1, 40.0), st.floats(-24.0, 24.0))
def test_every_filter_is_stable(hz, slope, q, gain_db):
    cut = Pass(hz=hz, slope_db_oct=slope)
    bands = tuple(EqBand(kind=kind, hz=hz, gain_db=gain_db, q=q) for kind in BANDS)
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
    for kind in ("bell", "low_shelf", "high_shelf", "tilt"):
        assert not acts(EqBand(kind=kind, hz=1000))
        assert strip_sections(Strip(eq=(EqBand(kind=kind, hz=1000),)), 48000).shape == (0, 5)
    for kind in ("notch", "band_pass"):
        assert len(strip_sections(Strip(eq=(EqBand(kind=kind, hz=1000),)), 48000))


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
