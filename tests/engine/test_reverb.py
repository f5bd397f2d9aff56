# SPDX-License-Identifier: Apache-2.0
"""Reverberation against what is known of rooms and of listeners: decay, density, evenness, sides, level."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from mixwright.engine.chain import Chain
from mixwright.engine.reverb import reverberation
from mixwright.errors import SettingError
from mixwright.meter.loudness import k_weighting
from mixwright.meter.measure import Meter
from mixwright.model.strip import Reverb
from mixwright.native.reverb import DIFFUSION, FEEDBACK, LENGTH, LINES, STAGES

RATE_HZ = 48000
KINDS = ("voice", "instruments")
kinds = pytest.mark.parametrize("kind", KINDS)


def wet(reverb, audio, rate_hz=RATE_HZ):
    out = np.array(audio, dtype=np.float64, order="C")
    Chain([reverberation(reverb, rate_hz)], out.shape[1]).process(out)
    return out


def response(reverb, seconds, rate_hz=RATE_HZ, sides=(1.0, 1.0)):
    impulse = np.zeros((round(seconds * rate_hz), 2))
    impulse[0] = sides
    return wet(reverb, impulse, rate_hz)


def decay_s(audio, hz, rate_hz=RATE_HZ, octaves=1.0):
    """T30 of a band: ISO 3382-1, backward integration after Schroeder 1965, line through -5 to -35 dB."""
    edges = hz * 2.0 ** np.array([-octaves / 2.0, octaves / 2.0])
    band = signal.butter(4, edges, "bandpass", fs=rate_hz, output="sos")
    energy = np.cumsum((signal.sosfilt(band, audio, axis=0) ** 2).sum(axis=1)[::-1])[::-1]
    level = 10.0 * np.log10(energy / energy[0] + 1e-12)
    first, last = np.argmax(level <= -5.0), np.argmax(level <= -35.0)
    return -60.0 / np.polyfit(np.arange(first, last) / rate_hz, level[first:last], 1)[0]


def pink(seconds, seed, rate_hz=RATE_HZ, *, stereo=True):
    """Equal power in every third of an octave from 45 Hz to 14 kHz."""
    rng = np.random.default_rng(seed)
    hz = np.fft.rfftfreq(round(seconds * rate_hz), 1.0 / rate_hz)
    shape = np.where((hz > 45.0) & (hz < 14000.0), np.maximum(hz, 1.0) ** -0.5, 0.0)
    spectrum = (rng.standard_normal((2, len(hz))) + 1j * rng.standard_normal((2, len(hz)))) * shape
    audio = np.fft.irfft(spectrum, axis=1).T
    audio *= 0.5 / np.abs(audio).max()
    return audio if stereo else np.repeat(audio[:, :1], 2, axis=1)


@kinds
@pytest.mark.parametrize(("seconds", "rate_hz"), [(0.3, 48000), (0.6, 44100), (1.2, 48000), (3.0, 48000)])
def test_decays_as_set_at_middle_frequencies(kind, seconds, rate_hz):
    audio = response(Reverb(kind=kind, decay_s=seconds, high_hz=12000.0), 1.2 * seconds + 0.2, rate_hz)
    measured = [decay_s(audio, hz, rate_hz) for hz in (500.0, 1000.0)]
    assert np.mean(measured) == pytest.approx(seconds, rel=0.05)


@kinds
@pytest.mark.parametrize("high_hz", [2000.0, 4000.0, 8000.0])
def test_decays_twice_as_fast_at_the_upper_edge(kind, high_hz):
    audio = response(Reverb(kind=kind, decay_s=1.0, high_hz=high_hz), 1.4)
    assert decay_s(audio, high_hz, octaves=1.0 / 3.0) == pytest.approx(0.5, rel=0.08)
    assert decay_s(audio, high_hz / 8.0) == pytest.approx(1.0, rel=0.07)


def normalized_echo_density(audio, at_s):
    """Share of samples outside one standard deviation in a window of 20 ms, over that of Gaussian noise.

    Abel & Huang 2006, "A simple, robust measure of reverberation echo density" (formula from memory): 1 is Gaussian.
    """
    window = np.hanning(round(0.02 * RATE_HZ))
    window /= window.sum()
    start = round(at_s * RATE_HZ) - len(window) // 2
    part = audio[start : start + len(window)]
    deviation = math.sqrt(np.sum(window * part**2))
    return float(np.sum(window * (np.abs(part) > deviation))) / math.erfc(1.0 / math.sqrt(2.0))


@pytest.mark.parametrize(("kind", "dense_s"), [("voice", 0.02), ("instruments", 0.05)])
@pytest.mark.parametrize("seconds", [0.4, 1.0, 2.0])
def test_becomes_dense_soon(kind, dense_s, seconds):
    audio = response(Reverb(kind=kind, decay_s=seconds, pre_delay_ms=0.0), 0.5)
    found = [[normalized_echo_density(side, at) for at in np.arange(dense_s, 0.3, 0.005)] for side in audio.T]
    assert np.mean(found) > 0.93
    assert min(map(min, found)) > 0.75


@kinds
@pytest.mark.parametrize("seconds", [0.3, 0.6, 1.2])
def test_late_response_is_even(kind, seconds):
    """No ringing: spectral flatness of Gaussian noise is exp(-0.577) = 0.56, its highest bin near ln(bins) x mean."""
    audio = response(Reverb(kind=kind, decay_s=seconds, pre_delay_ms=0.0, high_hz=16000.0), seconds)
    first, last = round(0.15 * seconds * RATE_HZ), round(0.6 * seconds * RATE_HZ)
    slope = 10.0 ** (3.0 * np.arange(last - first) / RATE_HZ / seconds)
    for side in audio.T:
        power = np.abs(np.fft.rfft(side[first:last] * slope * np.hanning(last - first))) ** 2
        hz = np.fft.rfftfreq(last - first, 1.0 / RATE_HZ)
        parts = [power[(hz >= low) & (hz < low * 2 ** (1 / 3))] for low in 300.0 * 2.0 ** (np.arange(12) / 3)]
        even = np.concatenate([part / part.mean() for part in parts])
        assert np.exp(np.mean(np.log(even))) > 0.47
        assert even.max() < 2.0 * math.log(len(even))


@kinds
@pytest.mark.parametrize("seconds", [0.3, 0.6, 1.2])
def test_sides_are_uncorrelated_equal_and_whole_in_mono(kind, seconds):
    audio = response(Reverb(kind=kind, decay_s=seconds), seconds + 0.1)
    left, right = audio.T
    assert abs(np.corrcoef(left, right)[0, 1]) < 0.1
    assert 10.0 * np.log10(np.sum(left**2) / np.sum(right**2)) == pytest.approx(0.0, abs=0.75)
    # Uncorrelated sides sum to their power; a comb would take octaves away.
    for hz in (250.0, 500.0, 1000.0, 2000.0, 4000.0):
        band = signal.butter(4, [hz / math.sqrt(2.0), hz * math.sqrt(2.0)], "bandpass", fs=RATE_HZ, output="sos")
        sides = signal.sosfilt(band, audio, axis=0)
        assert 10.0 * np.log10(np.sum(sides.sum(axis=1) ** 2) / np.sum(sides**2)) == pytest.approx(0.0, abs=2.0)


@pytest.mark.parametrize(("kind", "own_db"), [("voice", 0.0), ("instruments", math.inf)])
def test_instruments_open_on_their_own_side(kind, own_db):
    audio = response(Reverb(kind=kind, decay_s=1.0, pre_delay_ms=0.0), 1.2, sides=(1.0, 0.0))
    early = np.sum(audio[: round(0.012 * RATE_HZ)] ** 2, axis=0)
    with np.errstate(divide="ignore"):
        assert 10.0 * np.log10(early[0] / early[1]) == pytest.approx(own_db, abs=2.5)
    late = np.sum(audio[round(0.2 * RATE_HZ) :] ** 2, axis=0)
    assert 10.0 * np.log10(late[0] / late[1]) == pytest.approx(0.0, abs=1.0)


def loudness(audio, rate_hz):
    meter = Meter(rate_hz, 2, spectrum=False)
    meter.push(audio.astype(np.float32))
    return meter.loudness().integrated_lufs()


LEVELS = list(itertools.product(KINDS, (0.1, 0.5, 2.0), ((200.0, 7000.0), (50.0, 16000.0), (600.0, 3000.0)), (16000,)))
LEVELS += [("voice", 0.5, (200.0, 7000.0), 96000), ("instruments", 1.0, (200.0, 7000.0), 48000)]


@pytest.mark.parametrize("stereo", [True, False], ids=["stereo", "centre"])
def test_returns_14_lu_below_what_comes_in(stereo):
    """De Man, McNally & Reiss 2017: -14 LU lies between too wet and too dry. For all settings the same."""
    for kind, seconds, (low_hz, high_hz), rate_hz in LEVELS:
        dry = pink(3.0 + seconds, 5, rate_hz, stereo=stereo)
        out = wet(Reverb(kind=kind, decay_s=seconds, low_hz=low_hz, high_hz=high_hz), dry, rate_hz)
        start = round((seconds + 0.5) * rate_hz)
        lufs = [loudness(part[start:], rate_hz) for part in (out, dry)]
        assert lufs[0] - lufs[1] == pytest.approx(-14.0, abs=1.0), (kind, seconds, low_hz, high_hz, rate_hz)


def test_k_weighting_of_the_level_is_the_standards():
    """The table in csrc/reverb_design.c, read from it, against the filters of ITU-R BS.1770-5."""
    text = (Path(__file__).resolve().parents[2] / "csrc" / "reverb_design.c").read_text()
    table = [float(value) for value in text.split("K_DB[BANDS] = {")[1].split("}")[0].split(",")]
    *shelf, a1, a2, p1, p2 = k_weighting(48000)
    hz = 1000.0 * 10.0 ** (np.arange(-13, 12) / 10.0)
    _, first = signal.freqz(shelf, [1.0, a1, a2], hz, fs=48000)
    _, second = signal.freqz([1.0, -2.0, 1.0], [1.0, p1, p2], hz, fs=48000)
    assert table == pytest.approx(20.0 * np.log10(np.abs(first * second)), abs=0.006)


@kinds
@pytest.mark.parametrize("rate_hz", [8000, 44100, 192000])
@pytest.mark.parametrize("seconds", [0.1, 1.0, 6.0])
def test_lines_are_different_primes_and_scale_with_the_rate(kind, rate_hz, seconds):
    made = reverberation(Reverb(kind=kind, decay_s=seconds), rate_hz)
    lengths = made.network[LENGTH:FEEDBACK].astype(int)
    assert len(set(lengths)) == LINES
    assert all(length % k for length in lengths for k in range(2, math.isqrt(length) + 1))
    same = reverberation(Reverb(kind=kind, decay_s=seconds), 48000)
    if rate_hz > 8000:  # at the lowest rate short lines wait for the next prime
        assert np.mean(lengths) / rate_hz == pytest.approx(np.mean(same.network[LENGTH:FEEDBACK]) / 48000, rel=0.02)
    assert len(made.network) == DIFFUSION + STAGES * LINES


@kinds
def test_starts_with_the_pre_delay_and_has_no_latency(kind):
    made = reverberation(Reverb(kind=kind, decay_s=0.5, pre_delay_ms=35.0), RATE_HZ)
    assert made.latency_frames == 0
    audio = response(Reverb(kind=kind, decay_s=0.5, pre_delay_ms=35.0), 0.1)
    first = np.flatnonzero(audio.any(axis=1))[0] / RATE_HZ
    assert 0.035 <= first < 0.038


@kinds
@pytest.mark.parametrize("seconds", [0.2, 1.0, 6.0])
def test_has_fallen_by_100_db_after_its_memory(kind, seconds):
    made = reverberation(Reverb(kind=kind, decay_s=seconds), RATE_HZ)
    assert made.memory_frames(RATE_HZ) <= 5 * RATE_HZ
    rings_s = made.rings_frames / RATE_HZ
    assert seconds * 100.0 / 60.0 < rings_s < seconds * 100.0 / 60.0 + 0.7
    audio = response(Reverb(kind=kind, decay_s=seconds), rings_s + 0.05)
    assert np.abs(audio[made.rings_frames :]).max() < 1e-5 * np.abs(audio).max()


@kinds
def test_is_silent_and_quick_again_after_its_tail(kind):
    audio = np.zeros((8000 * 6, 2))
    audio[:50] = np.random.default_rng(2).uniform(-1.0, 1.0, (50, 2))
    out = wet(Reverb(kind=kind, decay_s=0.1, high_hz=3000.0), audio, 8000)
    assert out[:4000].any()
    assert not out[-8000:].any()
    assert np.abs(out[out != 0.0]).min() > 1e-200  # nothing near the denormals on the way


@kinds
@settings(max_examples=25, deadline=None)
@given(
    decay=st.floats(0.1, 6.0),
    low=st.floats(10.0, 3000.0),
    high=st.floats(3001.0, 96000.0),
    pre=st.floats(0.0, 200.0),
    rate_hz=st.sampled_from([8000, 11025, 44100, 48000, 96000, 384000]),
)
def test_any_setting_falls_and_stays_finite(kind, decay, low, high, pre, rate_hz):
    made = reverberation(Reverb(kind=kind, decay_s=decay, low_hz=low, high_hz=high, pre_delay_ms=pre), rate_hz)
    assert np.isfinite(made.network).all()
    # What a line keeps at 0 Hz, its loudest: below 1, as long as the decay says (Jot & Chaigne 1991).
    lengths, gain, pole = made.network[LENGTH:DIFFUSION].reshape(3, LINES)
    assert np.all((pole >= 0.0) & (pole < 1.0))
    assert 4.0 * gain / (1.0 - pole) == pytest.approx(10.0 ** (-3.0 * lengths / (rate_hz * decay)), rel=1e-9)
    audio = np.random.default_rng(1).uniform(-1.0, 1.0, (2000, 2))
    Chain([made], 2).process(audio)
    assert np.isfinite(audio).all()


def test_a_tail_that_keeps_nothing_is_refused():
    for low_hz, high_hz, rate_hz in ((500.0, 500.0, 48000), (900.0, 400.0, 48000), (5000.0, 20000.0, 8000)):
        with pytest.raises(SettingError, match="keeps nothing"):
            reverberation(Reverb(kind="voice", decay_s=1.0, low_hz=low_hz, high_hz=high_hz), rate_hz)
