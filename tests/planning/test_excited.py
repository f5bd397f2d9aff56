# SPDX-License-Identifier: Apache-2.0
"""A section as the ear is excited by it: what it expects of changes, beside hearing the changed mix."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from mixwright.hearing.moments import joined_moments
from mixwright.model.song import Section
from mixwright.planning.excited import excited_of
from planning.changed_songs import RATE_HZ, Change, heard, off_by
from reference.six_layers import six_layers

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "benchmarks"))

OFFSET_DB = 103.01
SECTION = Section(name="verse", start_s=0.0, end_s=3.0)


def stereo(x, seed):
    wide = 0.1 * np.std(x) * np.random.default_rng(seed).standard_normal((len(x), 2))
    return ([0.7, 1.0] * x[:, None] + wide * (np.abs(x[:, None]) > 1e-6)).astype(np.float32)


def layers_of(*names):
    return {name: stereo(x, k) for k, (name, x) in enumerate(six_layers(SECTION.end_s).items()) if name in names}


def test_changes_are_expected_as_they_are_heard():
    """Cued within 0.3 phon as it is, then by the median, and 0.8 at worst; alone 0.4; the mix within 0.3 LU."""
    changes = [Change("pad", 6.0), Change("voice", -6.0), Change("pad", 6.0, hz=600.0)]
    alone, cued, mix = (np.abs(one) for one in off_by(layers_of("snare", "bass", "pad", "voice"), OFFSET_DB, changes))
    assert max(alone[0].max(), np.nanmax(cued[0])) < 0.3
    assert mix[0] < 1e-6
    assert np.nanmedian(cued[1:], axis=1).max() < 0.3
    assert np.nanmax(cued) < 0.8
    assert alone.max() < 0.4
    assert mix.max() < 0.3


@pytest.mark.slow
def test_changes_of_the_demo_song_are_expected_as_they_are_heard():
    """Of its sources in 8 s of a chorus: 95 % within 0.5 phon, and 1.1 at worst, of what is all but masked."""
    from planting import demo

    mix = demo().around("chorus 1")
    layers = {id_: audio[: 8 * RATE_HZ] for id_, audio in mix.layers.items() if audio[: 8 * RATE_HZ].any()}
    changes = [Change(id_, db) for id_ in ("drums", "crunch", "lead") for db in (-6.0, 6.0)]
    changes += [Change(id_, 6.0, hz=hz) for id_ in ("crunch", "warm pad") for hz in (300.0, 2500.0)]
    _, cued, mix_lu = (np.abs(one) for one in off_by(layers, mix.offset_db, changes))
    assert np.nanmax(cued[0]) < 0.3
    assert np.nanmedian(cued[1:], axis=1).max() < 0.3
    assert np.nanpercentile(cued, 95.0) < 0.5
    assert np.nanmax(cued) < 1.1
    assert mix_lu.max() < 0.3


def test_what_adds_up_in_phase_masks_as_it_sounds():
    """A layer and its copy are four times its power, not two; one that is turned over cancels it."""
    layers = layers_of("pad", "voice")
    for sign, wanted in ((1.0, 2.0), (-1.0, 0.1)):
        moments = heard({**layers, "copy": sign * layers["pad"]}, OFFSET_DB).moments(0.0, SECTION.end_s)
        excited = excited_of(moments, SECTION)
        voice = excited.rows.index("voice")
        loud = excited.own[excited.rows.index("pad")] > 1e3
        assert np.median(excited.ratio[voice][loud]) == pytest.approx(wanted, rel=0.02)
        others = np.delete(excited.own, voice, axis=0).sum(axis=0)
        np.testing.assert_allclose(excited.rests()[voice][loud], (others * excited.ratio[voice])[loud], rtol=1e-4)


def test_rows_that_are_silent_are_nothing():
    layers = {**layers_of("voice"), "never": np.zeros((round(SECTION.end_s * RATE_HZ), 2), np.float32)}
    excited = excited_of(heard(layers, OFFSET_DB).moments(0.0, SECTION.end_s), SECTION)
    assert excited.rows == ("voice", "never")
    assert excited.active_s[1] == 0.0
    assert not excited.own[1].any()
    assert not excited.alone[1].any()
    assert excited.k_power[0].sum() == pytest.approx(1.0, rel=1e-5)
    # What is alone in the mix is as loud there as alone, but for filters that are a little wider.
    alone, cued = excited.loudness()
    np.testing.assert_allclose(cued[0], alone[0], rtol=0.01)
    assert alone[1] == cued[1] == 0.0


def test_without_moments_there_is_nothing():
    for rows in ((), ("a", "b")):
        excited = excited_of(joined_moments(rows, []), SECTION)
        assert excited.own.shape[:3] == (len(rows), 2, 0)
        assert all(not one.any() for one in excited.loudness())


def test_ears_keep_what_they_leave_of_each_other():
    """Equal ears three quarters, one ear alone all of it (ISO 532-2:2017: two ears are 1.5 times one)."""
    (x,) = layers_of("voice").values()
    both, one = np.repeat(x[:, :1], 2, axis=1), x * np.array([1.0, 0.0], dtype=np.float32)
    for audio, left in ((both, 0.75), (one, 1.0)):
        excited = excited_of(heard({"voice": audio}, OFFSET_DB).moments(0.0, SECTION.end_s), SECTION)
        loud = excited.seconds[0] > 0.0
        assert np.median(excited.inhibited_alone[0, loud]) == pytest.approx(left, rel=0.01)
        assert np.median(excited.inhibited[0, loud]) == pytest.approx(left, rel=0.01)
