# SPDX-License-Identifier: Apache-2.0
"""Loudness against ITU-R BS.1770-5, EBU Tech 3341 and 3342, and libebur128."""

from __future__ import annotations

import numpy as np
import pyebur128
import pytest

from mixwright.errors import SettingError
from mixwright.meter.loudness import Loudness, channel_weights, k_weighting, sub_block_edge
from mixwright.meter.measure import Meter, measure
from reference.ebu_signals import tone
from reference.sub_block_sums import sub_block_sums

RATES_HZ = (44100, 48000, 96000, 192000)


def loudness_of(audio: np.ndarray, rate_hz: int) -> Loudness:
    meter = Meter(rate_hz, audio.shape[1], spectrum=False, true_peak=False)
    meter.push(audio)
    return meter.loudness()


def libebur128_lufs(audio: np.ndarray, rate_hz: int) -> float:
    """Integrated loudness in list mode (every block is kept)."""
    state = pyebur128.R128State(audio.shape[1], rate_hz, pyebur128.MeasurementMode.MODE_I)
    state.add_frames(np.ascontiguousarray(audio).ravel(), len(audio))
    return float(pyebur128.get_loudness_global(state))


# ITU-R BS.1770-5, Annex 1, tables 1 and 2.
def test_coefficients_at_48_khz_are_those_of_the_standard():
    shelf = (1.53512485958697, -2.69169618940638, 1.19839281085285, -1.69065929318241, 0.73248077421585)
    high_pass = (-1.99004745483398, 0.99007225036621)
    expected = (*shelf, *high_pass)
    assert k_weighting(48000) == pytest.approx(expected, abs=1e-13)


# Gain of the standard's two filters at 48 kHz, computed from its coefficients, dB.
K_TABLE_DB = {
    20: -13.275, 25: -10.393, 31.5: -7.790, 40: -5.567, 50: -3.934, 63: -2.664, 80: -1.732, 100: -1.133,
    125: -0.728, 160: -0.435, 200: -0.265, 250: -0.153, 315: -0.075, 400: -0.015, 500: 0.042, 630: 0.134,
    800: 0.328, 997: 0.691, 1000: 0.698, 1250: 1.342, 1600: 2.290, 2000: 3.071, 2500: 3.580, 3150: 3.848,
    4000: 3.968, 5000: 4.013, 8000: 4.039, 10000: 4.042, 16000: 4.043,
}  # fmt: skip


@pytest.mark.parametrize("rate_hz", [8000, 44100, 48000, 96000, 192000, 384000])
def test_k_weighting_is_the_same_curve_at_every_rate(rate_hz):
    b0, b1, b2, a1, a2, c1, c2 = k_weighting(rate_hz)
    for hz, expected_db in K_TABLE_DB.items():
        if hz > 0.23 * rate_hz:
            continue
        z = np.exp(-2j * np.pi * hz / rate_hz)
        shelf = (b0 + b1 * z + b2 * z * z) / (1 + a1 * z + a2 * z * z)
        high_pass = (1 - 2 * z + z * z) / (1 + c1 * z + c2 * z * z)
        # The unnormalised numerator shifts the level with the rate; the bilinear transform bends the top of low rates.
        tolerance_db = 0.001 if rate_hz == 48000 else 0.05 if rate_hz > 40000 else 0.35
        assert 20 * np.log10(abs(shelf * high_pass)) == pytest.approx(expected_db, abs=tolerance_db)


def test_kernel_equals_its_slow_twin():
    audio = np.random.default_rng(1).standard_normal((3000, 3)).astype(np.float32)
    audio[500:2500] = 0.0
    meter = Meter(44100, 3, spectrum=False)
    meter.push(audio)
    meter.loudness()
    edges = [sub_block_edge(k, 44100) for k in range(7)] + [3000]
    expected = sub_block_sums(audio, edges, k_weighting(44100))
    assert meter._all_sums() == pytest.approx(expected, rel=1e-9, abs=1e-12)


# EBU Tech 3341, table 1, signals 1 to 6: integrated loudness -23 (2: -33) LUFS within 0.1 LU.
@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(
    ("number", "segments"),
    [
        (1, [(20, -23)]),
        (2, [(20, -33)]),
        (3, [(10, -36), (60, -23), (10, -36)]),
        (4, [(10, -72), (10, -36), (60, -23), (10, -36), (10, -72)]),
        (5, [(20, -26), (20.1, -20), (20, -26)]),
    ],
)
def test_tech_3341_integrated(number, segments, rate_hz):
    expected = -33.0 if number == 2 else -23.0
    loudness = loudness_of(tone(rate_hz, segments), rate_hz)
    assert loudness.integrated_lufs() == pytest.approx(expected, abs=0.1)
    if number <= 2:
        assert loudness.momentary_lufs() == pytest.approx(expected, abs=0.1)
        assert loudness.short_term_lufs() == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_tech_3341_number_6_surround(rate_hz):
    levels_db = (-28, -28, -24, -30, -30)
    audio = np.concatenate([tone(rate_hz, [(20, level_db)], 1) for level_db in levels_db], axis=1)
    assert loudness_of(audio, rate_hz).integrated_lufs() == pytest.approx(-23.0, abs=0.1)
    with_lfe = np.insert(audio, 3, 0.5, axis=1)
    assert loudness_of(with_lfe, rate_hz).integrated_lufs() == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_tech_3341_numbers_9_and_12_are_steady(rate_hz):
    short_term = loudness_of(tone(rate_hz, [(1.34, -20), (1.66, -30)] * 5), rate_hz).short_term_lufs()
    assert short_term == pytest.approx(-23.0, abs=0.1)
    momentary = loudness_of(tone(rate_hz, [(0.18, -20), (0.22, -30)] * 25), rate_hz).momentary_lufs()
    assert momentary[60:] == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_tech_3341_numbers_10_and_13_at_any_start(rate_hz):
    for i in range(20):
        late = loudness_of(tone(rate_hz, [(i * 0.15, None), (3, -23), (1, None)]), rate_hz)
        assert late.short_term_lufs().max() == pytest.approx(-23.0, abs=0.1)
        late = loudness_of(tone(rate_hz, [(i * 0.02, None), (0.4, -23), (1, None)]), rate_hz)
        assert late.momentary_lufs().max() == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_tech_3341_numbers_11_and_14_successive_maxima(rate_hz):
    live = [part for i in range(20) for part in ((i * 0.15, None), (3, -38 + i), (3 - i * 0.15, None))]
    short_term = loudness_of(tone(rate_hz, live), rate_hz).short_term_lufs()
    live = [part for i in range(20) for part in ((i * 0.02, None), (0.4, -38 + i), (0.4 - i * 0.02, None))]
    momentary = loudness_of(tone(rate_hz, live), rate_hz).momentary_lufs()
    for i in range(20):
        assert short_term[: 600 * (i + 1) - 299].max() == pytest.approx(-38 + i, abs=0.1)
        assert momentary[: 80 * (i + 1) - 39].max() == pytest.approx(-38 + i, abs=0.1)


# EBU Tech 3342, signals 1 to 4, within 1 LU (0.1 LU is our own goal).
@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(
    ("levels_db", "expected_lu"),
    [((-20, -30), 10), ((-20, -15), 5), ((-40, -20), 20), ((-50, -35, -20, -35, -50), 15)],
)
def test_tech_3342(levels_db, expected_lu, rate_hz):
    audio = tone(rate_hz, [(20, level_db) for level_db in levels_db])
    assert loudness_of(audio, rate_hz).loudness_range_lu() == pytest.approx(expected_lu, abs=0.1)


def test_loudness_range_does_not_hang_on_the_hop():
    random = np.random.default_rng(20)
    gains = np.repeat(10 ** (random.uniform(-40, -10, 60) / 20), 2 * 48000)
    noise = (random.standard_normal(len(gains)) * gains * 0.3).astype(np.float32)
    loudness = loudness_of(noise[:, None], 48000)
    assert loudness.loudness_range_lu(hop_sub_blocks=1) == pytest.approx(loudness.loudness_range_lu(), abs=0.1)


@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000, 192000])
def test_integrated_agrees_with_libebur128_on_noise(rate_hz):
    random = np.random.default_rng(3)
    gains = np.repeat(10 ** (random.uniform(-60, 0, 40) / 20), rate_hz // 4)
    noise = random.standard_normal((len(gains), 2)) * gains[:, None] * 0.2
    # Brown-ish noise in one channel, so that the high-pass matters.
    noise[:, 1] = np.cumsum(noise[:, 1]) * 0.01
    audio = noise.astype(np.float32)
    expected = libebur128_lufs(audio, rate_hz)
    assert measure(audio, rate_hz, spectrum=False).integrated_lufs == pytest.approx(expected, abs=0.002)


@pytest.mark.parametrize("hz", [25, 100, 500, 997, 2000, 10000])
def test_integrated_agrees_with_libebur128_on_tones(hz):
    wave = 0.2 * np.sin(2 * np.pi * hz * np.arange(3 * 44100) / 44100)
    audio = np.stack((wave, 0.5 * wave), axis=1).astype(np.float32)
    expected = libebur128_lufs(audio, 44100)
    assert measure(audio, 44100, spectrum=False).integrated_lufs == pytest.approx(expected, abs=0.002)


# ITU-R BS.1770-5: a 997 Hz sine at full scale in one front channel reads -3.01 LKFS.
def test_full_scale_sine_in_one_channel_and_dual_mono():
    wave = np.sin(2 * np.pi * 997 * np.arange(5 * 48000) / 48000).astype(np.float32)
    assert measure(wave, 48000, spectrum=False).integrated_lufs == pytest.approx(-3.01, abs=0.005)
    assert measure(wave, 48000, spectrum=False, dual_mono=True).integrated_lufs == pytest.approx(0.0, abs=0.005)
    both = np.stack((wave, wave), axis=1)
    assert measure(both, 48000, spectrum=False).integrated_lufs == pytest.approx(0.0, abs=0.005)


def test_any_section_without_a_second_pass():
    random = np.random.default_rng(5)
    audio = (random.standard_normal((9 * 48000, 2)) * 0.1).astype(np.float32)
    audio[3 * 48000 : 6 * 48000] *= 0.1
    loudness = loudness_of(audio, 48000)
    for start_s, end_s in ((0.0, 3.0), (3.1, 6.0), (6.0, 9.0), (2.0, 7.0)):
        part = audio[round(start_s * 48000) : round(end_s * 48000)]
        expected = libebur128_lufs(part, 48000)
        assert loudness.integrated_lufs(start_s, end_s) == pytest.approx(expected, abs=0.02)
    assert loudness.integrated_lufs(1.0, 1.39) is None
    assert loudness.integrated_lufs(20.0, 30.0) is None
    assert loudness.integrated_lufs() == pytest.approx(libebur128_lufs(audio, 48000), abs=0.002)


def test_active_seconds_and_short_or_silent_audio():
    audio = tone(48000, [(2, None), (1.5, -30), (2, None)])
    loudness = loudness_of(audio, 48000)
    assert loudness.active_s() == pytest.approx(1.5, abs=0.1)
    assert loudness.active_s(0.0, 1.9) == 0.0
    assert loudness_of(tone(48000, [(0.39, -20)]), 48000).integrated_lufs() is None
    assert loudness_of(tone(48000, [(5, None)]), 48000).integrated_lufs() is None
    assert loudness_of(tone(48000, [(2.9, -20)]), 48000).loudness_range_lu() is None


def test_sub_blocks_of_rates_that_100_does_not_divide():
    edges = [sub_block_edge(k, 11025) for k in range(101)]
    assert edges[-1] == 11025
    assert set(np.diff(edges)) == {110, 111}
    audio = tone(48000, [(3, -23)])[: 3 * 11025]
    wave = 10 ** (-23 / 20) * np.sin(2 * np.pi * 1000 * np.arange(3 * 11025) / 11025)
    audio = np.stack((wave, wave), axis=1).astype(np.float32)
    assert measure(audio, 11025).integrated_lufs == pytest.approx(libebur128_lufs(audio, 11025), abs=0.005)


def test_too_many_channels_are_refused():
    with pytest.raises(SettingError, match="7 channels"):
        channel_weights(7)
