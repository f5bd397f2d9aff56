# SPDX-License-Identifier: Apache-2.0
"""Moments at which every layer is known: what they hold of each, and how loud they say it is."""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.hearing.components import RATE_HZ
from mixwright.hearing.fader import loudness
from mixwright.hearing.feed import held
from mixwright.hearing.hear import hear
from mixwright.hearing.heard import ALONE
from mixwright.hearing.moments import MOMENTS, joined_moments
from mixwright.hearing.packed import pack, unpack
from mixwright.hearing.phon import phon_from_sone
from reference.six_layers import six_layers

SECONDS = 8.0
EDGE_S = 5.12
OFFSET_DB = 103.01


@pytest.fixture(scope="module")
def song():
    """Four layers that go on; a voice that sounds for 5 % of the time, and one that never does."""
    layers = {name: x for name, x in six_layers(SECONDS).items() if name in ("kick", "bass", "pad", "voice")}
    at_s = np.arange(len(layers["pad"])) / RATE_HZ
    layers["seldom"] = layers["voice"][::-1] * ((at_s > 2.0) & (at_s < 2.25))
    layers["never"] = np.zeros(len(at_s))
    return {name: np.stack([x, 0.7 * x], axis=1).astype(np.float32) for name, x in layers.items()}


@pytest.fixture(scope="module")
def hearing(song):
    layers = {name: held(x) for name, x in song.items()}
    frames = round(SECONDS * RATE_HZ)
    return hear(layers, rate_hz=RATE_HZ, frames=frames, offset_db=OFFSET_DB, edges_s=[EDGE_S], leads={"voice"})


@pytest.fixture(scope="module")
def kept(hearing):
    """Moments of both stretches as they are kept, and the layers there."""
    found = []
    for k in range(2):
        packed = pack({name: one.stretches[k] for name, one in hearing.layers.items()}, hearing.taken[k])
        layers, _ = unpack(packed, list(hearing.layers))
        found.append((next(iter(layers.values())).moments, layers))
    return found


def test_a_layer_that_sounds_seldom_has_its_own(kept):
    """48 at least, and about as many in all as are wanted; none of one that never sounds."""
    for moments, layers in kept:
        assert moments.layers == tuple(layers)
        assert MOMENTS * 0.95 <= len(moments) <= 1.5 * MOMENTS
        own = dict(zip(moments.layers, np.count_nonzero(moments.seconds, axis=1), strict=True))
        assert own["never"] == 0
        assert min(own[name] for name in ("kick", "bass", "pad")) >= 0.9 * MOMENTS
    own = np.count_nonzero(kept[0][0].seconds[kept[0][0].layers.index("seldom")])
    assert 48 <= own <= MOMENTS


def test_every_layer_is_as_loud_as_it_was_heard(kept):
    """Alone, strict and cued within 0.3 phon (the project's own mark), as kept; a lead in its dense sketch, too."""
    for moments, layers in kept:
        for row, (name, one) in enumerate(layers.items()):
            sounding = one.total[ALONE] > 0.05
            if not sounding.any():
                continue
            full = one.total[:, sounding].mean(axis=1)
            for sketch in (moments.sketch(row), one.sketch):
                found = sketch.mean(loudness(sketch).astype(float))
                np.testing.assert_allclose(phon_from_sone(found), phon_from_sone(full), atol=0.3, err_msg=name)
        assert len(layers["voice"].sketch) > 1.5 * len(moments)


def test_weights_are_times(hearing, kept):
    """Seconds of a layer add up to the time in which it sounds; those of moments to that in which anything does."""
    for moments, layers in kept:
        for row, one in enumerate(layers.values()):
            assert moments.seconds[row].sum() == pytest.approx(one.active_s)
        assert np.all(moments.time_s > 0.0)
        assert np.all(np.diff(moments.at_s) > 0.0)
    for k, stretch in enumerate(hearing.stretches):
        anything = np.any([one.stretches[k].total[ALONE] > 0.05 for one in hearing.layers.values()], axis=0)
        assert kept[k][0].time_s.sum() == pytest.approx(anything.mean() * stretch.length_s, rel=0.02)


def test_powers_at_a_moment_are_of_one_instant(song):
    """Of two layers each is the other's rest; of three the sums of powers are the mix where they share nothing."""
    layers = {name: held(song[name]) for name in ("pad", "kick")}
    found = hear(layers, rate_hz=RATE_HZ, frames=round(SECONDS * RATE_HZ), offset_db=OFFSET_DB).moments(0.0, SECONDS)
    for row in range(2):
        within = 1e-5 * found.mix.sum(axis=-1, keepdims=True)
        assert np.all(np.abs(found.rest[row] - found.power[1 - row]) <= within + 1e-3 * found.power[1 - row])
    # What two sounds have in common is at most twice the root of the product of their powers (Cauchy and Schwarz).
    most = (np.sqrt(found.power[0]) + np.sqrt(found.power[1])) ** 2
    assert np.all(found.mix <= most * 1.01 + 1e-5 * found.mix.sum(axis=-1, keepdims=True))


def test_what_is_kept_is_what_was_drawn(hearing, kept):
    """Powers within a step of 2 dB (and its rounding), where more than -10 dB."""
    for k, (moments, _) in enumerate(kept):
        drawn = hearing.layers["pad"].stretches[k].moments
        assert moments.at_s.tobytes() == drawn.at_s.tobytes()
        np.testing.assert_allclose(moments.time_s, drawn.time_s, rtol=1e-6)
        np.testing.assert_array_equal(moments.seconds > 0.0, drawn.seconds > 0.0)
        np.testing.assert_allclose(moments.seconds, drawn.seconds, rtol=8e-3)
        for found, was in ((moments.power, drawn.power), (moments.rest, drawn.rest), (moments.mix, drawn.mix)):
            np.testing.assert_allclose(found, was, rtol=0.26, atol=0.13)


def test_a_part_of_the_song_has_the_moments_of_its_stretches(hearing):
    first, second = (next(iter(hearing.layers.values())).stretches[k].moments for k in range(2))
    whole = hearing.moments(0.0, SECONDS)
    assert len(whole) == len(first) + len(second)
    assert np.all(np.diff(whole.at_s) > 0.0)
    assert len(hearing.moments(EDGE_S, SECONDS)) == len(second)
    assert whole.power[:, :, len(first) :].tobytes() == second.power.tobytes()
    assert len(joined_moments(("a",), [])) == len(hearing.moments(99.0, 100.0)) == 0
