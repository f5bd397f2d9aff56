# SPDX-License-Identifier: Apache-2.0
"""At which level two channels reach two ears."""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.hearing.components import components
from mixwright.hearing.kernels import fine_steps
from mixwright.hearing.places import at_ears, calibration_db

HZ = components().hz[fine_steps().component]


def test_calibration():
    """1 kHz in one channel at -20 dBFS RMS reads -20 LUFS (ITU-R BS.1770-5): from its loudspeaker it has the level.

    On headphones both ears have what two loudspeakers add up to, 3.01 dB more.
    """
    assert calibration_db(-20.0, 79.0, "loudspeakers") - 20.0 == pytest.approx(79.0)
    assert calibration_db(-20.0, 79.0, "headphones") - 20.0 == pytest.approx(79.0 + 10.0 * np.log10(2.0), abs=0.001)


def channels(*levels):
    return tuple(np.full((3, len(HZ)), level, dtype=np.float32) for level in levels)


def test_on_headphones_each_ear_has_its_channel():
    left, right = channels(4.0, 1.0)
    assert at_ears((left, right), "headphones") == (left, right)


def test_the_far_loudspeaker_is_in_the_shadow_of_the_head():
    """In every step of a frame: the project's own table, from memory; powers add up."""
    far_db = {125.0: 0.0, 500.0: -3.0, 1000.0: -6.0, 2000.0: -6.0, 4000.0: -10.0, 8000.0: -15.0, 14000.0: -15.0}
    left, right = at_ears(channels(0.0, 1.0), "loudspeakers")
    assert np.all(right == 1.0)
    for hz, level_db in far_db.items():
        assert np.count_nonzero(hz == HZ) >= 1
        np.testing.assert_allclose(10.0 * np.log10(left[:, hz == HZ]), level_db, atol=1e-5)
    both = at_ears(channels(2.0, 1.0), "loudspeakers")
    np.testing.assert_allclose(both[0], 2.0 + left, rtol=1e-6)
    np.testing.assert_allclose(both[1], 1.0 + 2.0 * left, rtol=1e-6)


def test_what_is_alike_in_both_channels_is_one_array_for_both_ears():
    (alike,) = channels(1.0)
    left, right = at_ears((alike, alike), "loudspeakers")
    assert left is right
    np.testing.assert_array_equal(left, at_ears((alike, alike.copy()), "loudspeakers")[1])
