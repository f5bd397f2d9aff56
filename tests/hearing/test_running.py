# SPDX-License-Identifier: Apache-2.0
"""Loudness over time: tones that begin and end, two ears, and what the package's fast form makes of steady tones.

"Computed": with an independent implementation of the model of ISO 532-3:2023 (Glasberg and Moore 2002; Moore, Glasberg,
Varathanathan and Schlittenlacher 2016), at steps of 1 ms, bins 15.6 Hz apart; "published": ISO 532-3:2023, Annex C,
second-hand.
"""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.hearing.components import RATE_HZ
from mixwright.hearing.feed import held
from mixwright.hearing.hear import hear
from mixwright.hearing.heard import ALONE
from mixwright.hearing.tables import TONE_DB_SPL, TONE_SONE_ISO_532_3
from reference import ear_twin as twin

#: Level of a sine of amplitude 1 where `offset_db` is 100 minus this.
SINE_DB = -10.0 * np.log10(2.0)


def tone(hz, level_db, duration_s, silence_s=0.2):
    """A tone and silence after it; 100 dB SPL for a mean square of 1."""
    n = np.arange(round(duration_s * RATE_HZ))
    audio = 10.0 ** ((level_db - SINE_DB - 100.0) / 20.0) * np.sin(2.0 * np.pi * hz * n / RATE_HZ)
    return np.pad(audio, (0, round(silence_s * RATE_HZ)))


def maxima(left, right=None):
    """Largest short-term and long-term loudness."""
    total, ears = twin.short_term(left, right)
    return total, float(total.max()), float(twin.long_term(ears).max())


# Hz, dB SPL, seconds; largest short-term and long-term loudness in sone, both ears alike, free field; computed.
TONES = """
1000 40 1 1.077 1.0025
1000 60 1 4.835 4.168
1000 80 1 17.70 15.47
3000 60 1 7.613 7.233
4000 60 1 7.542 7.190
100 50 1 0.4056 0.3425
1000 60 0.01 2.907 0.706
1000 60 0.05 4.561 1.730
1000 60 0.1 4.814 2.620
1000 60 0.2 4.835 3.577
1000 60 0.5 4.835 4.138
"""


@pytest.mark.parametrize("line", TONES.split("\n")[1:-1], ids=lambda line: " ".join(line.split()[:3]))
def test_tones_that_begin_and_end(line):
    """Within 5 %, below 120 Hz 8 %; the onset, a click in the shortest window, differs by the phase of the tone."""
    hz, level_db, duration_s, short_term, long_term = map(float, line.split())
    _, short, long = maxima(twin.listen(tone(hz, level_db, duration_s)))
    within = 0.08 if hz < 120.0 else 0.05
    assert (short, long) == (pytest.approx(short_term, rel=within), pytest.approx(long_term, rel=within))


@pytest.mark.parametrize(
    ("hz", "level_db", "at_half", "long_term"),
    [(50.0, 80.0, 1.847, 1.898), (250.0, 60.0, 2.433, 2.447), (8000.0, 60.0, 2.070, 2.074)],
)
def test_steady_tones(hz, level_db, at_half, long_term):
    """0.8 s long: short-term loudness at 0.5 s, and the largest long-term loudness; computed."""
    total, _, long = maxima(twin.listen(tone(hz, level_db, 0.8)))
    within = 0.08 if hz < 120.0 else 0.05
    assert (total[500], long) == (pytest.approx(at_half, rel=within), pytest.approx(long_term, rel=within))


@pytest.mark.parametrize(("field", "short_term", "long_term"), [("diffuse", 5.130, 4.500), ("eardrum", 3.903, 3.494)])
def test_other_fields(field, short_term, long_term):
    _, short, long = maxima(twin.listen(tone(1000.0, 60.0, 1.0), field=field))
    assert (short, long) == (pytest.approx(short_term, rel=0.05), pytest.approx(long_term, rel=0.05))


@pytest.mark.parametrize(("right_db", "long_term"), [(None, 2.752), (54.0, 3.518), (48.0, 3.213)])
def test_two_ears(right_db, long_term):
    """1 kHz at 60 dB in the left ear, less or nothing in the right; computed."""
    left = twin.listen(tone(1000.0, 60.0, 1.0))
    right = np.zeros_like(left) if right_db is None else twin.listen(tone(1000.0, right_db, 1.0))
    assert maxima(left, right)[2] == pytest.approx(long_term, rel=0.05)


@pytest.mark.parametrize(
    ("left_db", "right_db", "sone"),
    [
        (60, 60, 4.166),
        (60, None, 2.777),
        (60, 54, 3.545),
        (60, 48, 3.239),
        (80, 80, 15.98),
        (80, None, 10.65),
        (40, None, 0.665),
    ],
)
def test_inhibition(left_db, right_db, sone):
    """Of steady tones of 1 kHz, C of ANSI S3.4-2007 over 0.75; computed, with inhibition, by another implementation."""
    c, centre_hz = twin.grid("ANSI S3.4")
    ears = []
    for level_db in (left_db, right_db):
        hz, power = twin.tone(1000.0, -200.0 if level_db is None else float(level_db))
        excited = twin.excitation(hz, twin.at_cochlea((hz, power)), centre_hz)
        ears.append(twin.specific_loudness(excited, c) / 0.75)
    assert 0.1 * np.sum(twin.inhibited(*ears, step_cam=0.1)) == pytest.approx(sone, rel=0.005)


def test_short_tone():
    """0.1 s of 1 kHz at 40 dB SPL and no silence after it, from another implementation's own tests."""
    total, _, long = maxima(twin.listen(tone(1000.0, 40.0, 0.1, 0.0)))
    assert long == pytest.approx(0.55138, rel=0.02)
    first = (0.06962, 0.12973, 0.18024, 0.22378, 0.26342)
    np.testing.assert_allclose(total[: len(first)], first, rtol=0.02)


#: Published: sound, its largest long-term loudness in sone and in phon.
PUBLISHED = [
    ([(3000.0, 20.0)], "0.37", 28.8),
    ([(3000.0, 40.0)], "1.9", 49.0),
    ([(3000.0, 60.0)], "7.2", 68.6),
    ([(3000.0, 80.0)], "26.4", None),
    ([(100.0, 50.0)], None, 28.2),
    ([(4000.0, 40.0)], None, 48.9),
    ([(1500.0, 60.0), (1600.0, 60.0), (1700.0, 60.0)], "6.36", 66.7),
    ([(1000.0, 60.0), (1600.0, 60.0), (2400.0, 60.0)], "12.8", 77.3),
    ([(100.0 * k, 30.0) for k in range(1, 11)], "1.88", 48.5),
]


@pytest.mark.parametrize(("parts", "sone", "phon"), PUBLISHED, ids=lambda value: str(value)[:30])
def test_published_sounds(parts, sone, phon):
    """Within 5 % and 0.7 phon, whatever the phases of the parts, which the standard leaves open."""
    audio = sum(tone(hz, level_db, 1.0) for hz, level_db in parts)
    _, _, long = maxima(twin.listen(audio))
    if sone is not None:
        assert long == pytest.approx(float(sone), rel=0.05)
    if phon is not None:
        own = np.interp(np.log(long), np.log(TONE_SONE_ISO_532_3), TONE_DB_SPL)
        assert own == pytest.approx(phon, abs=0.7)


def test_one_ear_at_the_eardrum():
    """Published: 1 kHz at 20, 40, 60 and 80 dB in one ear."""
    for level_db, sone, half in ((20.0, 0.06, 0.005), (40.0, 0.54, 0.005), (60.0, 2.3, 0.05), (80.0, 8.6, 0.05)):
        left = twin.listen(tone(1000.0, level_db, 1.0), field="eardrum")
        assert maxima(left, np.zeros_like(left))[2] == pytest.approx(sone, rel=0.02, abs=half)


# Steady tones, both ears: Hz, dB SPL, sone of the fast form as specified; own computation with other code.
STEADY = """
1000 20 0.137
1000 40 0.999
1000 60 4.104
1000 80 15.32
3000 60 7.214
100 50 0.328
50 80 1.764
40 80 0.989
63 70 1.20
250 60 2.428
4000 60 7.089
8000 60 2.079
12500 60 1.843
"""


def test_fast_form_of_steady_tones():
    """The package itself, at steps of 4 ms: within 1 %, which levels in whole dB make; below 80 Hz 2 %.

    There the ear's filter differs from the longer one of the specification by up to 0.2 dB.
    """
    rows = [tuple(map(float, line.split())) for line in STEADY.split("\n")[1:-1]]
    layers = {}
    for hz, level_db, _ in rows:
        audio = tone(hz, level_db, 0.5, 0.0).astype(np.float32)
        layers[f"{hz} Hz {level_db} dB"] = held(np.stack([audio, audio], axis=1))
    heard = hear(
        layers, held(np.zeros((24000, 2), np.float32)), rate_hz=RATE_HZ, frames=24000, offset_db=100.0, workers=1
    )
    for (hz, _, sone), layer in zip(rows, heard.layers.values(), strict=True):
        assert layer.total[ALONE, 12:25].mean() == pytest.approx(sone, rel=0.02 if hz < 80.0 else 0.01), hz
