# SPDX-License-Identifier: Apache-2.0
"""The whole meter: streaming, figures that follow from arithmetic, and what is not defined."""

from __future__ import annotations

import os
import subprocess
import sys

import msgspec
import numpy as np
import pytest

from mixwright.errors import InputError, SettingError
from mixwright.meter.measure import Meter, measure
from mixwright.native.library import library_path


def song(seconds: float = 4.3, rate_hz: int = 48000) -> np.ndarray:
    random = np.random.default_rng(7)
    n = np.arange(int(seconds * rate_hz))
    beat = np.exp(-(n % (rate_hz // 2)) / (0.1 * rate_hz))
    left = 0.4 * np.sin(2 * np.pi * 110 * n / rate_hz) * beat + 0.05 * random.standard_normal(len(n))
    right = 0.3 * np.sin(2 * np.pi * 220 * n / rate_hz) + 0.05 * random.standard_normal(len(n))
    return np.stack((left, right), axis=1).astype(np.float32)


@pytest.mark.parametrize("block_frames", [17, 480, 47999, 48001, 100_000])
def test_the_same_bits_for_any_block_size(block_frames):
    audio = song()
    meter = Meter(48000, 2)
    for at in range(0, len(audio), block_frames):
        meter.push(audio[at : at + block_frames])
    assert meter.result() == measure(audio, 48000)


def test_the_same_bits_frame_by_frame_and_for_doubles():
    audio = song(1.2, 8000)
    meter = Meter(8000, 2)
    for frame in range(len(audio)):
        meter.push(audio[frame : frame + 1])
    expected = measure(audio, 8000)
    assert meter.result() == expected
    assert measure(audio.astype(np.float64), 8000) == expected
    assert measure(np.asfortranarray(audio), 8000) == expected


# A sine of -20 dBFS peak: RMS -23.01 dBFS, crest 3.01 dB, integrated -20 LUFS at 997 Hz in both channels (arithmetic).
def test_a_sine_in_both_channels():
    wave = 0.1 * np.sin(2 * np.pi * 997 * np.arange(20 * 48000) / 48000)
    levels = measure(np.stack((wave, wave), axis=1), 48000)
    assert levels.duration_s == 20.0
    assert levels.sample_peak_dbfs == pytest.approx(-20.0, abs=0.001)
    assert levels.true_peak_dbtp == pytest.approx(-20.0, abs=0.01)
    assert levels.rms_dbfs == pytest.approx(-23.0103, abs=0.001)
    assert levels.crest_db == pytest.approx(3.0103, abs=0.002)
    assert levels.integrated_lufs == pytest.approx(-20.0, abs=0.01)
    assert levels.plr_db == pytest.approx(0.0, abs=0.02)
    assert levels.psr_min_db == pytest.approx(0.0, abs=0.02)
    assert levels.loudness_range_lu == pytest.approx(0.0, abs=0.01)
    assert levels.correlation == pytest.approx(1.0)
    assert levels.side_to_mid_db is None
    assert levels.dc_dbfs < -150


# Correlation r between equal powers: side over mid is (1 - r) / (1 + r) (arithmetic).
@pytest.mark.parametrize(
    ("r", "side_to_mid_db"), [(0.9, -12.79), (0.5, -4.77), (0.0, 0.0), (-0.5, 4.77), (-0.9, 12.79)]
)
def test_correlation_and_side(r, side_to_mid_db):
    cycle = 2 * np.pi * np.arange(48000) / 48
    left, other = np.sin(cycle), np.cos(cycle)
    levels = measure(np.stack((left, r * left + np.sqrt(1 - r * r) * other), axis=1), 48000, spectrum=False)
    assert levels.correlation == pytest.approx(r, abs=1e-6)
    assert levels.side_to_mid_db == pytest.approx(side_to_mid_db, abs=0.005)


def test_psr_is_that_of_the_densest_three_seconds():
    cycle = np.sin(2 * np.pi * 997 * np.arange(12 * 48000) / 48000)
    quiet = 0.1 * cycle
    quiet[::4800] = 0.5
    quiet[5 * 48000 : 9 * 48000] = 0.4 * cycle[: 4 * 48000]
    levels = measure(np.stack((quiet, quiet), axis=1), 48000, spectrum=False)
    assert levels.psr_min_db == pytest.approx(0.0, abs=0.05)
    assert levels.plr_db > 4


# A partial cycle of 31 Hz beside an offset of -60 dBFS; the Hann-weighted mean reads the offset alone.
def test_dc_beside_a_partial_cycle():
    wave = 0.3 * np.sin(2 * np.pi * 31 * np.arange(int(2.017 * 44100)) / 44100) + 0.001
    assert measure(wave, 44100, spectrum=False).dc_dbfs == pytest.approx(-60.0, abs=0.05)


def figures(levels) -> dict[str, object]:
    return {name: value for name, value in msgspec.structs.asdict(levels).items() if name != "duration_s"}


@pytest.mark.parametrize("frames", [0, 1, 7, 479, 480, 8000, 48000 * 4])
def test_silence_and_nothing_have_no_levels(frames):
    levels = measure(np.zeros((frames, 2), dtype=np.float32), 48000)
    bands = levels.third_octave_db
    assert all(value is None for name, value in figures(levels).items() if not name.startswith("third"))
    assert all(band is None for band in bands)


@pytest.mark.parametrize("frames", [1, 7, 479, 480, 5000, 19199, 19200])
@pytest.mark.parametrize("channels", [1, 2, 3, 6])
def test_short_audio_has_finite_levels(frames, channels):
    audio = np.random.default_rng(frames).uniform(-1, 1, (frames, channels))
    levels = measure(audio, 48000)
    values = [value for value in figures(levels).values() if isinstance(value, float)]
    assert np.isfinite(values).all()
    assert levels.sample_peak_dbfs == pytest.approx(20 * np.log10(np.abs(audio).max()), abs=1e-4)
    assert (levels.integrated_lufs is None) == (frames < 19200)
    assert levels.true_peak_dbtp >= levels.sample_peak_dbfs


def test_tiny_and_huge_samples_stay_finite():
    for scale in (1e-38, 1e-30, 9e29):
        levels = measure(song(3.2, 8000) * np.float32(scale), 8000)
        values = [value for value in figures(levels).values() if isinstance(value, float)]
        assert np.isfinite(values).all()


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, 2e30])
def test_the_first_bad_frame_is_named(dtype, bad):
    audio = song(1.5, 8000).astype(dtype)
    audio[9000, 1] = bad
    audio[9500, 0] = bad
    with pytest.raises(InputError, match=r"frame 9000 \(1.125 s\) is not a usable number"):
        measure(audio, 8000)


def test_wrong_shapes_types_and_rates_are_refused():
    meter = Meter(48000, 2)
    for block in (np.zeros((5, 3), np.float32), np.zeros((5, 2), np.int16), np.zeros(5, np.float32)):
        with pytest.raises(SettingError, match="cannot be metered"):
            meter.push(block)
    for rate_hz in (7999, 384001):
        with pytest.raises(SettingError, match="cannot be metered"):
            Meter(rate_hz, 2)
    meter.result()
    with pytest.raises(SettingError, match="has ended"):
        meter.push(np.zeros((5, 2), np.float32))


def test_results_can_be_read_twice():
    meter = Meter(48000, 2)
    meter.push(song(1.3))
    assert meter.result() == meter.result()
    assert meter.loudness().integrated_lufs() == meter.result().integrated_lufs


PRINT_BITS = """
import numpy as np
from mixwright.meter.measure import Meter
random = np.random.default_rng(3)
audio = np.cumsum(random.standard_normal((30000, 2)), axis=0).astype(np.float32) * np.float32(0.01)
audio[10000:20000] = random.uniform(-1, 1, (10000, 2))
meter = Meter(8000, 2, spectrum=False)
meter.push(audio)
print(meter.result(), meter._all_sums().tobytes().hex(), np.concatenate(meter._peaks).tobytes().hex())
"""


@pytest.mark.skipif(not library_path("avx2").exists(), reason="one build only on this processor")
def test_both_builds_of_the_core_give_the_same_bits():
    printed = [
        subprocess.run(
            [sys.executable, "-c", PRINT_BITS],
            env={**os.environ, "MIXWRIGHT_CORE": variant},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for variant in ("baseline", "avx2")
    ]
    assert printed[0] == printed[1]
    assert len(printed[0]) > 1000


def test_without_true_peak_the_rest_is_the_same():
    meter = Meter(48000, 2, true_peak=False)
    meter.push(song())
    levels = msgspec.structs.asdict(meter.result())
    expected = msgspec.structs.asdict(measure(song(), 48000))
    assert {name for name in levels if levels[name] != expected[name]} == {"true_peak_dbtp", "plr_db", "psr_min_db"}
    assert levels["true_peak_dbtp"] is None
