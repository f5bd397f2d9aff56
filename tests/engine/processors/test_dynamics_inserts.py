# SPDX-License-Identifier: Apache-2.0
"""What follows levels, against the paper that it is after, and what is promised of the settings.

The paper: D. Giannoulis, M. Massberg, J. D. Reiss, "Digital dynamic range compressor design: a tutorial and analysis",
J. Audio Eng. Soc. 60(6), 2012. Its equations are quoted at second hand (from implementations) and from memory.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from engine.processors.examples import RATE_HZ
from engine.processors.tones import level, milliseconds_to, sine
from mixwright.engine.chain import Chain
from mixwright.engine.processors.insert import made
from mixwright.model.dynamics_inserts import (
    Compressor,
    DeEsser,
    Detector,
    Expander,
    Transients,
)
from mixwright.model.filters import Pass
from mixwright.model.song import changed

COMPRESSOR = Compressor(threshold_db=-20, ratio=4, knee_db=0, attack_ms=10, release_ms=100)
#: As much reduction a dB below the threshold as COMPRESSOR makes above it: the same curve mirrored.
EXPANDER = Expander(
    threshold_db=-20, ratio=1.75, knee_db=0, range_db=60, hysteresis_db=0, attack_ms=10, hold_ms=0, release_ms=100
)
# Worked from the paper's equation 4: threshold -20 dB, ratio 4; level, then output with a knee of 0 and of 10 dB.
POINTS = [
    (-30, -30, -30),
    (-24, -24, -24.0375),
    (-22, -22, -22.3375),
    (-20, -20, -20.9375),
    (-18, -19.5, -19.8375),
    (-16, -19, -19.0375),
    (-15, -18.75, -18.75),
    (-10, -17.5, -17.5),
    (0, -15, -15),
]


def gains_db(insert, audio, key=None):
    """The gains that an insert makes, dB ``(frames, columns)``; what it puts out is checked to be audio times gains."""
    chain = Chain(made(insert, RATE_HZ), audio.shape[1])
    gains, out = np.empty((len(audio), chain.gains), np.float32), np.array(audio, dtype=np.float64)
    chain.process(out, None if key is None else np.ascontiguousarray(key[:, np.newaxis], dtype=np.float32), gains)
    assert np.array_equal(out, audio * gains[:, : audio.shape[1]].astype(np.float64))
    return 20.0 * np.log10(gains.astype(np.float64))


def settled_db(insert, audio, key=None):
    return float(gains_db(insert, audio, key)[-1, 0])


@pytest.mark.parametrize(("level_db", "hard_db", "soft_db"), POINTS)
@pytest.mark.parametrize("kind", ["peak", "rms"])
def test_static_curve_of_the_compressor(kind, level_db, hard_db, soft_db):
    for knee_db, wanted_db in ((0.0, hard_db), (10.0, soft_db)):
        insert = changed(COMPRESSOR, knee_db=knee_db, attack_ms=1, detector=Detector(kind=kind, rms_ms=10))
        assert level_db + settled_db(insert, level(level_db, 0.3)) == pytest.approx(wanted_db, abs=0.001)


@pytest.mark.parametrize(("level_db", "hard_db", "soft_db"), POINTS)
def test_static_curve_of_the_expander_is_the_mirrored_one(level_db, hard_db, soft_db):
    mirrored_db = -40.0 - level_db
    for knee_db, wanted_db in ((0.0, hard_db), (10.0, soft_db)):
        insert = changed(EXPANDER, knee_db=knee_db)
        assert settled_db(insert, level(mirrored_db, 1.5)) == pytest.approx(wanted_db - level_db, abs=0.001)


def test_detectors_read_a_sine_as_defined():
    """RMS of a sine: 3.01 dB below its peak. EBU Tech 3341, case 1: 1 kHz at -23 dBFS in both channels is -23 LUFS."""
    quick = changed(COMPRESSOR, attack_ms=1, threshold_db=-40, ratio=20)
    for kind, audio, read_db in (
        ("peak", sine(1000, -23, 1.5, 2), -23.0),
        ("rms", sine(1000, -23, 1.5, 2), -23.0 - 20.0 * math.log10(math.sqrt(2.0))),
        ("loudness", sine(1000, -23, 1.5, 2), -23.0),
        ("loudness", sine(1000, -23, 1.5, 1), -23.0 - 10.0 * math.log10(2.0)),
    ):
        reduction = -settled_db(changed(quick, detector=Detector(kind=kind, rms_ms=100)), audio)
        assert reduction == pytest.approx((read_db + 40.0) * 0.95, abs=0.05), kind


# Smooth decoupled detector, time constants of 10 and 100 ms, measured on steps of the reduction by an independent
# implementation: 63 % and 90 % of a rise of 12 dB, fall to 37 %, fall from 12 dB to 3 dB + 9 dB / e.
TABLE_MS = (10.00, 23.02, 110.52, 110.52)


def times_ms(reduction):
    """Of a reduction of 12 dB from 0.5 s on, of none from 1.5 s on, 12 dB from 3 s on, 3 dB from 4 s on."""
    half, rise, fall, partly = (reduction[round(s * RATE_HZ) :] for s in (0.5, 0.5, 1.5, 4.0))
    return (
        milliseconds_to(half >= 12.0 * (1.0 - math.exp(-1.0))),
        milliseconds_to(rise >= 12.0 * 0.9),
        milliseconds_to(fall <= 12.0 * math.exp(-1.0)),
        milliseconds_to(partly <= 3.0 + 9.0 * math.exp(-1.0)),
    )


def test_attack_and_release_of_the_compressor():
    steps = [level(db, s) for db, s in ((-30, 0.5), (-4, 1.0), (-30, 1.5), (-4, 1.0), (-16, 1.0))]
    assert times_ms(-gains_db(COMPRESSOR, np.concatenate(steps))[:, 0]) == pytest.approx(TABLE_MS, rel=0.005)


def test_attack_and_release_of_the_expander():
    """It opens as the compressor attacks, and closes as that releases: what is left of 12 dB, seen from below."""
    steps = [level(db, s) for db, s in ((-36, 0.5), (-10, 1.0), (-36, 1.5), (-10, 1.0), (-32, 1.0))]
    opened = 12.0 + gains_db(EXPANDER, np.concatenate([level(-36, 1.0), *steps]))[RATE_HZ:, 0]
    assert times_ms(opened)[:3] == pytest.approx(TABLE_MS[:3], rel=0.005)


def test_attack_on_a_burst_of_a_sine():
    """5 kHz from -30 to -10 dBFS: 63 % of the reduction after the attack time, as envelopes tell; within 5 %."""
    audio = np.concatenate([sine(5000, -30, 0.5), sine(5000, -10, 0.5)])
    reduction = -gains_db(COMPRESSOR, audio)[:, 0]
    reached = milliseconds_to(reduction[RATE_HZ // 2 :] >= reduction[-1] * (1.0 - math.exp(-1.0)))
    assert reached == pytest.approx(10.0, rel=0.05)
    assert reduction[-1] == pytest.approx(7.5, abs=0.1)


def test_slow_release_is_for_what_lasted():
    """After a peak nothing of it is left; after a long stretch the mean reduction is, which decays at its own pace."""
    auto = changed(COMPRESSOR, attack_ms=1, release_ms=50, slow_release_ms=1000)
    for loud_s in (0.02, 3.0):
        reduction = -gains_db(auto, np.concatenate([level(-4, loud_s), level(-60, 1.0)]))[:, 0]
        after = reduction[round((loud_s + 0.5) * RATE_HZ)]
        # The mean of 12 dB for so long, and then (released) of 12 dB that decay in 50 ms, after the rest of 0.5 s.
        built = 12.0 * (1.0 - math.exp(-loud_s)) * math.exp(-0.5) + 12.0 * 0.05 / 0.95 * math.exp(-0.5)
        assert after == pytest.approx(built, rel=0.02)


@given(
    insert=st.builds(
        Compressor,
        threshold_db=st.floats(-80, 0),
        ratio=st.floats(1, 20),
        knee_db=st.floats(0, 24),
        attack_ms=st.floats(0.1, 200),
        release_ms=st.floats(5, 3000),
        slow_release_ms=st.none() | st.floats(5, 10000),
        range_db=st.none() | st.floats(0, 60),
        detector=st.builds(
            Detector,
            kind=st.sampled_from(["peak", "rms", "loudness"]),
            rms_ms=st.floats(0.1, 3000),
            link=st.floats(0, 1),
            high_pass=st.none() | st.builds(Pass, hz=st.floats(20, 1000)),
        ),
    ),
    seed=st.integers(0, 99),
)
@settings(max_examples=40)
def test_a_compressor_never_raises_and_keeps_its_range(insert, seed):
    random = np.random.default_rng(seed)
    audio = random.standard_normal((2000, 2)) * 10.0 ** random.uniform(-4, 1, (2000, 1))
    gains = gains_db(insert, audio)
    assert gains.max() <= 0.0
    assert insert.range_db is None or gains.min() >= -insert.range_db - 1e-5


@pytest.mark.parametrize("insert", [COMPRESSOR, EXPANDER], ids=["compressor", "expander"])
@pytest.mark.parametrize("kind", ["peak", "rms", "loudness"])
@given(seed=st.integers(0, 99))
@settings(max_examples=5)
def test_unlinked_equals_two_mono_runs(insert, kind, seed):
    random = np.random.default_rng(seed)
    audio = random.standard_normal((3000, 2)) * random.uniform(0, 1, 2) ** 2
    both = gains_db(changed(insert, detector=Detector(kind=kind, link=0)), audio)
    for k in range(2):
        alone = gains_db(changed(insert, detector=Detector(kind=kind)), np.ascontiguousarray(audio[:, k : k + 1]))
        assert np.array_equal(both[:, k], alone[:, 0])


def test_link_shares_the_reduction():
    """At 0.25 the soft channel takes a quarter of what the loud one asks for, and the loud one all of it."""
    audio = np.concatenate([level(-4, 0.5), level(-40, 0.5)], axis=1)
    gains = gains_db(changed(COMPRESSOR, detector=Detector(link=0.25)), audio)
    assert gains[-1] == pytest.approx([-12.0, -3.0], abs=0.001)


def test_what_it_listens_to_is_filtered_and_keyed():
    bass, high = sine(50, -6, 0.5), sine(2000, -6, 0.5)
    filtered = changed(COMPRESSOR, detector=Detector(high_pass=Pass(hz=500, slope_db_oct=24)))
    assert settled_db(filtered, bass) == 0.0
    assert settled_db(filtered, high) == pytest.approx(settled_db(COMPRESSOR, high), abs=0.1)
    key = np.repeat(high, 2, axis=1)
    keyed = changed(COMPRESSOR, key="voice")
    assert settled_db(keyed, 1e-6 * bass, key) == pytest.approx(settled_db(COMPRESSOR, high), abs=1e-5)
    assert not gains_db(keyed, bass, 0.0 * key).any()


def test_a_gate_holds_and_does_not_chatter():
    """A tone 2 dB below the threshold opens nothing; after one louder period it keeps open what 4 dB less closes."""
    gate = Expander(threshold_db=-20, ratio=100, range_db=40, knee_db=0, hysteresis_db=4, hold_ms=30, release_ms=5)
    tone = [sine(100, db, s) for db, s in ((-22, 0.5), (-19, 0.02), (-22, 0.5), (-26, 0.5))]
    gains = gains_db(gate, np.concatenate(tone))[:, 0]
    before, opened, closed = gains[round(0.4 * RATE_HZ)], gains[round(0.6 * RATE_HZ) :], gains[-1]
    assert before == pytest.approx(-40.0, abs=0.01)
    assert np.abs(opened[: round(0.41 * RATE_HZ)]).max() < 0.01
    assert closed == pytest.approx(-40.0, abs=0.01)
    # The tone ends on a rise from zero: its last sample above -24 dBFS comes so long before.
    last = math.asin(10.0 ** (-2.0 / 20.0)) / (2.0 * math.pi * 100.0)
    shuts = milliseconds_to(opened < -0.1) - 420.0
    assert 30.0 - 1000.0 * last < shuts < 30.0 + 1.0


def hit(seconds, level_db=0.0, decay_s=0.15, hz=180.0):
    """A struck tone; an invented drum."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return (10.0 ** (level_db / 20.0) * np.exp(-t / decay_s) * np.sin(2.0 * np.pi * hz * t + 1.0))[:, np.newaxis]


@given(
    insert=st.builds(
        Transients,
        attack_db=st.floats(-15, 15),
        sustain_db=st.floats(-15, 15),
        attack_ms=st.floats(5, 200),
        sustain_ms=st.floats(100, 3000),
    ),
    octaves=st.integers(-30, 10),
)
@settings(max_examples=20)
def test_transients_are_the_same_at_any_level(insert, octaves):
    audio = np.concatenate([hit(0.1), hit(0.2, -20), hit(0.1, -6, hz=900)])
    np.testing.assert_array_equal(gains_db(insert, audio * 2.0**octaves), gains_db(insert, audio))


def test_attack_and_sustain_are_reached_and_let_go():
    audio = np.concatenate([level(-60, 0.5), hit(1.0), hit(1.0, -20)])
    for insert in (Transients(attack_db=6), Transients(attack_db=-6)):
        gains = gains_db(insert, audio)[RATE_HZ // 2 :, 0]
        attack = gains[round(0.002 * RATE_HZ) : round(0.008 * RATE_HZ)]
        assert attack == pytest.approx(insert.attack_db, abs=0.01)
        assert np.abs(gains[round(0.1 * RATE_HZ) : RATE_HZ]).max() < 0.05
    rings = gains_db(Transients(sustain_db=6), audio)[RATE_HZ // 2 :, 0]
    assert np.abs(rings[: round(0.01 * RATE_HZ)]).max() < 0.3
    assert rings[round(0.5 * RATE_HZ)] == pytest.approx(6.0, abs=0.01)


@pytest.mark.parametrize("hz", [41.2, 110.0, 1000.0])
def test_transients_leave_steady_tones(hz):
    """The lowest note of a bass guitar (E1, 41.2 Hz) is moved by a tenth of what a hit is."""
    steady = gains_db(Transients(attack_db=6, sustain_db=6), sine(hz, -12, 2.0))[RATE_HZ:]
    assert np.abs(steady).max() < 0.6


def hiss(level_db, seconds, seed=1):
    """Noise around 7 kHz: an invented S."""
    noise = np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ))
    shaped = signal.sosfilt(signal.butter(2, [5000, 9000], "bandpass", fs=RATE_HZ, output="sos"), noise)
    return (shaped / shaped.std() * 10.0 ** (level_db / 20.0))[:, np.newaxis]


def spoken(level_db=0.0):
    """Vowels at -20 dBFS (RMS) between hisses of -16 and -40 dBFS; 0.5, 0.2, 0.3, 0.2 and 0.3 s."""
    vowel = [sine(200, -20 + 3.01, s) for s in (0.5, 0.3, 0.3)]
    both = [vowel[0], hiss(-16, 0.2), vowel[1], hiss(-40, 0.2, 2), vowel[2]]
    return np.concatenate(both) * 10.0 ** (level_db / 20.0)


HARSH, VOWEL, SOFT = ((slice(round(a * RATE_HZ), round(b * RATE_HZ))) for a, b in ((0.53, 0.7), (0.97, 1), (1.05, 1.2)))


def test_a_de_esser_takes_down_harsh_hisses_alone_at_any_level():
    gains = gains_of_parts = None
    for level_db in (0.0, -20.0 * math.log10(2.0) * 21):
        chain = Chain(made(DeEsser(threshold_db=-12, range_db=12), RATE_HZ), 1)
        audio, gains = spoken(level_db), np.empty((len(spoken()), 1), np.float32)
        chain.process(audio, None, gains)
        if gains_of_parts is not None:
            np.testing.assert_allclose(gains, gains_of_parts, rtol=1e-6)
        gains_of_parts = gains
    db = 20.0 * np.log10(gains[:, 0])
    assert db[HARSH].mean() < -5.0
    assert db[VOWEL].min() > -0.02
    assert db[SOFT].min() > -0.01
    assert db.min() >= -12.0 - 1e-5


def test_absolute_threshold_holds_the_band_there():
    """Slope 1: a tone in the middle of the band at -20 dBFS (RMS) comes out at the threshold of -26 dBFS."""
    insert = DeEsser(mode="wide", relative=False, threshold_db=-26, range_db=24, release_ms=100)
    assert settled_db(insert, sine(7000, -20 + 3.01, 0.5)) == pytest.approx(-6.0, abs=0.05)
    assert settled_db(insert, sine(700, -20 + 3.01, 0.5)) == 0.0


def test_split_leaves_what_lies_outside_the_band():
    """In the middle of the band it is the gain, three octaves below within 0.2 dB as it was; wide takes down both."""
    tones = sine(7000, -12, 0.5) + sine(875, -40, 0.5)
    for mode, low_db in (("split", 0.0), ("wide", -6.0)):
        out = tones.copy()
        Chain(made(DeEsser(mode=mode, relative=False, threshold_db=-40, range_db=6), RATE_HZ), 1).process(out)
        spectra = [np.abs(np.fft.rfft(x[-RATE_HZ // 5 :, 0])) for x in (out, tones)]
        for hz, wanted_db in ((7000, -6.0), (875, low_db)):
            moved = 20.0 * math.log10(spectra[0][hz // 5] / spectra[1][hz // 5])
            assert moved == pytest.approx(wanted_db, abs=0.2), (mode, hz)


def test_the_first_hiss_of_a_song_is_no_exception():
    """A band cannot be louder than the whole: 12 dB over the threshold at most, whatever the range."""
    assert gains_db(DeEsser(mode="wide", threshold_db=-12, range_db=24), hiss(-16, 0.1)).min() > -12.0
