# SPDX-License-Identifier: Apache-2.0
"""Speech intelligibility index against the worked examples of ANSI S3.5-1997, second-hand.

"Computed": with an independent implementation of the standard, with other code than ours.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixwright.hearing.sii import (
    BAND_HZ,
    BANDWIDTH_DB,
    IMPORTANCE,
    INTERNAL_NOISE_DB,
    SPEECH_DB,
    audibility,
    disturbance_db,
    intelligibility_index,
    spread_db,
)

BANDS = len(BAND_HZ)
SILENCE_DB = np.full(BANDS, -np.inf)
#: Worked example C.2: speech of 54 dB in all bands.
EXAMPLE_SPEECH_DB = np.full(BANDS, 54.0)
EXAMPLE_NOISE_DB = np.array([40.0, 30.0, 20.0, *[0.0] * (BANDS - 3)])
EXAMPLE_SPREAD_DB = (
    40.00, 34.66, 25.05, 21.67, 21.15, 22.38, 21.93, 21.48, 22.67, 22.79, 21.28, 22.95, 23.09, 22.66, 22.25, 23.35,
    22.98, 22.59,
)  # fmt: skip
EXAMPLE_AUDIBILITY = (
    0.897, 0.940, 0.942, 0.937, 0.941, 0.939, 0.925, 0.902, 0.881, 0.869, 0.851, 0.833, 0.807, 0.797, 0.783, 0.758,
    0.741, 0.732,
)  # fmt: skip
EXAMPLE_INDEX = 0.851374861875
#: Computed: normal speech in noise of its own spectrum, by signal-to-noise ratio in dB.
IN_LIKE_NOISE = {-15: 0.0, -10: 0.1248, -5: 0.2957, 0: 0.4663, 5: 0.6363, 10: 0.8052, 15: 0.9715, 20: 0.9958}
#: Computed: in quiet, by vocal effort.
IN_QUIET = {"normal": 0.9958, "raised": 0.9983, "loud": 0.9681, "shout": 0.9177}


def test_tables():
    """The importances add up to 1; each spectrum has the overall level that the standard gives it (0.1 dB)."""
    assert sum(IMPORTANCE) == pytest.approx(1.0, abs=1e-12)
    overall = {"normal": 62.35, "raised": 68.34, "loud": 74.85, "shout": 82.3}
    for effort, speech_db in SPEECH_DB.items():
        level_db = 10.0 * np.log10(np.sum(10.0 ** (np.add(speech_db, BANDWIDTH_DB) / 10.0)))
        assert level_db == pytest.approx(overall[effort], abs=0.1)


def test_worked_example_in_third_octaves():
    found = spread_db(EXAMPLE_SPEECH_DB, EXAMPLE_NOISE_DB)
    np.testing.assert_allclose(found, EXAMPLE_SPREAD_DB, atol=0.00501)
    heard = audibility(EXAMPLE_SPEECH_DB, disturbance_db(EXAMPLE_SPEECH_DB, EXAMPLE_NOISE_DB))
    np.testing.assert_allclose(heard, EXAMPLE_AUDIBILITY, atol=0.000501)
    assert float(intelligibility_index(EXAMPLE_SPEECH_DB, EXAMPLE_NOISE_DB)) == pytest.approx(EXAMPLE_INDEX, abs=1e-11)


def test_worked_example_in_octaves():
    """C.1: octave bands from 250 to 8000 Hz, where nothing spreads; the steps after the spread are the same."""
    speech_db, noise_db = np.array([50.0, 40, 40, 30, 20, 0]), np.array([70.0, 65, 45, 25, 1, -15])
    internal_db = np.array([-3.9, -9.7, -12.5, -17.7, -25.9, -7.1])
    normal_db = np.array([34.75, 34.27, 25.01, 17.32, 9.33, 1.13])
    heard = audibility(speech_db, np.maximum(noise_db, internal_db), normal_db)
    index = heard @ np.array([0.0617, 0.1671, 0.2373, 0.2648, 0.2142, 0.0549])
    assert index == pytest.approx(0.50396, abs=5e-6)


def test_speech_in_like_noise_and_in_quiet():
    normal_db = np.array(SPEECH_DB["normal"])
    found = intelligibility_index(normal_db, normal_db - np.array(list(IN_LIKE_NOISE))[:, None])
    np.testing.assert_allclose(found, list(IN_LIKE_NOISE.values()), atol=5.01e-5)
    found = intelligibility_index(np.array(list(SPEECH_DB.values())), SILENCE_DB)
    np.testing.assert_allclose(found, list(IN_QUIET.values()), atol=5.01e-5)


def test_limits():
    assert intelligibility_index(SILENCE_DB, SILENCE_DB) == 0.0
    assert intelligibility_index(SILENCE_DB, np.full(BANDS, 50.0)) == 0.0
    assert intelligibility_index(np.array(INTERNAL_NOISE_DB) - 15.0, SILENCE_DB) == pytest.approx(0.0, abs=1e-12)
    assert intelligibility_index(np.array(SPEECH_DB["normal"]), np.full(BANDS, 120.0)) == 0.0
    # An ear with a higher threshold hears less.
    raised = intelligibility_index(np.array(SPEECH_DB["normal"]), SILENCE_DB, 40.0)
    assert 0.0 < raised < IN_QUIET["normal"]


levels_db = st.lists(st.floats(-50.0, 110.0), min_size=BANDS, max_size=BANDS).map(np.array)


@settings(deadline=None, max_examples=50)
@given(levels_db, levels_db, st.floats(0.0, 40.0), st.integers(0, BANDS - 1))
def test_more_noise_in_any_band_never_helps(speech_db, noise_db, more_db, band):
    more = noise_db.copy()
    more[band] += more_db
    less, most = intelligibility_index(speech_db, more), intelligibility_index(speech_db, noise_db)
    assert 0.0 <= less <= most + 1e-12
    assert most <= 1.0


@settings(deadline=None, max_examples=20)
@given(st.lists(st.tuples(levels_db, levels_db), min_size=1, max_size=4))
def test_many_frames_at_once_are_each_as_alone(frames):
    speech_db, noise_db = (np.stack(part) for part in zip(*frames, strict=True))
    found = intelligibility_index(speech_db, noise_db)
    np.testing.assert_allclose(found, [intelligibility_index(*frame) for frame in frames], rtol=1e-12)
