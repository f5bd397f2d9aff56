# SPDX-License-Identifier: Apache-2.0
"""Harmonics of basses and the low end, measured by tones."""

from __future__ import annotations

import numpy as np
import pytest

from engine.processors.examples_colour import BentLike, curve
from engine.processors.test_processors import RATE_HZ, run
from mixwright.engine.chain import Chain
from mixwright.engine.processors.insert import made
from mixwright.errors import SettingError
from mixwright.model.colour_inserts import BassHarmonics, LowEnd


def tone(hz, db, seconds=3.0):
    n = np.arange(int(seconds * RATE_HZ))
    return (10.0 ** (db / 20.0) * np.sin(2.0 * np.pi * hz / RATE_HZ * n))[:, np.newaxis]


def db_by_hz(x):
    """Return amplitudes of the last second in dBFS by whole Hz."""
    return 20.0 * np.log10(np.abs(np.fft.rfft(x[-RATE_HZ:, 0])) / (RATE_HZ / 2) + 1e-20)


@pytest.mark.parametrize("bias", [0.0, 0.5, 1.0])
def test_harmonics_are_as_loud_as_set(bias):
    """Of 69 Hz, in the middle of a range up to 70 Hz whose filters then hardly touch them."""
    insert = BassHarmonics(low_hz=20, high_hz=69 * 1.3, level_db=-9, bias=bias)
    added = run(made(insert, RATE_HZ), tone(69, -12)) - tone(69, -12)
    found = 10.0 ** (db_by_hz(added)[2 * 69 : 12 * 69 : 69] / 20.0)
    # Reference: Fourier coefficients of the curve by numpy, and the gain of Butterworth filters at each harmonic.
    u = 10.0 ** (-12 / 20) * np.sin(2.0 * np.pi * np.arange(4096) / 4096)
    series = np.abs(np.fft.rfft(curve(BentLike(insert), u)))[2:1000] / 2048
    wanted = series / np.sqrt(np.sum(series**2)) * 10.0 ** ((-9 - 12) / 20.0)
    hz = 69.0 * np.arange(2, 12)
    passed = (1 + (insert.high_hz / hz) ** 8) ** -0.5 * (1 + (hz / (8 * insert.high_hz)) ** 4) ** -0.5
    # The range's own filters lower the tone by less than 0.4 dB, and bend that much less of it.
    np.testing.assert_allclose(found, wanted[:10] * passed, rtol=0.2, atol=1e-4)


def test_nothing_but_the_range_is_bent():
    """60 Hz beside a louder 1 kHz: what stands at no multiple of 60 Hz but 1 kHz stays 100 dB down."""
    audio = tone(60, -12) + tone(1000, -6)
    found = db_by_hz(run(made(BassHarmonics(level_db=0, drive_db=24), RATE_HZ), audio))
    assert abs(found[1000] + 6.0) < 0.01
    assert found[180] > -40.0
    found[::60] = -200.0
    found[1000] = -200.0
    assert found.max() < -100.0


def test_what_is_added_lies_above_the_range():
    audio = tone(50, -12)
    added = db_by_hz(run(made(BassHarmonics(high_hz=150, level_db=0), RATE_HZ), audio) - audio)
    assert added[50] < added[200] - 20.0
    assert added[3000:].max() < added[200] - 40.0


def test_an_empty_range_is_told():
    with pytest.raises(SettingError, match="low_hz"):
        made(BassHarmonics(low_hz=150, high_hz=100), RATE_HZ)


@pytest.mark.parametrize(
    ("rms_db", "wanted_db"),
    [(-40.0, 3.0), (-31.0, 1.0), (-30.0, 0.0), (-28.5, -1.5), (-20.0, -4.0), (-51.0, 0.0)],
)
def test_low_end_goes_to_its_target_within_limits(rms_db, wanted_db):
    """40 Hz below a crossover at 160 Hz, whose LR4 low-pass takes 0.03 dB."""
    audio = tone(40, rms_db + 3.0103)
    insert = LowEnd(target_db=-30, hz=160, raise_db=3, lower_db=4, floor_db=-50)
    gains = np.empty((len(audio), 2), dtype=np.float32)
    run(made(insert, RATE_HZ), audio, gains=gains)
    assert abs(20.0 * np.log10(gains[-RATE_HZ:, 0].mean()) - wanted_db) < 0.06


def test_low_end_leaves_what_is_above():
    audio = tone(40, -10) + tone(2000, -10)
    found = db_by_hz(run(made(LowEnd(target_db=-30, lower_db=6), RATE_HZ), audio))
    assert abs(found[2000] + 10.0) < 0.001
    assert abs(found[40] + 16.0) < 0.4


def test_low_end_at_rest_is_flat():
    impulse = np.zeros((RATE_HZ, 1))
    impulse[0] = 1.0
    insert = LowEnd(target_db=-30, raise_db=0, lower_db=0)
    assert Chain(made(insert, RATE_HZ), 1).latency_frames == 0
    response = np.abs(np.fft.rfft(run(made(insert, RATE_HZ), impulse)[:, 0]))
    assert np.abs(20.0 * np.log10(response)).max() < 1e-6


def test_shelf_and_dip():
    impulse = np.zeros((RATE_HZ, 1))
    impulse[0] = 1e-6
    insert = LowEnd(target_db=-30, hz=80, shelf_db=4, dip_db=5)
    response = db_by_hz(np.concatenate([run(made(insert, RATE_HZ), impulse)])) + 20 * np.log10(RATE_HZ / 2 / 1e-6)
    assert response[10] == pytest.approx(4.0, abs=0.2)
    assert response[20:80].max() > 4.3  # resonant
    assert response[160] == pytest.approx(-5.6, abs=0.6)
    assert response[2000] == pytest.approx(0.0, abs=0.05)
