# SPDX-License-Identifier: Apache-2.0
"""True peak against ITU-R BS.1770-5 Annex 2, EBU Tech 3341, and a twin that skips nothing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from mixwright.errors import InputError
from mixwright.meter.measure import Meter, measure
from mixwright.meter.true_peak import FINE_PHASES, PHASES, bounds, interpolator, true_peak_16x
from reference.ebu_signals import burst_sine, straddling_sine
from reference.interpolated_peak import interval_peaks

RATES_HZ = (44100, 48000, 96000, 192000)


# EBU Tech 3341, table 1, signals 15 to 19: +0.2 / -0.4 dB (+0.05 / -0.2 is our own goal).
@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize(
    ("divisor", "amplitude", "phase_deg", "expected_dbtp"),
    [(4, 0.5, 0.0, -6.0), (4, 0.5, 45.0, -6.0), (6, 0.5, 60.0, -6.0), (8, 0.5, 67.5, -6.0), (4, 1.41, 45.0, 3.0)],
)
def test_tech_3341_numbers_15_to_19(divisor, amplitude, phase_deg, expected_dbtp, rate_hz):
    levels = measure(straddling_sine(rate_hz, divisor, amplitude, phase_deg), rate_hz, spectrum=False)
    assert -0.2 < levels.true_peak_dbtp - expected_dbtp < 0.05


# EBU Tech 3341, table 1, signals 20 to 23: 0.0 dBTP, +0.2 / -0.4 dB.
@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("offset", [0, 1, 2, 3])
def test_tech_3341_numbers_20_to_23(offset, rate_hz):
    levels = measure(burst_sine(rate_hz, offset), rate_hz, spectrum=False)
    assert -0.2 < levels.true_peak_dbtp < 0.05


# ITU-R BS.1770-5, Annex 2: a sine at f under-reads by at most 20 log10 cos(pi f / (rate 8)).
@pytest.mark.parametrize("hz", [3000, 8000, 12000, 16000, 19200, 21000, 22500, 23000])
def test_sines_up_to_near_half_the_rate(hz):
    for phase in np.arange(12) / 12 * np.pi:
        n = np.arange(4800)
        wave = np.sin(2 * np.pi * hz * n / 48000 + phase) * np.clip(np.minimum(n, n[::-1]) / 1000, 0, 1)
        levels = measure(wave.astype(np.float32), 48000, spectrum=False)
        # The fade ends 0.01 dB away from full level in the worst case of few cycles.
        assert 20 * np.log10(np.cos(np.pi * hz / 48000 / PHASES)) - 0.03 < levels.true_peak_dbtp < 0.02


def segment_peaks(audio: np.ndarray, rate_hz: int) -> tuple[np.ndarray, np.ndarray]:
    meter = Meter(rate_hz, audio.shape[1], spectrum=False)
    meter.push(audio)
    meter.result()
    return np.concatenate(meter._peaks), meter._work


def twin_peaks(audio: np.ndarray, rate_hz: int) -> np.ndarray:
    """The same segments, 100 ms late by 128 frames, with nothing skipped."""
    silence = np.zeros((128, audio.shape[1]), dtype=np.float32)
    padded = np.concatenate((silence, audio, silence[:32]))
    peaks = np.max([interval_peaks(channel, interpolator()) for channel in padded.T], axis=0)
    starts = np.arange(0, len(audio) // rate_hz * rate_hz + len(audio) % rate_hz + 1, rate_hz // 10)
    return np.maximum.reduceat(peaks, starts)


def signals() -> dict[str, np.ndarray]:
    random = np.random.default_rng(11)
    n = np.arange(20000)
    worst = np.sign(interpolator())  # reaches the L1 norm of each phase
    spikes = np.zeros(20000)
    for place, row in enumerate(worst):
        spikes[2000 * place + 500 : 2000 * place + 564] = row * (0.5 + 0.05 * place)
    gated = random.standard_normal(20000) * (np.sin(n / 900) > 0.6)
    return {
        "white noise": random.uniform(-1, 1, 20000),
        "slow noise": np.convolve(random.standard_normal(20000), np.hanning(40) / 20, "same"),
        "sine near half the rate": 0.7 * np.sin(2 * np.pi * 0.493 * n),
        "low sine": np.sin(2 * np.pi * n / 999.7),
        "square": np.sign(np.sin(2 * np.pi * n / 333.3)),
        "steps": np.repeat(random.uniform(-1, 1, 200), 100),
        "worst case of every phase": spikes,
        "gated": gated,
        "constant": np.full(20000, 0.5),
        "one sample": np.where(n == 12345, 1.0, 0.0),
        "clipped": np.clip(2 * np.sin(2 * np.pi * n / 40.3), -1, 1),
    }


@pytest.mark.parametrize("name", signals())
def test_skipping_never_changes_a_bit(name):
    mono = signals()[name].astype(np.float32)
    audio = np.stack((mono, np.roll(mono, 777) * np.float32(0.9)), axis=1)
    for rate_hz in (8000, 48000):
        found, work = segment_peaks(audio, rate_hz)
        expected = twin_peaks(audio, rate_hz)
        assert np.array_equal(found, expected)
        assert work[0] >= work[1] >= work[2]


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 400), st.floats(0.0, 1.0), st.floats(0.0, 0.5)), min_size=1, max_size=12),
    st.integers(0, 2**32 - 1),
)
def test_skipping_never_changes_a_bit_of_any_signal(parts, seed):
    random = np.random.default_rng(seed)
    pieces = [
        level * (random.standard_normal(length) * share + np.cos(2 * np.pi * share * np.arange(length)))
        for length, level, share in parts
    ]
    audio = np.concatenate(pieces).astype(np.float32)[:, None]
    assert np.array_equal(segment_peaks(audio, 8000)[0], twin_peaks(audio, 8000))


def test_most_blocks_of_a_low_signal_are_skipped():
    n = np.arange(48000)
    audio = (np.sin(2 * np.pi * n / 400) * np.exp(-(n % 12000) / 3000)).astype(np.float32)[:, None]
    _, work = segment_peaks(audio, 48000)
    assert work[1] < 0.2 * work[0]


# ITU-R BS.1770-5, Annex 2: with 16 points a sine at f under-reads by at most 20 log10 cos(pi f / (rate 16)).
@pytest.mark.parametrize("share", [0.06, 0.2, 0.25, 0.33, 0.4, 0.46])
def test_sixteen_points_of_sines(share):
    n = np.arange(4800)
    for phase in np.arange(12) / 12 * np.pi:
        wave = np.sin(2 * np.pi * share * n + phase) * np.clip(np.minimum(n, n[::-1]) / 1000, 0, 1)
        found = 20.0 * np.log10(true_peak_16x([wave[:, None]]))
        assert 20.0 * np.log10(np.cos(np.pi * share / FINE_PHASES)) - 0.01 < found < 0.005


@pytest.mark.parametrize("name", signals())
def test_sixteen_points_in_blocks_equal_the_twin_to_the_bit(name):
    mono = signals()[name].astype(np.float32)
    audio = np.stack((mono, np.roll(mono, 777) * np.float32(0.9)), axis=1)
    padded = np.pad(audio, ((32, 32), (0, 0)))  # what rings before and after
    expected = max(interval_peaks(channel, interpolator(FINE_PHASES)).max() for channel in padded.T)
    for blocks in ([audio], np.array_split(audio.astype(np.float64), 7), [audio[:0], audio[:1], audio[1:]]):
        assert true_peak_16x(blocks) == expected


def test_sixteen_points_of_nothing_and_of_what_is_no_number():
    assert true_peak_16x([]) == 0.0
    assert true_peak_16x([np.zeros((0, 2)), np.zeros((100, 2))]) == 0.0
    with pytest.raises(InputError, match="frame 130"):
        true_peak_16x([np.zeros((100, 2)), np.where(np.arange(60)[:, None] == 30, np.nan, 0.0) * np.ones(2)])


@pytest.mark.parametrize("turned", [False, True])
def test_16x_reads_what_rings_before_the_first_frame_and_after_the_last(turned):
    # A tone near half the rate that begins, or ends, at its largest: band-limited, it rings most beside its edge.
    tone = (np.linspace(1.0, 0.0, 2000) ** 2 * (-1.0) ** np.arange(2000))[:, None]
    tone = tone[::-1] if turned else tone
    silence = np.zeros((100, 1))
    found = true_peak_16x([tone])
    assert found == true_peak_16x([silence, tone, silence]) > 1.5
    # Half a frame beyond the edge the ideal sum of sinc functions is 2 / pi (1 + 1/3 + 1/5 + ...): what 32 taps see of
    # it under their window is less.
    assert found < 2.0 / np.pi * np.sum(1.0 / np.arange(1, 64, 2))


phases = pytest.mark.parametrize("phases", [PHASES, FINE_PHASES])


@phases
def test_bounds_belong_to_the_taps(phases):
    taps = interpolator(phases)
    assert taps.shape == (phases, 64)
    assert taps.sum(axis=1, dtype=np.float64) == pytest.approx(1.0, abs=1e-6)
    assert np.array_equal(taps[1], taps[-1][::-1])
    half = taps[phases // 2]
    assert np.array_equal(half, half[::-1])
    wide, curve, rounding, grid_curve, rest = bounds(phases)
    assert wide > np.abs(taps).sum(axis=1).max()
    assert 0.125 < curve < 1.0  # a parabola between two samples needs at least 1/8
    assert rounding > 64 * 2**-24 * wide
    assert 1 / 8 < grid_curve < 0.25
    assert rest < 0.1


def grid_point(place: int) -> np.ndarray:
    """Weights of x[-32] to x[33] in a point of the grid of twice the density; place 0 is x[0], 1 half-way to x[1]."""
    weights = np.zeros(66)
    if place % 2:
        weights[1 + place // 2 : 65 + place // 2] = interpolator()[4]
    else:
        weights[32 + place // 2] = 1.0
    return weights


# The inputs that come nearest to each bound, by summing signs twice and by linear programming: no input exceeds the
# bound, and the worst reaches nearly all of it, so that a smaller constant would be wrong.
@phases
def test_the_worst_input_reaches_the_second_bound(phases):
    reached = []
    for taps in interpolator(phases).astype(np.float64):
        curve = taps.copy()
        curve[31:33] -= 1.0 - taps @ (np.arange(64) - 31), taps @ (np.arange(64) - 31)
        twice = np.cumsum(np.cumsum(curve))
        differences = np.sign(twice[:-2])
        worst = np.concatenate(([0.0, 0.0], np.cumsum(np.cumsum(differences))))
        assert np.abs(np.diff(worst, 2)).max() == 1.0
        reached.append(abs(curve @ worst))
    assert 0.999 * bounds(phases)[1] < max(reached) <= bounds(phases)[1] + 1e-5


@phases
@pytest.mark.parametrize("roughness", [0.0, 0.1, 0.4])
def test_the_worst_input_reaches_the_third_bound(roughness, phases):
    reached = []
    for phase in (p for p in range(1, phases) if p != phases // 2):
        place, share = divmod(2 * phase / phases, 1.0)
        at = int(place)
        point = np.zeros(66)
        point[1:65] = interpolator(phases)[phase]
        off_line = point - (1.0 - share) * grid_point(at) - share * grid_point(at + 1)
        second = np.stack([grid_point(k - 1) - 2.0 * grid_point(k) + grid_point(k + 1) for k in (at, at + 1)])
        limits = np.full(4, roughness)
        worst = linprog(-off_line, A_ub=np.concatenate((second, -second)), b_ub=limits, bounds=(-1.0, 1.0))
        reached.append(-worst.fun)
    bound = bounds(phases)[3] * roughness + bounds(phases)[4]
    assert 0.85 * bound < max(reached) <= bound
