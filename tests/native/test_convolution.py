# SPDX-License-Identifier: Apache-2.0
"""The core's Fourier transform and long filters, against numpy."""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.native import convolution


@pytest.mark.parametrize("n", [4, 8, 16, 128, 512, 4096, 65536])
def test_transform_is_numpys(n):
    x = np.random.default_rng(n).standard_normal(n)
    theirs = np.fft.rfft(x)
    ours = convolution.transformed(x)
    assert np.abs(ours[:2] - theirs[[0, -1]].real).max() < 1e-13 * n
    assert np.abs(ours[2::2] + 1j * ours[3::2] - theirs[1:-1]).max() < 1e-13 * n
    assert np.abs(convolution.transformed(ours, inverse=True) - x).max() < 1e-14 * np.log2(n)


def test_taps_are_symmetric_and_have_the_magnitude_of_the_sections():
    section = np.array([[0.2, 0.1, 0.05, -0.9, 0.4]])
    taps = convolution.linear_taps(section, 256)
    assert taps[0] == 0.0
    assert np.array_equal(taps[1:256], taps[:256:-1])
    z = np.exp(-2j * np.pi * np.fft.rfftfreq(512))
    wanted = np.abs((0.2 + 0.1 * z + 0.05 * z**2) / (1.0 - 0.9 * z + 0.4 * z**2))
    assert np.abs(np.abs(np.fft.rfft(taps)) - wanted).max() < 1e-12
