# SPDX-License-Identifier: Apache-2.0
"""What keyed moves are said to do, beside the rendered inserts on an invented sound."""

import numpy as np
import pytest

from engine.processors.test_keyed import heard
from mixwright.hearing.bands import PLACES
from mixwright.hearing.excitation import excitation, levels_per_erb
from mixwright.hearing.kernels import FRAME, MARGIN
from mixwright.hearing.place_loudness import place_hz
from mixwright.hearing.spectrum import RunningSpectrum
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.keyed_inserts import Dip, DipBand, Duck, DuckRule
from mixwright.planning.keyed_gains import dip, duck, even_out, key_share

RATE_HZ = 48000
SECONDS = 6


@pytest.fixture(scope="module")
def song():
    """An invented voice of syllables with pauses, and invented guitars: harmonics and noise, both on both sides."""
    rng = np.random.default_rng(7)
    t = np.arange(SECONDS * RATE_HZ) / RATE_HZ
    sung = 0.5 * (1.0 - np.cos(2.0 * np.pi * 3.5 * t)) ** 0.7 * ((t % 3.0) < 2.0)
    pitch = 2.0 * np.pi * np.cumsum(180.0 + 12.0 * np.sin(2.0 * np.pi * 0.9 * t)) / RATE_HZ
    turned = 2.0 * np.pi * rng.random(40)
    voice = sung * sum(np.sin(k * pitch + turned[k]) / k**0.8 for k in range(1, 30))
    strum = np.exp(-((t * 4.0) % 1.0) * 1.5)
    guitars = strum * (sum(np.sin(2.0 * np.pi * 110.0 * k * t + k * k) for k in range(1, 40)) / 6.0)
    guitars += 0.25 * strum * rng.standard_normal(len(t))
    both = [np.repeat(one[:, None], 2, axis=1) for one in (0.05 * voice, 0.05 * guitars)]
    return both[0], both[1]


def excited(layers):
    """Return the excitation by layers, (rows, 2, frames, PLACES), at every eighth frame, filters set by the mix."""
    made = RunningSpectrum(85.0)
    frames = SECONDS * RATE_HZ // FRAME // 4 * 4

    def power(audio):
        padded = np.concatenate([np.zeros(MARGIN), audio[: frames * FRAME, 0], np.zeros(MARGIN)])
        return made.power(made.bins(padded.astype(np.float32)))

    levels = levels_per_erb(power(sum(layers)))
    own = [excitation(power(layer), levels)[::8, : 2 * PLACES].reshape(-1, PLACES, 2).mean(axis=2) for layer in layers]
    return np.stack([[one, one] for one in own])


def at_frames(gains_db):
    """Return gains of every sample at the middle of every eighth frame."""
    middles = np.arange(SECONDS * RATE_HZ // FRAME // 4 * 4)[::8] * FRAME + FRAME // 2
    return gains_db[middles]


def while_sung(own):
    power = own[0, 0].sum(axis=1)
    return power > power.max() * 10.0**-1.4


@pytest.mark.parametrize("margin_db", [-3.0, 6.0, 12.0])
@pytest.mark.parametrize(("hz", "q"), [(400.0, 1.0), (2000.0, 1.0), (3000.0, 2.0)])
def test_a_dip_is_as_deep_as_the_insert_makes_it_while_the_key_sounds(song, hz, q, margin_db):
    voice, guitars = song
    own = excited(song)
    band = DipBand(hz=hz, q=q, most_db=6.0, pace="word")
    _, gains_db = heard(Dip(key="voice", bands=(band,), margin_db=margin_db), guitars, voice)
    settings = {"hz": hz, "q": q, "most_db": 6.0, "margin_db": margin_db}
    said_db = dip(settings, own[1], own[0]).db[0]
    sung = while_sung(own)
    place = np.argmin(np.abs(np.log(place_hz() / hz)))
    rendered, said = at_frames(gains_db)[sung, 0].mean(), said_db[sung, place].mean()
    assert said == pytest.approx(rendered, abs=0.5)


def test_a_dip_is_a_bell_around_its_frequency_and_nothing_without_the_key(song):
    own = excited(song)
    db = dip({"hz": 2000.0, "q": 1.0, "most_db": 6.0, "margin_db": 40.0}, own[1], own[0]).db[0]
    sung = while_sung(own)
    far = place_hz() < 300.0
    assert np.abs(db[:, far]).max() < 0.3
    assert np.all(db[own[0, 0].sum(axis=1) < 1e-6 * own[0, 0].sum(axis=1).max()] == 0.0)
    assert db[sung].min() == pytest.approx(-6.0, abs=0.2)


def test_a_duck_takes_its_depth_while_the_key_sounds(song):
    voice, guitars = song
    own = excited(song)
    rule = DuckRule(low_hz=2000.0, depth_db=4.0, above_db=-60.0)
    _, gains_db = heard(Duck(key="voice", rules=(rule,)), guitars, voice)
    db = duck({"low_hz": 2000.0, "high_hz": 0.0, "depth_db": 4.0}, own[0]).db[0]
    sung = while_sung(own)
    assert db[sung, -1].mean() == pytest.approx(at_frames(gains_db)[sung, 0].mean(), abs=0.5)
    assert abs(db[sung, 2]).max() < 0.05  # and far below its edge nothing
    # What the price counts is without what is left to release.
    assert key_share(own[0], np.ones(own.shape[2])) == pytest.approx((at_frames(gains_db)[:, 0] < -3.9).mean(), abs=0.1)


def test_a_duck_by_hits_takes_about_what_the_rendered_one_does():
    rng = np.random.default_rng(3)
    t = np.arange(SECONDS * RATE_HZ) / RATE_HZ
    since = t % 0.5
    snare = 0.3 * np.exp(-since * 15.0) * (np.sin(2.0 * np.pi * 190.0 * t) + 0.5 * rng.standard_normal(len(t)))
    cymbals = 0.05 * rng.standard_normal(len(t))
    hit, ringing = (np.repeat(one[:, None], 2, axis=1) for one in (snare, cymbals))
    _, gains_db = heard(Duck(key="snare", rules=(DuckRule(by="hits", depth_db=4.0),)), ringing, hit)
    settings = {"low_hz": 0.0, "high_hz": 0.0, "depth_db": 4.0, "by_hits": 1.0}
    said_db = duck(settings, excited((hit, ringing))[0]).db[0, :, 0]
    assert said_db.mean() == pytest.approx(at_frames(gains_db)[:, 0].mean(), rel=0.35)


def test_light_compression_takes_off_what_the_compressor_does(song):
    _, guitars = song
    own = excited(song)
    level_db = 10.0 * np.log10((guitars**2).mean())
    settings = {"threshold_db": level_db + 4.0, "ratio": 1.6, "gain_db": 0.0}
    insert = Compressor(threshold_db=level_db + 4.0, ratio=1.6, attack_ms=20.0, release_ms=200.0)
    _, gains_db = heard(insert, guitars, guitars)
    db = even_out(settings, own[1], np.ones(own.shape[2]), level_db).db[0, :, 0]
    assert db.mean() == pytest.approx(at_frames(gains_db)[:, 0].mean(), abs=0.5)
