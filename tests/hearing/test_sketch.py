# SPDX-License-Identifier: Apache-2.0
"""Sketches of stretches: how loud they say a layer is, now and at another fader, beside hearing all of it."""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.hearing.components import RATE_HZ
from mixwright.hearing.fader import DENSE, FRAMES, Fader, loudness
from mixwright.hearing.feed import held
from mixwright.hearing.hear import hear
from mixwright.hearing.heard import ALONE, CUED, STRICT
from mixwright.hearing.moments import MOMENTS
from mixwright.hearing.packed import pack, unpack
from mixwright.hearing.phon import phon_from_sone
from mixwright.hearing.rise import GAINS_DB, rise_curve, rises_db
from reference.six_layers import six_layers

SECONDS = 12
OFFSET_DB = 103.01


def sounding(layer):
    return layer.total[ALONE] > 0.05


@pytest.fixture(scope="module")
def song():
    rng = np.random.default_rng(5)
    return {
        name: ([0.7, 1.0] * x[:, None] + 0.05 * np.std(x) * rng.standard_normal((len(x), 2))).astype(np.float32)
        for name, x in six_layers(float(SECONDS)).items()
    }


def heard(song, **settings):
    layers = {name: held(x) for name, x in song.items()}
    return hear(layers, rate_hz=RATE_HZ, frames=SECONDS * RATE_HZ, offset_db=OFFSET_DB, edges_s=[5.0], **settings)


@pytest.fixture(scope="module")
def hearing(song):
    return heard(song, leads={"voice"})


@pytest.fixture(scope="module")
def kept(hearing):
    """Every stretch after it was packed, and its size in bytes."""
    found = []
    for k in range(2):
        packed = pack({name: one.stretches[k] for name, one in hearing.layers.items()}, hearing.taken[k])
        found.append((*unpack(packed, list(hearing.layers)), packed.nbytes))
    return found


def test_a_sketch_is_as_loud_as_its_stretch(kept):
    """Alone, strict and cued within 0.3 phon (the project's own mark), of all six layers, as it is kept."""
    for layers, _, _ in kept:
        for name, one in layers.items():
            full = one.total[:, sounding(one)].mean(axis=1)
            found = one.sketch.mean(loudness(one.sketch).astype(float))
            np.testing.assert_allclose(phon_from_sone(found), phon_from_sone(full), atol=0.3, err_msg=name)


@pytest.mark.parametrize("gain_db", [-4.0, 4.0])
def test_a_sketch_knows_other_faders(song, hearing, gain_db):
    """Each layer moved in turn and all heard again: within 0.3 phon, strict 0.5; the kick, all but masked, 1."""
    for name in ("kick", "bass", "pad", "voice"):
        moved = heard({**song, name: (song[name] * 10.0 ** (gain_db / 20.0)).astype(np.float32)}).layers[name]
        for before, after in zip(hearing.layers[name].stretches, moved.stretches, strict=True):
            full = after.total[:, sounding(before)].mean(axis=1)
            found = before.sketch.mean(loudness(before.sketch.raised(gain_db)).astype(float))
            off = np.abs(phon_from_sone(found) - phon_from_sone(full))
            assert np.all(off < (1.0 if name == "kick" else np.array([0.3, 0.5, 0.3]))), name


def test_enough_frames_where_the_layer_sounds(hearing):
    for name, layer in hearing.layers.items():
        for stretch in layer.stretches:
            sketch = stretch.sketch
            assert len(sketch) >= (DENSE * 0.95 * len(stretch.total[0]) * 4 if name == "voice" else MOMENTS // 4)
            assert np.all(np.diff(sketch.at_s) > 0.0)
            assert sketch.seconds.sum() == pytest.approx(stretch.active_s)
            assert np.all(sketch.seconds > 0.0)
    # Of a lead, 32 frames or more in any second.
    for start_s in np.arange(0.0, SECONDS - 1.0, 0.37):
        assert len(hearing.layers["voice"].sketch.within(start_s, start_s + 1.0)) >= 32


def test_fewer_frames_only_where_it_sounds_less(song):
    short = song["voice"].copy()
    short[RATE_HZ // 10 :] = 0.0
    layer = heard({"voice": short, "pad": song["pad"]}).layers["voice"]
    first, second = layer.stretches
    assert MOMENTS // 4 <= len(first.sketch) < MOMENTS // 2
    assert len(second.sketch) == 0
    assert second.active_s == 0.0
    assert np.isnan(rises_db([rise_curve(second.sketch)], [0.0])).all()


def test_rises_as_solved(hearing):
    """Read from a few faders: within 0.15 dB of the fader at which the loudness is as wanted."""
    for name, layer in hearing.layers.items():
        stretch = layer.stretches[0]
        sketch = stretch.sketch.thinned(FRAMES)
        curve = rise_curve(sketch)
        rises = rises_db([curve], [stretch.active_s])
        wanted = float(sketch.mean(loudness(sketch)[ALONE].astype(float)))
        fader = Fader(sketch)
        for row in (STRICT, CUED):
            exact = fader.equivalent_db(wanted, row)
            found = rises[row - 1]
            assert (found == pytest.approx(max(exact, 0.0), abs=0.15)) if exact is not None else np.isinf(found), name


def test_stretches_of_a_rise_are_added_by_their_time(hearing):
    """One stretch twice, or beside one in which the layer is silent, rises as that one; two lie between theirs."""
    one, other = (rise_curve(stretch.sketch) for stretch in hearing.layers["bass"].stretches)
    silence = np.zeros((1 + len(GAINS_DB), 2), dtype=np.float32)
    np.testing.assert_allclose(rises_db([one, one], [2.0, 5.0]), rises_db([one], [1.0]))
    np.testing.assert_allclose(rises_db([one, silence], [2.0, 0.0]), rises_db([one], [1.0]))
    apart = np.array([rises_db([curve], [1.0]) for curve in (one, other)])
    both = rises_db([one, other], [1.0, 1.0])
    assert np.all((both >= apart.min(axis=0) - 0.1) & (both <= apart.max(axis=0) + 0.1))


def test_what_is_packed_is_what_was_heard(hearing, kept):
    for k, (layers, taken, _) in enumerate(kept):
        for name, one in layers.items():
            was = hearing.layers[name].stretches[k]
            np.testing.assert_allclose(one.total, was.total, rtol=1e-3, atol=1e-6)
            np.testing.assert_allclose(one.bands, was.bands, rtol=0.035, atol=1e-4)
            assert one.patterns.tobytes() == was.patterns.tobytes()
            assert one.active_s == was.active_s
            np.testing.assert_allclose(one.sketch.seconds, was.sketch.seconds, rtol=8e-3)
            assert one.sketch.at_s.tobytes() == was.sketch.at_s.tobytes()
            for power, before in ((one.sketch.layer, was.sketch.layer), (one.sketch.rest, was.sketch.rest)):
                np.testing.assert_allclose(power, before, rtol=0.26, atol=0.13)
        was_taken = hearing.taken[k]
        np.testing.assert_allclose(taken.cued, was_taken.cued, atol=0.01 * was_taken.cued.max())
        np.testing.assert_allclose(taken.cued.sum(axis=1), taken.loss_cued, rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(taken.loss_cued, was_taken.loss_cued, rtol=1e-6, atol=1e-6)


def test_it_is_small(kept):
    """Forty layers in eight stretches of half a minute make 20 MB if one second of one layer makes 2 kB."""
    for (layers, _, size), seconds in zip(kept, (5, 7), strict=True):
        frames = sum(len(one.sketch) for one in layers.values())
        assert size < 6 * seconds * 700 + frames * 300 + 150_000


def test_nothing_to_pack():
    none = np.zeros((1000, 2), np.float32)
    for song in ({}, {"a": none}):
        found = hear({k: held(x) for k, x in song.items()}, rate_hz=RATE_HZ, frames=1000, offset_db=OFFSET_DB)
        packed = pack({name: one.stretches[0] for name, one in found.layers.items()}, found.taken[0])
        layers, taken = unpack(packed, list(song))
        assert list(layers) == list(song)
        assert taken.cued.shape[:2] == (len(song), len(song))
