# SPDX-License-Identifier: Apache-2.0
"""Stretches of a song: each is heard by itself, and yet as in the whole song; what is known of each."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from hearing.test_hear import OFFSET_DB, heard, noise, stereo
from mixwright.hearing.bands import PLACES, bands_of_places
from mixwright.hearing.fader import joined, loudness
from mixwright.hearing.feed import held
from mixwright.hearing.hear import Ear, hear_stretch
from mixwright.hearing.heard import ALONE, LAYER, REST, heard_of, stretches_of
from mixwright.hearing.heard_from import heard_span
from mixwright.hearing.moments import MOMENTS, MOMENTS_AT_EDGE
from mixwright.hearing.phon import phon_from_sone
from mixwright.hearing.scale import STEP_CAM
from mixwright.jobs.pool import Team
from mixwright.jobs.progress import Cancel, Job, silent
from reference import ear_twin as twin
from reference.six_layers import RATE_HZ, six_layers


@pytest.fixture(scope="module")
def song():
    """Six layers, 2 s."""
    return {name: stereo(x) for name, x in six_layers(2.0).items()}


@pytest.fixture(scope="module")
def hearing(song):
    return heard(song, edges_s=[1.2])


def test_stretches_split_the_song(song):
    """All stretches weighted by their time make the whole; edges lie at the nearest 64 ms."""
    whole, parts = heard(song).taken, heard(song, edges_s=[1.2])
    assert len(whole) == 1
    assert [(part.first, part.end) for part in parts.stretches] == [(0, 76), (76, 125)]
    mean = (76 * parts.taken[0].loss_cued + 49 * parts.taken[1].loss_cued) / 125
    np.testing.assert_allclose(whole[0].loss_cued, mean, rtol=1e-6, atol=1e-9)


def test_a_stretch_is_heard_as_in_the_whole_song(song, hearing):
    """What was heard half a second before is forgotten: each stretch begins anew, and yet nothing is heard of that."""
    whole = heard(song)
    for id_, one in hearing.layers.items():
        scale = whole.layers[id_].total.max()
        np.testing.assert_allclose(one.total, whole.layers[id_].total, rtol=1e-4, atol=1e-5 * scale)
        np.testing.assert_allclose(one.bands, whole.layers[id_].bands, rtol=1e-3, atol=1e-5 * scale)
        np.testing.assert_allclose(one.rise, whole.layers[id_].rise, rtol=1e-3, atol=1e-4 * scale)


def test_nothing_matters_but_what_is_heard_of_a_stretch(song):
    """Other audio from 0.2 s after a stretch on, and up to 0.8 s before it, changes not a bit of it."""
    other = {name: x.copy() for name, x in song.items()}
    for x in other.values():
        x[: round(0.2 * RATE_HZ)] *= 0.3
        x[round(1.8 * RATE_HZ) :] *= 0.5
    before, after = (heard(layers, edges_s=[1.0, 1.5]) for layers in (song, other))
    for id_ in song:
        one, same = before.layers[id_].stretches[1], after.layers[id_].stretches[1]
        assert one.total.tobytes() == same.total.tobytes()
        assert one.patterns.tobytes() == same.patterns.tobytes()
        assert one.sketch.rest.tobytes() == same.sketch.rest.tobytes()
        assert before.layers[id_].stretches[0].total.tobytes() != after.layers[id_].stretches[0].total.tobytes()
    assert before.taken[1].cued.tobytes() == after.taken[1].cued.tobytes()


def test_a_resampled_stretch_is_that_of_the_whole_song():
    """At 44.1 kHz every stretch is resampled from a place of its own: as the same song at 48 kHz but for rounding."""
    layers = {"a": stereo(noise(3.0, 1))[: 3 * 44100], "b": stereo(noise(3.0, 2))[: 3 * 44100]}
    whole, parts = (heard(layers, rate_hz=44100, edges_s=edges) for edges in ([], [0.7, 1.9]))
    assert len(parts.stretches) == 3
    for id_ in layers:
        np.testing.assert_allclose(parts.layers[id_].total, whole.layers[id_].total, rtol=1e-5, atol=1e-6)


def test_patterns_are_means_over_what_sounds(hearing):
    """Their sums over the filters are the loudness where the layer sounds; places add up to bands."""
    for layer in hearing.layers.values():
        for stretch in layer.stretches:
            sounding = stretch.total[ALONE] > 0.05
            assert stretch.active_s == pytest.approx(0.016 * sounding.sum())
            means = stretch.total[:, sounding].mean(axis=1)
            np.testing.assert_allclose(STEP_CAM * stretch.patterns[:3].sum(axis=1), means, rtol=2e-3)
            assert np.all(stretch.patterns >= 0.0)
    taken = hearing.taken[0]
    assert taken.cued.shape == (6, 6, PLACES)
    np.testing.assert_allclose(bands_of_places(taken.cued).sum(axis=-1), taken.cued.sum(axis=-1), rtol=1e-9)


def test_patterns_of_excitation_are_means_of_both_ears():
    """Of a layer and of the rest, against the twin: within 1 %, below 80 Hz, like the ear's filter, 3 %."""
    a, b = noise(0.512, 12), noise(0.512, 13, 0.02)
    signal, rest = twin.running_excitation(
        [twin.running_power(x, OFFSET_DB, 4, 1) for x in (a, b)], twin.running_power(a + b, OFFSET_DB, 4, 1)
    )
    both = heard({"a": stereo(a), "b": stereo(b)}).layers["a"].stretches[0]
    one = heard({"a": stereo(a, 0.0 * a), "b": stereo(b, 0.0 * b)}).layers["a"].stretches[0]
    assert both.active_s == 0.512
    for row, wanted in ((LAYER, signal.mean(axis=0)), (REST, rest.mean(axis=0))):
        assert np.all(np.abs(both.patterns[row] / wanted - 1.0) < np.where(twin.centres() < 80.0, 0.03, 0.01))
        np.testing.assert_allclose(one.patterns[row], 0.5 * both.patterns[row], rtol=1e-4)


def test_long_stretches_are_cut_and_a_song_of_no_length_is_one():
    half_minutes = [(part.first, part.end) for part in stretches_of(6000, [1e9, -1.0])]
    assert half_minutes == [(0, 2000), (2000, 4000), (4000, 6000)]
    assert [(part.first, part.end) for part in stretches_of(0, [1.0])] == [(0, 0)]
    assert [(part.first, part.end) for part in stretches_of(3, [0.0, 0.01])] == [(0, 3)]


@pytest.mark.parametrize("rate_hz", [44100, 48000, 96000])
def test_kept_stretches_keep_changes_from_their_neighbours(rate_hz):
    """What changes between two edges, ramps of 20 ms included, is heard in half a second beyond them at most."""
    edges_s = [10.03, 20.0, 21.0, 33.31]
    stretches = stretches_of(2500, edges_s, kept=True)
    assert [(one.first, one.end) for one in stretches][-1][1] == 2500
    assert all(one.end == after.first for one, after in itertools.pairwise(stretches))
    for start_s, end_s in itertools.pairwise([0.0, *edges_s, 40.0]):
        first, end = (start_s - 0.02) * rate_hz, (end_s + 0.02) * rate_hz
        spans = [(one, heard_span(one, rate_hz)) for one in stretches]
        again = [one for one, (start, stop) in spans if start < end and stop > first]
        # A section too short to be cut, that from 20 to 21 s, is heard whole.
        assert again[0].start_s > start_s - 0.6 or start_s == 21.0
        assert again[-1].end_s < end_s + 1.7


def test_stretches_at_edges_are_sketched_by_their_length(song):
    """A section that is heard in three stretches is as loud as its sketch says, within 0.3 phon (the project's own)."""
    layers = {name: held(np.tile(x, (5, 1))) for name, x in song.items()}
    stretches = stretches_of(625, [5.0], kept=True)
    assert [one.edge for one in stretches] == [False, True, True, False]
    assert [one.end - one.first for one in stretches[1:3]] == [32, 96]
    with Team(1) as team:
        ear = Ear(RATE_HZ, OFFSET_DB, "headphones", team, Job("", 9, silent), Cancel())
        parts = [hear_stretch(layers, None, one, ear, (), ()) for one in stretches]
    for id_ in layers:
        for section in (parts[:2], parts[2:]):
            of_layer = [part[0][id_] for part in section]
            frames = [len(one.moments) for one in of_layer]
            assert min(frames) < MOMENTS_AT_EDGE * 1.7
            assert max(frames) == pytest.approx(MOMENTS, rel=0.1)
            total = heard_of(of_layer).total
            sketch = joined([one.sketch for one in of_layer])
            full = total[:, total[ALONE] > 0.05].mean(axis=1)
            found = sketch.mean(loudness(sketch).astype(float))
            np.testing.assert_allclose(phon_from_sone(found), phon_from_sone(full), atol=0.3, err_msg=id_)
