# SPDX-License-Identifier: Apache-2.0
"""A layer that was heard alone before is not heard so again, and what is kept is the same to the bit."""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.hearing.feed import held
from mixwright.hearing.hear import Ear, hear_stretch
from mixwright.hearing.heard import ALONE, Stretch
from mixwright.hearing.packed import pack, unpack, unpack_alone
from mixwright.jobs.pool import Team
from mixwright.jobs.progress import Cancel, Job, silent
from mixwright.native import ear

RATE_HZ = 48000
#: Of 2.2 s, neither the song's start nor whole chunks.
STRETCH = Stretch(40, 178)


@pytest.fixture
def layers() -> dict[str, np.ndarray]:
    rng = np.random.default_rng(3)
    noise = 0.05 * rng.standard_normal((4, 3 * RATE_HZ, 2))
    at_s = np.arange(3 * RATE_HZ)[:, None] / RATE_HZ
    noise[0] *= at_s % 0.5 < 0.2
    noise[1] *= at_s < 1.0  # ends, and rings out
    noise[2] = 0.05 * np.sin(2.0 * np.pi * 440.0 * at_s)
    return dict(zip(("strikes", "ends", "tone", "noise"), noise, strict=True))


def packed(layers: dict[str, np.ndarray], workers: int = 1, **more: object) -> np.ndarray:
    with Team(workers) as team:
        settings = Ear(RATE_HZ, 90.0, "headphones", team, Job("", 9, silent), Cancel())
        sources = {name: held(audio) for name, audio in layers.items()}
        return pack(*hear_stretch(sources, None, STRETCH, settings, ("tone",), ("tone",), **more))


@pytest.mark.parametrize("workers", [1, 2])
def test_known_alone_is_as_heard(layers, workers, monkeypatch):
    first = packed(layers)
    names = [name for name in layers if name != "noise"]
    known = dict(zip(names, unpack_alone(first, [list(layers).index(name) for name in names]), strict=True))
    layers["noise"] = 3.0 * layers["noise"]
    anew = packed(layers)
    heard_alone = []
    real = ear.loudness
    monkeypatch.setattr(ear, "loudness", lambda own, *rest: (heard_alone.append(own is not None), real(own, *rest)))
    again = packed(layers, workers, known=known)
    assert np.array_equal(again, anew)
    assert not np.array_equal(first, anew)
    # Of three chunks and two ears; moments for sketches are heard with what they are alone.
    assert not all(heard_alone)


def test_what_is_kept_alone_is_part_of_what_is_kept(layers):
    kept = packed(layers)
    whole, _ = unpack(kept, list(layers))
    for part, alone in zip(whole.values(), unpack_alone(kept, range(4)), strict=True):
        assert np.array_equal(part.total[ALONE], alone.total)
        assert np.array_equal(part.bands[ALONE], alone.bands)
        assert np.array_equal(part.rise, alone.rise)
        assert np.array_equal(part.patterns[ALONE], alone.pattern)
        assert alone.total.max() > 0.1
