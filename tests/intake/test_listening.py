# SPDX-License-Identifier: Apache-2.0
"""What listening finds under a constant offset: the sound without it."""

import numpy as np
import pytest

from mixwright.intake.likeness import Trace
from mixwright.intake.listening import listen

RATE_HZ = 48_000


def bass_with_offset(dbfs: float | None) -> np.ndarray:
    """Three seconds of silence, five of a 82 Hz tone with overtones, at an offset."""
    t = np.arange(5 * RATE_HZ) / RATE_HZ
    tone = 0.2 * sum(np.sin(2 * np.pi * 82.4 * k * t) / k for k in range(1, 9))
    sound = np.concatenate([np.zeros(3 * RATE_HZ), tone])
    offset = 0.0 if dbfs is None else 10.0 ** (dbfs / 20.0)
    return (sound + offset).astype(np.float32)[:, np.newaxis]


@pytest.mark.parametrize("dbfs", [None, -50.0, -36.0, -26.0])
def test_an_offset_is_no_sound(dbfs):
    heard = listen(bass_with_offset(dbfs), RATE_HZ)
    clean = listen(bass_with_offset(None), RATE_HZ)
    sounds = Trace(heard).sounds
    assert not sounds[:299].any()
    assert sounds[301:].all()
    assert heard.sounds_from_frame == pytest.approx(clean.sounds_from_frame, abs=20)
    assert Trace(heard).starts == Trace(clean).starts
    assert heard.timbre.low_share == pytest.approx(clean.timbre.low_share, abs=0.01)
    assert heard.timbre.sounding == pytest.approx(clean.timbre.sounding, abs=0.01)
