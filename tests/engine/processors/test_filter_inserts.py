# SPDX-License-Identifier: Apache-2.0
"""Filters of linear phase, and filters that move."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import fftconvolve

from engine.processors.test_processors import phrases, run
from mixwright.core.filters import design_band, design_high_pass, design_low_pass, moving_band
from mixwright.engine.processors.filters import half_of
from mixwright.engine.processors.insert import along, made, movable
from mixwright.errors import SettingError
from mixwright.model.filter_inserts import Filters
from mixwright.model.filters import EqBand, Pass
from mixwright.native import convolution
from reference import prototypes

RATE_HZ = 48000
LINEAR = Filters(
    high_pass=Pass(hz=60, slope_db_oct=24), bands=(EqBand(hz=3000, gain_db=6, q=2), EqBand(kind="notch", hz=9000, q=4)),
    phase="linear",
)  # fmt: skip
LATE = 8192 + 256


def taps_of(sections):
    return convolution.linear_taps(sections, 8192)


@pytest.mark.parametrize("channels", [1, 2])
def test_linear_phase_equals_numpys_convolution(channels):
    sections = np.concatenate(
        [design_high_pass(LINEAR.high_pass, RATE_HZ), *(design_band(band, RATE_HZ) for band in LINEAR.bands)]
    )
    audio = phrases(40000, channels)
    late = np.concatenate([np.zeros((256, channels)), fftconvolve(audio, taps_of(sections)[:, np.newaxis], axes=0)])
    out = run(made(LINEAR, RATE_HZ), audio)
    np.testing.assert_allclose(out, late[: len(out)], rtol=0, atol=1e-9 * np.abs(audio).max())


def test_linear_phase_is_the_same_in_any_blocks_and_delays_an_impulse_by_its_latency():
    (stage,) = made(LINEAR, RATE_HZ)
    assert stage.latency_frames == LATE
    impulse = np.zeros((30000, 1))
    impulse[1000] = 1.0
    out = run((stage,), impulse)
    assert np.argmax(np.abs(out)) == 1000 + LATE
    before, after = out[1000 + LATE - 8000 : 1000 + LATE, 0], out[1000 + LATE + 1 : 1000 + LATE + 8001, 0]
    assert np.abs(before[::-1] - after).max() < 1e-14  # phase is linear: it rings before as after
    assert np.array_equal(run((stage,), impulse, sizes=[1, 255, 3, 0, 9000, 513, 20228]), out)
    assert not out[1000 + LATE + stage.memory_frames(RATE_HZ) + 1 :].any()


@pytest.mark.parametrize(
    ("rate_hz", "half"), [(24000, 4096), (44100, 8192), (48000, 8192), (88200, 16384), (96000, 16384), (192000, 32768)]
)
def test_linear_phase_reaches_as_far_in_time_at_every_rate(rate_hz, half):
    assert half_of(rate_hz) == half
    assert made(LINEAR, rate_hz)[0].latency_frames == half + 256


def linear_db(taps, at_hz):
    """Return the gain of symmetric taps: a sum of cosines."""
    from_middle = np.arange(len(taps)) - len(taps) // 2
    waves = np.cos(2.0 * np.pi / RATE_HZ * np.outer(at_hz, from_middle))
    return prototypes.decibels(waves @ taps)


@pytest.mark.parametrize(
    ("kind", "hz", "q"),
    [("bell", 60, 1), ("bell", 400, 10), ("bell", 3000, 40), ("bell", 12000, 1), ("low_shelf", 60, 1),
     ("high_shelf", 9000, 0.7), ("band_pass", 400, 4), ("tilt", 1000, 1), ("notch", 5000, 4)],
)  # fmt: skip
def test_bands_of_linear_phase_are_as_their_prototypes(kind, hz, q):
    band, at = EqBand(kind=kind, hz=hz, gain_db=9, q=q), prototypes.grid(hz)
    wanted = prototypes.band_db(band, at)
    off = np.abs(linear_db(taps_of(design_band(band, RATE_HZ)), at) - wanted)[wanted > -40.0]
    assert off.max() < 0.2


@pytest.mark.parametrize(("slope", "lowest_hz"), [(6, 20), (12, 20), (24, 20), (36, 40), (48, 40)])
def test_passes_of_linear_phase_are_as_their_prototypes(slope, lowest_hz):
    for hz in (lowest_hz, 300.0, 12000.0):
        cut, at = Pass(hz=hz, slope_db_oct=slope), prototypes.grid(hz)
        for kind, design in (("highpass", design_high_pass), ("lowpass", design_low_pass)):
            wanted = prototypes.pass_db(kind, cut, at)
            off = np.abs(linear_db(taps_of(design(cut, RATE_HZ)), at) - wanted)[wanted > -40.0]
            assert off.max() < 0.2


def moved(insert, audio, paths):
    """Run with settings that are functions of the time in seconds."""
    stages = [
        replace(
            stage,
            moving=lambda strides, k=k: along(
                insert, RATE_HZ, {path: at(strides * 256 / RATE_HZ) for path, at in paths.items()}
            )[k],
        )
        for k, stage in enumerate(movable(insert, RATE_HZ))
    ]
    return run(tuple(stages), audio)


def sweep_hz(at_s):
    """200 Hz for a quarter of a second, then 5 kHz after half a second."""
    return 200.0 * 25.0 ** np.clip((at_s - 0.25) / 0.5, 0.0, 1.0)


@pytest.mark.parametrize(("gain_db", "q"), [(12.0, 2.0), (-12.0, 2.0), (24.0, 10.0)])
@pytest.mark.parametrize(("hz", "below_db"), [(100, -70.0), (1000, -80.0), (5000, -60.0)])
def test_a_bell_that_sweeps_makes_no_steps(gain_db, q, hz, below_db):
    """4.6 octaves in half a second over a sine: what lies far from it is steps alone."""
    sine = 0.5 * np.sin(2.0 * np.pi * hz * np.arange(RATE_HZ) / RATE_HZ)[:, np.newaxis]
    insert = Filters(bands=(EqBand(hz=200.0, gain_db=gain_db, q=q),))
    out = moved(insert, sine, {"bands[0].hz": sweep_hz})
    window = np.blackman(RATE_HZ)
    spectrum = np.abs(np.fft.rfft(out[:, 0] * window))
    away = np.abs(np.arange(len(spectrum)) - hz) > 2000
    top = np.abs(np.fft.rfft(sine[:, 0] * window)).max()
    assert 20.0 * np.log10(spectrum[away].max() / top) < below_db
    assert 20.0 * np.log10(spectrum[12000:].max() / top) < -90.0


def swept_by_frames(band, audio, hz):
    """A bell whose coefficients are designed anew for every frame, in plain Python."""
    tables = moving_band(band, RATE_HZ, hz, np.full(len(hz), band.gain_db), np.full(len(hz), band.q))
    states, out = np.zeros((2, 2)).tolist(), []
    for x, table in zip(audio.tolist(), tables.tolist(), strict=True):
        value = x
        for (b0, b1, b2, a1, a2), state in zip(table, states, strict=True):
            y = b0 * value + state[0]
            state[:] = b1 * value + state[1] - a1 * y, b2 * value - a2 * y
            value = y
        out.append(value)
    return np.array(out)


@pytest.mark.parametrize(("hz", "below_db"), [(None, -52.0), (5000, -42.0)])
def test_a_bell_that_sweeps_is_one_designed_anew_for_every_frame(hz, below_db):
    """Within what steps of 16 frames leave; jumps every 256 frames leave 15 dB more."""
    t = np.arange(38400) / RATE_HZ
    audio = phrases(len(t), 1)[:, 0] if hz is None else 0.5 * np.sin(2.0 * np.pi * hz * t)
    band = EqBand(hz=200.0, gain_db=12.0, q=2.0)
    out = moved(Filters(bands=(band,)), audio[:, np.newaxis], {"bands[0].hz": sweep_hz})[:, 0]
    wanted = swept_by_frames(band, audio, sweep_hz(t))
    jumps = swept_by_frames(band, audio, sweep_hz(t // (256 / RATE_HZ) * 256 / RATE_HZ))
    off_db, jumps_db = (20.0 * np.log10(np.std(one - wanted) / np.std(wanted)) for one in (out, jumps))
    assert off_db < below_db
    assert off_db < jumps_db - 12.0


def test_what_does_not_move_is_the_filter_as_it_stands():
    insert = Filters(
        high_pass=Pass(hz=80, slope_db_oct=18),
        bands=(EqBand(hz=900, gain_db=-6, q=3), EqBand(hz=9000, gain_db=12, q=0.5)),
    )  # fmt: skip
    audio = phrases(5000, 2)
    still = moved(insert, audio, {"bands[0].hz": lambda at_s: np.full(len(at_s), 900.0)})
    np.testing.assert_allclose(still, run(made(insert, RATE_HZ), audio), rtol=0, atol=1e-12 * np.abs(audio).max())


def test_before_and_after_it_moves_it_is_the_filter_as_it_stands():
    audio = phrases(RATE_HZ, 1)
    out = moved(Filters(bands=(EqBand(hz=200.0, gain_db=9.0),)), audio, {"bands[0].hz": sweep_hz})
    first, last = (run(made(Filters(bands=(EqBand(hz=hz, gain_db=9.0),)), RATE_HZ), audio) for hz in (200.0, 5000.0))
    np.testing.assert_allclose(out[:11776], first[:11776], rtol=0, atol=1e-12 * np.abs(audio).max())
    np.testing.assert_allclose(out[-6000:], last[-6000:], rtol=0, atol=1e-9 * np.abs(audio).max())


def test_a_band_moves_through_0_db_and_beyond_half_the_rate():
    audio = phrases(RATE_HZ // 4, 1)
    insert = Filters(bands=(EqBand(hz=1000.0, gain_db=0.0),), low_pass=Pass(hz=20000.0, slope_db_oct=48))
    through = {
        "bands[0].gain_db": lambda at_s: np.linspace(-12.0, 12.0, len(at_s)),
        "low_pass.hz": lambda at_s: np.linspace(500.0, 40000.0, len(at_s)),
    }
    out = moved(insert, audio, through)
    assert np.isfinite(out).all()
    assert np.abs(out).max() < 10.0 * np.abs(audio).max()


def test_linear_phase_does_not_move():
    with pytest.raises(SettingError, match=r'a filter of linear phase cannot move; set its phase to "minimum"'):
        movable(LINEAR, RATE_HZ)
