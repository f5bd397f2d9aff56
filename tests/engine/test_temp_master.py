# SPDX-License-Identifier: Apache-2.0
"""A temporary master: one gain over the mix, in its place, the same in any blocks."""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.engine.temp_master import TempMaster, mastered
from mixwright.model.dynamics_inserts import Compressor

RATE_HZ = 48000
COMPRESSOR = Compressor(threshold_db=-12.0, ratio=2.0, attack_ms=1.0, release_ms=60.0, range_db=2.0)


def joined(blocks, settings):
    found = list(mastered(blocks, RATE_HZ, settings))
    return [np.concatenate([getattr(one, name) for one in found]) for name in ("audio", "compressed", "limited")]


@pytest.mark.parametrize("compressor", [None, COMPRESSOR])
def test_it_is_the_mix_times_its_gains_in_any_blocks(compressor):
    mix = 0.3 * np.random.default_rng(0).standard_normal((20000, 2)).astype(np.float32)
    settings = TempMaster(6.0, -1.0, compressor=compressor)
    audio, compressed, limited = joined([mix], settings)
    assert len(audio) == len(mix)
    # In doubles: 1e-15. A frame late, or a gain left out, is far more.
    expected = mix * (10 ** (6 / 20) * compressed.astype(np.float64) * limited)[:, np.newaxis]
    assert np.abs(audio - expected).max() < 1e-12
    assert np.abs(audio).max() <= 10 ** (-1 / 20)
    assert limited.min() < 0.9
    assert bool(compressed.min() < 0.9) is (compressor is not None)
    # "At most": never below the range of the compressor.
    assert compressed.min() >= np.float32(10 ** (-2.001 / 20))
    for name, one in zip(("audio", "compressed", "limited"), joined(np.array_split(mix, 31), settings), strict=True):
        assert np.array_equal(one, {"audio": audio, "compressed": compressed, "limited": limited}[name])


def test_without_a_limiter_it_is_a_gain():
    mix = np.random.default_rng(0).standard_normal((500, 2))
    audio, compressed, limited = joined([mix], TempMaster(-6.0, None))
    assert np.abs(audio - 10 ** (-6 / 20) * mix).max() < 1e-12
    assert (compressed == 1.0).all()
    assert (limited == 1.0).all()


def test_silence_and_nothing():
    assert joined([np.zeros((10, 2))], TempMaster(0.0, -1.0))[0].shape == (10, 2)
    assert list(mastered([], RATE_HZ, TempMaster(0.0, -1.0))) == []
