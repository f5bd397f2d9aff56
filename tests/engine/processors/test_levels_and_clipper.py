# SPDX-License-Identifier: Apache-2.0
"""Levelling in ranges, and clipping: what is promised of their settings."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.processors.examples import RATE_HZ
from engine.processors.tones import milliseconds_to, sine
from mixwright.engine.chain import Chain
from mixwright.engine.processors.insert import made
from mixwright.errors import SettingError
from mixwright.model.dynamics_inserts import Clipper, LevelRange, Levels
from mixwright.model.song import changed


def levels(*, rms_ms=50, **of_all):
    return Levels(hz=(50, 8000), ranges=(LevelRange(target_db=-30, **of_all),) * 3, rms_ms=rms_ms)


def gain_of_middle_db(insert, level_db):
    """Of a tone in the middle range, RMS, after it has settled."""
    chain, audio = Chain(made(insert, RATE_HZ), 1), sine(632, level_db + 3.0103, 1.5)
    gains = np.empty((len(audio), 3), np.float32)
    chain.process(audio, None, gains)
    return 20.0 * np.log10(gains[:, 1].astype(np.float64))


@pytest.mark.parametrize(
    ("level_db", "gain_db"),
    # Towards -30 dBFS by +3 and -6 dB; above a floor of -50 dBFS by no more than the level lies above that.
    [(-40, 3), (-32, 2), (-30, 0), (-27, -3), (-20, -6), (-48, 2), (-50, 0), (-60, 0)],
)
def test_a_range_is_moved_to_its_target_within_its_limits(level_db, gain_db):
    assert gain_of_middle_db(levels(attack_ms=100), level_db)[-1] == pytest.approx(gain_db, abs=0.05)


def test_levels_follow_with_attack_and_release():
    chain = Chain(made(levels(rms_ms=1, raise_db=0, attack_ms=50, release_ms=150), RATE_HZ), 1)
    audio = np.concatenate([sine(632, db, s) for db, s in ((-60, 1.0), (-10, 1.0), (-90, 1.0))])
    gains = np.empty((len(audio), 3), np.float32)
    chain.process(audio, None, gains)
    db = 20.0 * np.log10(gains[:, 1])
    fell = milliseconds_to(db[RATE_HZ:] < -6.0 * (1.0 - math.exp(-1.0)))
    assert fell == pytest.approx(50.0, rel=0.02)
    rises = db[2 * RATE_HZ :]
    at = [milliseconds_to(rises > part * rises[0]) for part in (0.5, 0.5 * math.exp(-1.0))]
    assert at[1] - at[0] == pytest.approx(150.0, rel=0.02)


def test_levels_without_limits_are_flat():
    """As a crossover of Linkwitz and Riley is: within 0.01 dB, but for the phase."""
    impulse = np.zeros((1 << 15, 1))
    impulse[0] = 1.0
    Chain(made(levels(raise_db=0, lower_db=0), RATE_HZ), 1).process(impulse)
    assert np.abs(20.0 * np.log10(np.abs(np.fft.rfft(impulse[:, 0])))).max() < 0.001


@given(
    ranges=st.lists(
        st.builds(
            LevelRange,
            target_db=st.floats(-80, 0),
            raise_db=st.floats(0, 24),
            lower_db=st.floats(0, 24),
            floor_db=st.floats(-120, 0),
            attack_ms=st.floats(0.1, 200),
            release_ms=st.floats(5, 3000),
        ),
        min_size=3,
        max_size=5,
    ),
    seed=st.integers(0, 99),
)
@settings(max_examples=15)
def test_levels_stay_within_their_limits(ranges, seed):
    random = np.random.default_rng(seed)
    audio = random.standard_normal((2000, 2)) * 10.0 ** random.uniform(-4, 1, (2000, 1))
    insert = Levels(hz=(100, 500, 2000, 8000)[: len(ranges) - 1], ranges=tuple(ranges))
    chain = Chain(made(insert, RATE_HZ), 2)
    gains = np.empty((2000, len(ranges)), np.float32)
    chain.process(audio, None, gains)
    db = 20.0 * np.log10(gains.astype(np.float64))
    assert (db <= [one.raise_db + 1e-5 for one in ranges]).all()
    assert (db >= [-one.lower_db - 1e-5 for one in ranges]).all()


def test_levels_says_how_many_frequencies_are_missing():
    with pytest.raises(SettingError, match="levels has 3 ranges and 3 frequencies between them") as error:
        made(Levels(hz=(100, 1000, 5000), ranges=(LevelRange(target_db=-30),) * 3), RATE_HZ)
    assert error.value.hint == "name 2 frequencies, or 4 ranges"


def clipped(insert, audio):
    out = audio.copy()
    Chain(made(insert, RATE_HZ), 1).process(out)
    return out


@pytest.mark.parametrize("ceiling_db", [-1, -3, -6, -12])
@pytest.mark.parametrize(("knee_db", "oversampling"), [(3, 4), (6, 4), (0, 8), (3, 8)])
def test_clipping_a_tone_leaves_no_aliases(ceiling_db, knee_db, oversampling):
    """5 kHz at 0 dBFS: what is not a harmonic lies below -70 dBFS, up to 20 kHz and above."""
    insert = Clipper(ceiling_db=ceiling_db, knee_db=knee_db, oversampling=oversampling)
    for hz in (5000, 4999):
        spectrum = np.abs(np.fft.rfft(clipped(insert, sine(hz, 0, 2))[RATE_HZ:, 0])) / (RATE_HZ / 2)
        spectrum[::hz] = 0.0
        assert 20.0 * math.log10(spectrum.max()) < -70.0
        assert spectrum[1 : 2 * hz].max() > 0.0


def test_a_clipper_leaves_what_is_below_its_knee_and_holds_the_rest():
    insert = Clipper(ceiling_db=-6, knee_db=6)
    late = Chain(made(insert, RATE_HZ), 1).latency_frames
    soft = sine(100, -12.1, 0.2)
    assert np.array_equal(clipped(insert, soft)[late:], soft[:-late])
    for knee_db in (0, 6):
        out = clipped(changed(insert, knee_db=knee_db), sine(100, 12, 0.5))
        middle = np.abs(out[RATE_HZ // 4 : RATE_HZ // 2])
        assert 20.0 * math.log10(np.median(middle)) == pytest.approx(-6.0, abs=0.01)
        assert 20.0 * math.log10(middle.max()) < -6.0 + 1.0
