# SPDX-License-Identifier: Apache-2.0
"""The lead of a finished song as an interval: mixes whose lead is known because they are made so."""

import numpy as np
import pytest
from noises_of_profiles import RATE_HZ, noise

from mixwright.meter.measure import measure
from mixwright.reference.corridor import lead_of
from mixwright.reference.profile import profile


def sung(seconds=18.0, *, level, seed=1):
    """A voice of harmonics in the centre, four seconds of phrase and two of rest, over wide noise; and its loudness."""
    rng = np.random.default_rng(seed)
    at = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    notes = 110.0 * 2.0 ** (rng.integers(5, 17, 200) / 12.0)
    phase = np.cumsum(2.0 * np.pi * notes[(at / 0.4).astype(int)] * (1.0 + 0.01 * np.sin(35.0 * at)) / RATE_HZ)
    voice = sum(np.sin(k * phase) / k for k in range(1, 16)) * (at % 6.0 < 4.0)
    rest = noise(seconds, slope_db_oct=-4.5, side=0.6, seed=seed + 50)
    lead = np.repeat(level * 0.05 * voice[:, None], 2, axis=1).astype(np.float32)
    mix = lead + rest
    return mix, measure(lead, RATE_HZ).integrated_lufs - measure(mix, RATE_HZ).integrated_lufs


@pytest.mark.parametrize("level", [0.3, 0.6, 1.2])
def test_the_interval_holds_the_lead(level):
    mix, truth = sung(level=level)
    low, high = profile(mix, RATE_HZ).lead_between_lu
    assert low <= truth <= high
    assert high - low < 12.0


def test_a_louder_lead_is_told_as_louder():
    soft, loud = (profile(sung(level=level)[0], RATE_HZ).lead_between_lu for level in (0.3, 1.2))
    assert sum(loud) > sum(soft) + 3.0


def test_mono_gives_no_lead_away():
    mix, _ = sung(level=0.6)
    assert profile(mix[:, :1], RATE_HZ).lead_between_lu is None


def test_only_records_ticked_for_the_lead_are_estimated_for_the_voice_line():
    found = profile(sung(level=0.6)[0], RATE_HZ)
    assert lead_of([found], [()]) is None
    told = lead_of([found], [("lead",)])
    assert told.estimated
    assert (told.low, told.high) == found.lead_between_lu
    assert lead_of([found], [()], ticked=False) == told
