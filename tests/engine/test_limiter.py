# SPDX-License-Identifier: Apache-2.0
"""What the limiter promises: its ceiling, and nothing more taken off than that needs."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

from mixwright.engine.dynamics import PeakLimiter
from mixwright.meter.true_peak import true_peak_16x
from reference.nasty_signals import FRAMES, nasty_signals

RATE_HZ = 48000
CEILING_DBTP = -1.0


def limited(audio, *, rate_hz=RATE_HZ, release_s=0.1):
    """Return what comes out, with the gains, both without the delay and with what rings on after the end."""
    limiter = PeakLimiter(rate_hz, ceiling_dbtp=CEILING_DBTP, release_s=release_s)
    out = np.concatenate((audio, np.zeros((limiter.latency_frames, 2))))
    gains = np.empty(len(out), dtype=np.float32)
    limiter.process(out, gains)
    return out[limiter.latency_frames :], gains[limiter.latency_frames :]


def decibels(amplitude):
    return 20.0 * np.log10(np.maximum(amplitude, 1e-30))


def worst_over(signals, **how):
    """Return by how many dB the worst of the signals lies over the ceiling at 16 points a sample, and its name."""
    over = {name: decibels(true_peak_16x([limited(audio, **how)[0]])) - CEILING_DBTP for name, audio in signals.items()}
    worst = max(over, key=over.get)
    print(f"worst of {len(over)} signals: {over[worst]:+.6f} dB over the ceiling ({worst})")
    return over[worst]


# The promise is 0.05 dB over; what is reached is nothing over.
def test_the_ceiling_holds_for_two_hundred_nasty_signals():
    signals = nasty_signals()
    assert len(signals) >= 200
    assert worst_over(signals) <= 0.0


@pytest.mark.slow
@pytest.mark.parametrize("release_s", [0.005, 0.1, 1.0])
@pytest.mark.parametrize("rate_hz", [8000, 44100, 48000, 96000, 192000])
def test_the_ceiling_holds_at_every_rate_and_release(rate_hz, release_s):
    assert worst_over(nasty_signals(), rate_hz=rate_hz, release_s=release_s) <= 0.0


def fourier_peak(audio):
    """Return the peak of 16 points a sample by the Fourier transform: ideal interpolation of a signal that repeats."""
    return np.abs(scipy.signal.resample(np.pad(audio, ((4096, 4096), (0, 0))), 16 * (len(audio) + 8192))).max()


# An interpolator that shares nothing with the limiter's own. Close to half the rate any two differ, as does every
# converter, by more than is asked here; so the signals are band-limited to 0.42 of the rate.
def test_ideal_interpolation_agrees_below_the_edge_of_the_band():
    low_pass = scipy.signal.firwin(401, 0.42, fs=1.0, window=("kaiser", 9.0))
    over = {}
    for name, audio in list(nasty_signals().items())[::4]:
        if 0.0 < np.abs(audio).max() < 1e6:
            soft = scipy.signal.fftconvolve(audio, low_pass[:, np.newaxis], axes=0)
            over[name] = decibels(fourier_peak(limited(soft)[0])) - CEILING_DBTP
    assert len(over) > 40
    print(f"worst at 16 points by Fourier: {max(over.values()):+.4f} dB ({max(over, key=over.get)})")
    assert max(over.values()) < 0.05


def test_what_stays_below_the_ceiling_passes_to_the_bit():
    audio = np.random.default_rng(4).uniform(-0.2, 0.2, (20000, 2))
    out, gains = limited(audio)
    assert np.array_equal(out, audio)
    assert (gains == 1.0).all()


@pytest.mark.parametrize("level_db", [0.0, 6.0, 40.0])
def test_no_more_is_taken_off_than_the_ceiling_needs(level_db):
    n = np.arange(9600)
    wave = 10.0 ** (level_db / 20.0) * np.sin(np.pi / 2 * n + np.pi / 4) * np.clip(np.minimum(n, n[::-1]) / 2000, 0, 1)
    out, gains = limited(np.stack((wave, 0.5 * wave), axis=1))
    assert decibels(true_peak_16x([out])) == pytest.approx(CEILING_DBTP, abs=0.02)
    # Once settled the sine stands at the ceiling: its true peak (EBU Tech 3341, table 1, no. 16) is its amplitude.
    assert decibels(gains[4800]) == pytest.approx(CEILING_DBTP - level_db, abs=0.02)


def test_both_channels_have_one_gain_that_comes_before_the_peak_and_glides():
    audio = np.zeros((FRAMES, 2))
    audio[:, 1] = 0.1
    audio[3000, 0] = 4.0
    out, gains = limited(audio)
    assert out[:, 1] == pytest.approx(0.1 * gains.astype(np.float64), rel=1e-12)
    moving = np.flatnonzero(gains < 1.0)
    assert 3000 - 0.007 * RATE_HZ < moving[0] < 3000 - 0.002 * RATE_HZ
    assert np.abs(np.diff(decibels(gains.astype(np.float64)))).max() < 0.15  # 13 dB take 4 ms


# A time constant: the reduction in dB is 1 / e of itself after release_s.
@pytest.mark.parametrize("release_s", [0.02, 0.1, 0.5])
def test_release(release_s):
    audio = np.zeros((round(3 * release_s * RATE_HZ) + 4000, 2))
    audio[500] = 4.0
    reduction_db = -decibels(limited(audio, release_s=release_s)[1].astype(np.float64))[1000:]
    later = round(release_s * RATE_HZ)
    assert reduction_db[later] / reduction_db[0] == pytest.approx(np.exp(-1), rel=0.02)


def test_limiting_again_changes_next_to_nothing():
    audio = nasty_signals()["white noise, +12 dB"]
    once, _ = limited(audio)
    twice, _ = limited(once)
    assert twice == pytest.approx(once, rel=1e-4)
