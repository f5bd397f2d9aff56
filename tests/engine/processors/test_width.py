# SPDX-License-Identifier: Apache-2.0
"""Width by ranges: the sum stays, and shelves go by the formula of the squared magnitude."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.processors.test_processors import RATE_HZ, phrases, run
from mixwright.engine.processors.insert import made
from mixwright.errors import SettingError
from mixwright.model.colour_inserts import Width

factors = st.floats(0.0, 2.0)


def response(insert, hz, rate_hz=RATE_HZ):
    """Return by how much a side alone, whose middle is silent, comes out at whole numbers of Hz."""
    impulse = np.zeros((rate_hz, 2))
    impulse[0] = 1.0, -1.0
    out = run(made(insert, rate_hz), impulse)
    return np.abs(np.fft.rfft(0.5 * (out[:, 0] - out[:, 1])))[hz]


@settings(max_examples=30)
@given(widths=st.lists(factors, min_size=4, max_size=4), side_db=st.floats(-24, 24))
def test_the_sum_stays(widths, side_db):
    audio = phrases(2000, 2)
    insert = Width(splits_hz=(120, 1000, 5000), widths=tuple(widths), side_db=side_db)
    out = run(made(insert, RATE_HZ), audio)
    np.testing.assert_allclose(out.sum(axis=1), audio.sum(axis=1), rtol=0, atol=1e-12)


@given(below=factors, above=factors)
@settings(max_examples=30)
def test_a_split_goes_by_the_squared_magnitude_of_a_butterworth_shelf(below, above):
    hz = np.array([20, 100, 300, 500, 700, 1000, 2000, 5000])
    found = response(Width(splits_hz=(500,), widths=(below, above)), hz)
    x8 = (np.tan(np.pi * hz / RATE_HZ) / np.tan(np.pi * 500 / RATE_HZ)) ** 8
    np.testing.assert_allclose(found, np.sqrt((below**2 + above**2 * x8) / (1 + x8)), rtol=1e-6, atol=1e-7)


def test_ranges_have_their_widths():
    insert = Width(splits_hz=(120, 1200, 9000), widths=(0.0, 1.0, 0.5, 2.0), side_db=-6)
    found = response(insert, np.array([10, 30, 380, 3300, 20000])) * 10 ** (6 / 20)
    assert found[0] < 1e-4
    assert found[1] < 0.005  # 24 dB/oct over two octaves
    np.testing.assert_allclose(found[2:], [1.0, 0.5, 2.0], rtol=0.02)


def test_nothing_changes_at_1_and_0_is_mono():
    audio = phrases(2000, 2)
    same = run(made(Width(splits_hz=(300,), widths=(1.0, 1.0)), RATE_HZ), audio)
    np.testing.assert_allclose(same, audio, rtol=0, atol=1e-15)
    mono = run(made(Width(splits_hz=(300,), widths=(0.0, 0.0)), RATE_HZ), audio)
    assert np.array_equal(mono[:, 0], mono[:, 1])


@pytest.mark.parametrize(
    ("insert", "told"),
    [
        (Width(splits_hz=(100,), widths=(1.0,)), "2 ranges, not 1"),
        (Width(splits_hz=(1000, 100), widths=(1.0, 1.0, 0.5)), "rise"),
        (Width(splits_hz=(30000,), widths=(1.0, 0.5)), "30000 Hz does not fit"),
        (Width(works_on="left"), "no width"),
    ],
)
def test_what_does_not_fit_is_told(insert, told):
    with pytest.raises(SettingError, match=told):
        made(insert, RATE_HZ)
