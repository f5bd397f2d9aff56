# SPDX-License-Identifier: Apache-2.0
"""Lag, polarity and gain against signals whose delay is known by construction."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from mixwright.core.align import SharedSound, fit_gain, lag_and_polarity

RATE_HZ = 24000


def delayed(x: np.ndarray, frames: float) -> np.ndarray:
    """Delay by a phase ramp: exact for any fraction of a frame."""
    spectrum = np.fft.rfft(x, 2 * len(x))
    ramp = np.exp(-2j * np.pi * np.arange(len(spectrum)) / (2 * len(x)) * frames)
    return np.fft.irfft(spectrum * ramp, 2 * len(x))[: len(x)]


def sound(kind: str, frames: int, rng: np.random.Generator) -> np.ndarray:
    x = rng.standard_normal(frames)
    if kind == "pink":
        spectrum = np.fft.rfft(x)
        spectrum[1:] /= np.sqrt(np.arange(1, len(spectrum)))
        return np.fft.irfft(spectrum, frames)
    if kind == "low":
        return signal.sosfilt(signal.butter(4, 400, fs=RATE_HZ, output="sos"), x)
    return x


# The fractional lag is that of Knapp and Carter 1976. On a source below 400 Hz the correlation peak is flat, and noise
# on both sides moves it by a frame or two whatever the weighting; full whitening errs by several (measured).
@pytest.mark.parametrize(
    ("kind", "noise_db", "lag", "within"),
    [
        ("white", -40.0, 137.4, 0.06),
        ("white", 0.0, -20.7, 0.06),
        ("pink", -10.0, 137.4, 0.06),
        ("pink", 0.0, -20.7, 0.06),
        ("low", -40.0, 137.4, 0.15),
        ("low", -10.0, -20.7, 2.5),
    ],
)
def test_lag_and_polarity_of_a_delayed_inverted_copy_in_noise(kind, noise_db, lag, within):
    rng = np.random.default_rng(5)
    x = sound(kind, 5 * RATE_HZ + 2000, rng)
    y = -0.3 * delayed(x, lag)
    x, y = x[1000:-1000], y[1000:-1000]
    noise = 10 ** (noise_db / 20)
    x = x + noise * x.std() * rng.standard_normal(len(x))
    y = y + noise * y.std() * rng.standard_normal(len(y))
    found = lag_and_polarity(x, y, RATE_HZ)
    assert found.lag_frames == pytest.approx(lag, abs=within)
    assert found.polarity == -1
    assert found.sure


def test_unrelated_sounds_are_not_sure():
    rng = np.random.default_rng(6)
    found = lag_and_polarity(rng.standard_normal(5 * RATE_HZ), rng.standard_normal(5 * RATE_HZ), RATE_HZ)
    assert not found.sure
    assert found.spread_frames > 10


def test_stereo_is_averaged_and_short_or_silent_sounds_have_no_lag():
    rng = np.random.default_rng(7)
    x = rng.standard_normal((RATE_HZ, 2))
    assert lag_and_polarity(x, x.mean(axis=1), RATE_HZ).lag_frames == pytest.approx(0.0, abs=0.01)
    assert lag_and_polarity(x, np.zeros((RATE_HZ, 2)), RATE_HZ) is None
    assert lag_and_polarity(x[:10], x[:10], RATE_HZ) is None


# 20 log10 |1 - 10^(e/20)|: what is left after subtracting a copy that is off by e dB.
@pytest.mark.parametrize(("error_db", "left_db"), [(0.01, -58.8), (0.1, -38.7), (0.5, -24.5), (1.0, -18.3)])
def test_residual_of_a_wrong_gain_is_what_fitting_removes(error_db, left_db):
    x = np.random.default_rng(8).standard_normal((RATE_HZ, 2)).astype(np.float32)
    y = x * np.float32(10 ** (error_db / 20))
    assert 20 * np.log10(np.sqrt(np.mean((y - x) ** 2) / np.mean(x**2))) == pytest.approx(left_db, abs=0.06)
    gain, residual = fit_gain(x, y, block_frames=1000)
    assert 20 * np.log10(gain) == pytest.approx(error_db, abs=1e-6)
    assert residual < 1e-12


def test_residual_is_the_share_that_is_not_the_other():
    rng = np.random.default_rng(9)
    x, other = rng.standard_normal((2, RATE_HZ))
    other -= x * (x @ other) / (x @ x)
    y = 2.0 * x + other
    gain, residual = fit_gain(x, y)
    assert gain == pytest.approx(2.0)
    assert residual == pytest.approx((other @ other) / (y @ y))
    assert fit_gain(np.zeros(8), np.ones(8)) == (0.0, 1.0)
    with pytest.raises(ValueError, match="shapes differ"):
        fit_gain(x, y[1:])


def test_shared_sound_passes_every_pair_with_a_sure_lag_and_few_others() -> None:
    rate_hz, seconds, rng = 8000, 40, np.random.default_rng(7)
    own = rng.standard_normal((6, seconds * rate_hz)) * (rng.random((6, seconds * rate_hz)) < 0.2)
    # Every second recording hears the one before at -14 dB, 3 ms later; the last two play where nothing else does.
    heard = [own[k] + 0.2 * (k % 2) * np.roll(own[k - 1], 24) for k in range(6)]
    for k, x in enumerate(heard):
        x[slice(-4 * rate_hz) if k > 3 else slice(-4 * rate_hz, None)] = 0.0
    shared = SharedSound([x.astype(np.float32) for x in heard], rate_hz)
    pairs = [(i, j) for i in range(6) for j in range(i + 1, 6)]
    looked = {(i, j): lag_and_polarity(heard[i], heard[j], rate_hz) for i, j in pairs}
    assert [pair for pair in pairs if shared.may_share(*pair)] == [(0, 1), (2, 3), (4, 5)]
    assert [pair for pair, found in looked.items() if found is not None and found.sure] == [(0, 1), (2, 3), (4, 5)]
    assert not SharedSound([np.zeros(10), np.zeros(0)], rate_hz).may_share(0, 1)


def test_shared_sound_transforms_no_window_twice_and_few_in_all(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(8)
    recordings = [rng.standard_normal(30 * 8000).astype(np.float32) for _ in range(12)]
    done = []
    whole = SharedSound._transformed
    monkeypatch.setattr(SharedSound, "_transformed", lambda self, i, k: done.append((i, k)) or whole(self, i, k))
    shared = SharedSound(recordings, 8000)
    assert not any(shared.may_share(i, j) for i in range(12) for j in range(i))
    assert len(done) == len(set(done)) <= 12 * 8
