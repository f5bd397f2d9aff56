# SPDX-License-Identifier: Apache-2.0
"""One-third-octave bands against IEC 61260-1:2014, class 1 (limits from a transcription of its table)."""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.core.spectra import OCTAVE, PowerSpectrum, third_octave_gain, third_octave_hz, third_octave_power

# Breakpoints as octave exponents, with the least and largest relative attenuation in dB; 1/2 is met on both sides.
BREAKPOINTS = [
    (0.0, -0.4, 0.4),
    (1 / 8, -0.4, 0.5),
    (1 / 4, -0.4, 0.7),
    (3 / 8, -0.4, 1.4),
    (1 / 2, 1.2, 5.3),
    (1.0, 16.6, np.inf),
    (2.0, 40.5, np.inf),
    (3.0, 60.0, np.inf),
    (4.0, 70.0, np.inf),
]


def third_octave_ratio(x: float) -> float:
    """The standard's mapping of an octave breakpoint to third-octave filters."""
    return 1 + (OCTAVE ** (1 / 6) - 1) / (OCTAVE ** (1 / 2) - 1) * (OCTAVE**x - 1)


def bands_of_sine(hz: float, rate_hz: int, seconds: float = 3.0) -> np.ndarray:
    n = np.arange(int(seconds * rate_hz))
    wave = np.sin(2 * np.pi * hz / rate_hz * n) * np.sin(np.pi * (n + 0.5) / len(n)) ** 2
    spectrum = PowerSpectrum(rate_hz, 1)
    spectrum.push(wave[None].astype(np.float32))
    # Relative to the power of the sine under its own fade.
    return third_octave_power(spectrum.hz, spectrum.result(), rate_hz) / 0.1875


def test_bands_are_the_exact_ones_below_half_the_rate():
    assert third_octave_hz(48000)[0] == pytest.approx(19.953, abs=0.001)
    assert third_octave_hz(48000)[-1] == pytest.approx(19952.623, abs=0.001)
    assert third_octave_hz(44100)[-1] == pytest.approx(15848.932, abs=0.001)
    assert third_octave_hz(96000)[-1] == pytest.approx(39810.717, abs=0.001)
    assert third_octave_hz(192000)[-1] == pytest.approx(79432.823, abs=0.001)
    assert 1000.0 in third_octave_hz(8000)


def limits_db(ratio: float) -> tuple[float, float]:
    """Least and largest relative attenuation at a frequency ratio, linear in log ratio between breakpoints."""
    places = [np.log(third_octave_ratio(x)) for x, _, _ in BREAKPOINTS]
    place = abs(np.log(ratio))
    least = np.array([low for _, low, _ in BREAKPOINTS])
    # Inside the band edges the least attenuation stays -0.4; 1.2 holds from the edge outwards.
    least[4] = -0.4 if place < places[4] else 1.2
    largest = np.inf if place >= places[4] else np.interp(place, places[:5], [high for _, _, high in BREAKPOINTS[:5]])
    return float(np.interp(place, places, least)), float(largest)


def test_class_1_of_the_band_shape_everywhere():
    for mid_hz in third_octave_hz(192000):
        for ratio in np.exp(np.linspace(-2.4, 2.4, 997)):
            least_db, largest_db = limits_db(ratio)
            gain = third_octave_gain(np.array(mid_hz * ratio), mid_hz)
            assert least_db <= -10 * np.log10(gain) <= largest_db


def check_with_sines(band: int, rate_hz: int) -> None:
    mid_hz = third_octave_hz(rate_hz)[band]
    seconds = 3.0 if mid_hz < 150 else 1.0
    reference_db = 10 * np.log10(bands_of_sine(mid_hz, rate_hz, seconds)[band])
    assert reference_db == pytest.approx(0.0, abs=0.1)
    for x, least_db, largest_db in BREAKPOINTS[1:]:
        ratio = third_octave_ratio(x)
        for hz in (mid_hz * ratio, mid_hz / ratio):
            if hz < 0.49 * rate_hz:
                power = max(bands_of_sine(hz, rate_hz, seconds)[band], 1e-30)
                assert least_db <= reference_db - 10 * np.log10(power) <= largest_db, (x, hz)


@pytest.mark.parametrize(
    ("rate_hz", "band"),
    [(48000, band) for band in (0, 1, 3, 8, 17, 24, 29, 30)]
    + [(rate_hz, band) for rate_hz in (44100, 96000, 192000) for band in (0, -1)],
)
def test_class_1_with_sines(rate_hz, band):
    check_with_sines(band, rate_hz)


@pytest.mark.slow
@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000, 192000])
def test_class_1_with_sines_in_every_band(rate_hz):
    for band in range(len(third_octave_hz(rate_hz))):
        check_with_sines(band, rate_hz)


# IEC 61260-1:2014: the sum of the outputs for a sine between band centres lies within +0.8 / -1.8 dB.
def test_outputs_sum_to_the_input():
    mids = third_octave_hz(48000)
    for hz in mids[3] * OCTAVE ** (np.arange(0, 27, 0.59) / 3):
        total_db = 10 * np.log10(bands_of_sine(hz, 48000, 1.5).sum())
        assert -1.8 < total_db < 0.8


# Effective bandwidth within 0.4 dB (the same standard): white noise has 0.2308 times the mid frequency in each band.
def test_white_noise():
    random = np.random.default_rng(1)
    noise = random.standard_normal((2, 20 * 48000)).astype(np.float32)
    spectrum = PowerSpectrum(48000, 2)
    spectrum.push(noise)
    power = spectrum.result()
    assert power.sum() == pytest.approx(np.mean(np.square(noise, dtype=np.float64)), rel=1e-5)
    bands = third_octave_power(spectrum.hz, power, 48000)
    mids = np.array(third_octave_hz(48000))
    expected = mids * (OCTAVE ** (1 / 6) - OCTAVE ** (-1 / 6)) / 24000
    assert 10 * np.log10(bands / expected)[10:] == pytest.approx(0.11, abs=0.3)


@pytest.mark.parametrize("channels", [1, 2, 5])
def test_every_sample_counts_equally(channels):
    for place in (0, 1, 40000, 65000, 99999):
        audio = np.zeros((channels, 100_000), dtype=np.float32)
        audio[:, place] = 1.0
        spectrum = PowerSpectrum(48000, channels)
        for part in np.array_split(audio, 7, axis=1):
            spectrum.push(part)
        assert spectrum.result().sum() == pytest.approx(1e-5, rel=1e-5)
