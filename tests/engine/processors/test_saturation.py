# SPDX-License-Identifier: Apache-2.0
"""Saturation against Fourier series of its curves, which numpy integrates, and the bounds of the desk."""

from __future__ import annotations

import numpy as np
import pytest

from engine.processors.examples_colour import curve
from engine.processors.test_processors import RATE_HZ, run
from mixwright.engine.chain import Chain
from mixwright.engine.inserts import Clock, insert_operations
from mixwright.engine.lanes import FrameLane
from mixwright.engine.processors.insert import made
from mixwright.model.colour_inserts import Saturation

LATE = 69


def tone(hz, db, seconds=2.0):
    n = np.arange(int(seconds * RATE_HZ))
    return (10.0 ** (db / 20.0) * np.sin(2.0 * np.pi * hz / RATE_HZ * n + 0.3))[:, np.newaxis]


def steady(insert, audio):
    """Return the last second of what comes out."""
    return run(made(insert, RATE_HZ), audio)[-RATE_HZ:, 0]


def spectrum(x):
    """Return amplitudes by whole Hz."""
    return np.abs(np.fft.rfft(x)) / (len(x) / 2)


@pytest.mark.parametrize("bias", [0.0, 0.5])
def test_nothing_but_harmonics(bias):
    """Of 5 kHz at 0 dBFS, 12 dB up a smooth curve, 4x: whatever is no harmonic below -90 dB (issue of the desk)."""
    found = spectrum(steady(Saturation(drive_db=12, bias=bias), tone(5000, 0)))
    found[::5000] = 0.0
    assert 20 * np.log10(found.max()) < -120.0


@pytest.mark.parametrize("bias", [0.0, 0.7])
@pytest.mark.parametrize("kind", ["smooth", "gentle", "hard"])
def test_harmonics_are_those_of_the_curve(kind, bias):
    insert = Saturation(curve=kind, drive_db=12, bias=bias)
    found = spectrum(steady(insert, tone(1000, -3)))
    phase = 2.0 * np.pi * np.arange(4096) / 4096
    series = np.abs(np.fft.rfft(curve(insert, 10 ** (-3 / 20) * np.sin(phase)))) / 2048
    level = made(insert, RATE_HZ)[0].coefficients[2]
    wanted = level * series[1:20]
    assert (wanted[1::2].max() > 1e-3) == (bias > 0)  # even ones
    np.testing.assert_allclose(found[1000:20000:1000], wanted, rtol=2e-3, atol=3e-5)
    assert found[0] < 1e-4  # no constant


@pytest.mark.parametrize("kind", ["smooth", "gentle", "hard"])
@pytest.mark.parametrize("drive_db", [-12, 0, 12, 24])
@pytest.mark.parametrize("bias", [0.0, 1.0])
def test_a_sine_of_minus_12_db_stays_as_loud(kind, drive_db, bias):
    audio = tone(300, -12)
    out = steady(Saturation(curve=kind, drive_db=drive_db, bias=bias, oversampling=8), audio)
    assert abs(20 * np.log10(np.std(out) / np.std(audio[-RATE_HZ:]))) < 0.02


def test_what_is_small_passes_unchanged_up_to_half_the_rate():
    audio = tone(23000, -140)
    insert = Saturation(drive_db=12)
    out = run(made(insert, RATE_HZ), audio)
    level = made(insert, RATE_HZ)[0].coefficients[2]
    np.testing.assert_allclose(out[LATE:], level * audio[:-LATE], rtol=0, atol=1e-6 * 1e-7)


def test_its_gains_stay_between_0_and_1_without_a_bias():
    operations = made(Saturation(drive_db=24, curve="hard"), RATE_HZ)
    audio = np.random.default_rng(1).normal(0.0, 1.0, (20000, 2))
    gains = np.empty((20000, Chain(operations, 2).gains), dtype=np.float32)
    run(operations, audio, gains=gains)
    assert gains.shape[1] == 8
    assert 0.0 < gains.min() < 0.05
    assert gains.max() == 1.0


@pytest.mark.parametrize("kind", ["smooth", "gentle", "hard"])
def test_a_bias_that_moves_leaves_what_is_small_alone(kind):
    """What follows from the bias fits it all the way: a constant left over would be a large gain of what is small."""
    lane = FrameLane(((0, 0.0), (2000, 1.0)))
    insert = Saturation(curve=kind, drive_db=0)
    (operations,) = insert_operations([insert], Clock(0, RATE_HZ), {}, {"inserts[0].bias": lane}, ["here"])
    audio = 1e-5 * np.random.default_rng(1).uniform(-1.0, 1.0, (3000, 1))
    gains = np.empty((3000, Chain(operations, 1).gains), dtype=np.float32)
    run(operations, audio, gains=gains)
    assert np.abs(gains - 1.0).max() < 1e-4
