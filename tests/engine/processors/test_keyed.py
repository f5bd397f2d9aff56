# SPDX-License-Identifier: Apache-2.0
"""What keyed processors do to known sounds. Where no source is named the value follows from the settings alone."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import freqs

from engine.processors.examples_keyed import EXAMPLES
from engine.processors.test_processors import run
from mixwright.demo.layers import LAYERS
from mixwright.demo.layers import made as made_layer
from mixwright.demo.pieces import SONG as SONG_PLAYED
from mixwright.engine.chain import Chain
from mixwright.engine.processors.insert import made
from mixwright.engine.processors.keyed import paced
from mixwright.errors import SettingError
from mixwright.model.keyed_inserts import Dip, DipBand, Duck, DuckRule, Peaks, usual_pace
from mixwright.model.loops import check_duck
from mixwright.model.song import Group, Send, Song, Track
from mixwright.native.filters import BELL, design_band
from reference import chain_twin, keyed_twin, prototypes

RATE_HZ = 48000
WORD, PHRASE = DipBand(hz=2000, pace="word", most_db=6), DipBand(hz=2000, pace="phrase", most_db=6)


def noise(seconds, level_db=-20.0, seed=1):
    rng = np.random.default_rng(seed)
    return rng.standard_normal((round(seconds * RATE_HZ), 2)) * 10.0 ** (level_db / 20.0)


def silence(seconds):
    return np.zeros((round(seconds * RATE_HZ), 2))


def tone(seconds, hz, level_db):
    """Return a sine whose mean power is so high, on both sides."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return np.repeat(np.sin(2.0 * np.pi * hz * t)[:, None] * np.sqrt(2.0) * 10.0 ** (level_db / 20.0), 2, axis=1)


def heard(insert, victim, key, replay_gains=None):
    """Return what comes out, lined up with what went in, and the gains in dB."""
    operations = made(insert, RATE_HZ)
    late, columns = Chain(operations, 2).latency_frames, Chain(operations, 2).gains
    gains = np.empty((len(victim) + late, columns), dtype=np.float32)
    longer = [np.concatenate([one, np.zeros((late, 2))]) for one in (victim, key)]
    out = run(operations, longer[0], longer[1].astype(np.float32), gains=gains)
    with np.errstate(divide="ignore"):
        return out[late:], 20.0 * np.log10(gains[late:])


def at(seconds):
    return round(seconds * RATE_HZ)


@pytest.mark.parametrize(("insert", "twin"), EXAMPLES, ids=lambda one: type(one).__name__)
def test_equals_its_slow_twin_where_the_key_comes_and_goes(insert, twin):
    key = np.concatenate([noise(0.2, seed=2), noise(0.2, -55.0, seed=3), silence(0.2), noise(0.3, -12.0, seed=4)])
    key, victim = key.astype(np.float32), noise(0.9, -15.0)
    wanted = twin(insert, RATE_HZ, victim, key if insert.key else None)
    out = run(made(insert, RATE_HZ), victim, key)
    np.testing.assert_allclose(out, wanted, rtol=1e-9, atol=1e-9)
    late = Chain(made(insert, RATE_HZ), 2).latency_frames
    assert np.abs(out - keyed_twin.delayed(victim, late)).max() > 1e-3


bands = st.builds(
    DipBand,
    hz=st.floats(60, 12000),
    q=st.floats(0.2, 10),
    most_db=st.floats(0, 24),
    pace=st.sampled_from(["word", "phrase", None]),
)


@settings(max_examples=15)
@given(
    bands=st.lists(bands, min_size=1, max_size=6),
    form=st.sampled_from(["excess", "threshold"]),
    look_ahead_ms=st.floats(0, 20),
    margin_db=st.floats(-60, 60),
)
def test_nothing_happens_while_the_key_is_silent(bands, form, look_ahead_ms, margin_db):
    dip = Dip(key="voice", bands=tuple(bands), form=form, look_ahead_ms=look_ahead_ms, margin_db=margin_db)
    victim = noise(0.2, 0.0)
    assert np.array_equal(heard(dip, victim, np.zeros_like(victim))[0], victim)


@pytest.mark.parametrize(("band", "gone_s"), [(WORD, 0.25), (PHRASE, 0.85)])
def test_it_ends_after_hold_and_release(band, gone_s):
    """The key's smoothed level falls by 18 dB in 41 ms (its time constant is 10 ms), then hold and release follow."""
    victim, key = noise(3.0, -10.0), np.concatenate([noise(1.0, seed=2), silence(2.0)])
    out, gains = heard(Dip(key="voice", bands=(band,), margin_db=20.0), victim, key)
    assert gains[at(0.9)] == pytest.approx(-6.0, abs=1e-5)
    assert np.array_equal(out[at(1.0 + gone_s) :], victim[at(1.0 + gone_s) :])
    assert np.abs(out - victim)[: at(1.0 + gone_s - 0.1)].max() > 1e-3


@pytest.mark.parametrize(("band", "bridged"), [(WORD, False), (PHRASE, True)])
def test_phrases_bridge_gaps_of_300_ms_and_words_do_not(band, bridged):
    victim = noise(3.0, -10.0)
    key = np.concatenate([noise(1.0, seed=2), silence(0.3), noise(1.0, seed=3), silence(0.7)])
    gains = heard(Dip(key="voice", bands=(band,), margin_db=20.0), victim, key)[1][at(1.0) : at(1.28)]
    assert gains.max() == pytest.approx(-6.0 if bridged else 0.0, abs=1e-5)


@pytest.mark.parametrize("band", [WORD, PHRASE])
@pytest.mark.parametrize("down_db", [30.0, 20.0], ids=["breath", "bleed"])
def test_breaths_and_bleed_do_not_trigger(band, down_db):
    victim = noise(6.0, -10.0)
    low = noise(4.0, -20.0 - down_db, seed=4)
    key = np.concatenate([noise(1.0, seed=2), low, noise(1.0, seed=3)])
    out, gains = heard(Dip(key="voice", bands=(band,), margin_db=20.0), victim, key)
    assert np.array_equal(out[at(1.9) : at(4.95)], victim[at(1.9) : at(4.95)])
    assert gains[at(5.5)] == pytest.approx(-6.0, abs=1e-5)


def test_a_breath_before_the_first_word_is_too_soft():
    key = np.concatenate([noise(1.0, -50.0, seed=2), noise(0.5, seed=3)])
    gains = heard(Dip(key="voice", bands=(WORD,), margin_db=60.0), noise(1.5), key)[1]
    assert (gains[: at(0.98)] == 0.0).all()
    assert gains[-1] == pytest.approx(-6.0, abs=1e-5)


def test_a_band_in_which_the_key_has_nothing_is_left():
    key = tone(1.0, 300.0, -15.0)
    dip = Dip(key="voice", bands=(DipBand(hz=300), DipBand(hz=5000, q=3)), margin_db=20.0)
    key[: at(0.2)] += tone(0.2, 5000.0, -15.0)  # there was something once
    gains = heard(dip, noise(1.0, -10.0), key)[1]
    assert gains[at(0.9)] == pytest.approx([-3.0, 0.0], abs=1e-5)


@pytest.mark.parametrize(("margin_db", "wanted_db"), [(0.0, 4.0), (2.5, 6.5), (-7.0, 0.0), (30.0, 9.0)])
def test_it_goes_as_deep_as_the_victim_stands_over_the_key(margin_db, wanted_db):
    dip = Dip(key="voice", bands=(DipBand(hz=1000, most_db=9),), margin_db=margin_db)
    gains = heard(dip, tone(1.0, 1000.0, -16.0), tone(1.0, 1000.0, -20.0))[1]
    assert gains[-1] == pytest.approx(-wanted_db, abs=0.05)


def test_what_else_is_in_the_way_counts():
    """The harness hands the key's sound to `against` too: three times the key's power, 4.77 dB, instead of 3.01."""
    alone, beside = (
        heard(
            Dip(key="voice", against=against, bands=(DipBand(hz=1000, most_db=9),), margin_db=0),
            tone(1.0, 1000.0, -20.0 + 10.0 * np.log10(2.0)),
            tone(1.0, 1000.0, -20.0),
        )[1][-1]
        for against in ("", "pads")
    )
    assert alone == pytest.approx(-3.01, abs=0.05)
    assert beside == pytest.approx(-4.77, abs=0.05)


def test_threshold_and_range():
    dip = Dip(key="voice", form="threshold", threshold_db=-30, bands=(DipBand(hz=1000, most_db=6),))
    for level_db, wanted_db in ((-35.0, 0.0), (-27.0, 3.0), (-10.0, 6.0)):
        gains = heard(dip, noise(1.0), tone(1.0, 1000.0, level_db))[1]
        assert gains[-1] == pytest.approx(-wanted_db, abs=0.1)  # levels rise faster than they fall


@pytest.mark.parametrize(("hz", "within_db"), [(900, 0.02), (5000, 0.2), (12000, 0.7)])
def test_a_dip_that_stays_is_a_bell_of_the_cookbook(hz, within_db):
    """The analogue peaking filter of the Audio EQ Cookbook, whose alpha times A over A is that of the band-pass."""
    dip = Dip(key="voice", bands=(DipBand(hz=hz, q=1.3, most_db=6),), look_ahead_ms=0)
    impulse = np.eye(RATE_HZ, 1)
    constant = np.full((RATE_HZ, 1), 10.0 ** (-6.0 / 20.0), dtype=np.float32)
    found = np.abs(np.fft.rfft(run(made(dip, RATE_HZ), impulse, gains=constant, replay=True)[:, 0]))
    at_hz = np.arange(20, 16000)
    wanted = np.abs(freqs(*prototypes.band("bell", -6.0, 1.3 * 10.0 ** (6.0 / 40.0)), at_hz / hz)[1])
    off_db = 20.0 * np.log10(found[at_hz] / wanted)
    assert np.abs(off_db).max() < within_db
    assert abs(off_db[at_hz == hz][0]) < 1e-5


def test_gains_move_no_faster_than_they_are_told():
    victim, key = noise(2.0, -10.0), np.concatenate([silence(0.5), noise(1.0, seed=2), silence(0.5)])
    gains = heard(Dip(key="voice", bands=(DipBand(hz=800, most_db=12, attack_ms=10),), margin_db=60), victim, key)[1]
    assert gains.min() == pytest.approx(-12.0, abs=1e-5)
    # 12 dB in 480 frames; a line of gain is not quite one of dB.
    assert np.abs(np.diff(gains[:, 0])).max() < 1.1 * 12.0 / 480.0
    begins, full = np.argmax(gains < 0.0), np.argmax(gains < -11.99)
    assert full - begins == pytest.approx(480, abs=32)
    assert begins <= at(0.5) - at(0.008) + 96 + 32  # look-ahead; a look, and what the detector takes


def kick(seconds, times, seed):
    """Return hits around 60 Hz with a click, 80 ms long."""
    t = np.arange(at(0.3)) / RATE_HZ
    one = np.sin(2.0 * np.pi * 60.0 * t) * np.exp(-t / 0.08)
    one += 0.03 * np.random.default_rng(seed).standard_normal(len(t)) * np.exp(-t / 0.003)
    return _struck(seconds, times, one)


def snare(seconds, times, seed):
    """Return hits of noise above 200 Hz."""
    t = np.arange(at(0.2)) / RATE_HZ
    white = np.random.default_rng(seed).standard_normal(len(t))
    return _struck(seconds, times, 0.4 * np.diff(white, prepend=0.0) * np.exp(-t / 0.05))


def _struck(seconds, times, one):
    out = silence(seconds)
    for time in times:
        out[at(time) : at(time) + len(one)] += 0.5 * one[: len(out) - at(time), None]
    return out


KIT = Duck(
    key="kit",
    rules=(
        DuckRule(by="hits", key_high_hz=100, high_hz=150, depth_db=4, hold_ms=30, release_ms=60),
        DuckRule(by="hits", key_low_hz=2000, above_db=-30, low_hz=300, depth_db=6, hold_ms=50, release_ms=200),
    ),
)
KICKS, SNARES = (0.1, 0.6, 0.85, 1.35), (0.35, 1.1, 1.6)


def begins(gains):
    """Return when a gain starts to fall from 0 dB, in seconds."""
    return np.flatnonzero((gains[1:] < 0.0) & (gains[:-1] == 0.0)) / RATE_HZ


def test_kick_and_snare_are_found_where_they_are_struck():
    key = kick(2.0, KICKS, 1) + snare(2.0, SNARES, 2) + noise(2.0, -60.0, seed=3)
    gains = heard(KIT, noise(2.0), key)[1]
    for column, times in ((0, KICKS), (1, SNARES)):
        # Ahead of the hit by the look-ahead, less two looks and what the band takes to answer.
        assert begins(gains[:, column]) == pytest.approx(np.array(times) - 0.005, abs=0.005)


@pytest.mark.parametrize(
    ("file", "drum", "near_db"), [("02 Kick OUT.wav", "kick", 10.0), ("03 Sn Top.wav", "snare", 14.0)]
)
def test_every_hit_of_the_demo_is_found_by_its_close_microphone(file, drum, near_db):
    """Hits as the score has them, and no others; the kick's microphone hears some other strokes 10 to 14 dB down."""
    take = np.asarray(made_layer(next(layer for layer in LAYERS if layer.file == file), SONG_PLAYED))
    key = np.repeat(take.reshape(len(take), 1), 2, axis=1)
    rule = DuckRule(by="hits", near_db=near_db, attack_ms=1, hold_ms=0, release_ms=5)
    found = begins(heard(Duck(key=drum, rules=(rule,), look_ahead_ms=0), np.zeros_like(key, np.float64), key)[1][:, 0])
    played = [hit.frame / RATE_HZ for hit in SONG_PLAYED.hits(drum)]
    assert found == pytest.approx(np.array(played), abs=0.02)


def test_kick_and_snare_have_depth_and_release_of_their_own():
    gains = heard(KIT, noise(2.0), kick(2.0, (0.1,), 1) + snare(2.0, (1.1,), 2))[1]
    for column, (time, depth_db, hold_s, release_s) in enumerate(((0.1, 4.0, 0.03, 0.06), (1.1, 6.0, 0.05, 0.2))):
        gain = gains[:, column]
        assert gain.min() == pytest.approx(-depth_db, abs=1e-5)
        full = np.flatnonzero(gain < -depth_db + 1e-4) / RATE_HZ
        assert full[-1] == pytest.approx(time + hold_s, abs=0.006)
        gone = np.flatnonzero(gain < 0.0)[-1] / RATE_HZ
        assert gone - full[-1] == pytest.approx(release_s, abs=0.002)


def test_a_flam_is_one_hit():
    """Of two strokes 30 ms apart the first counts, though the second rises by 10 dB; 60 ms apart both do."""
    rule = DuckRule(by="hits", hold_ms=20, depth_db=6, release_ms=10)
    for apart_s, counted_s in ((0.03, 0.0), (0.06, 0.06)):
        key = 0.3 * snare(1.0, (0.2,), 1) + snare(1.0, (0.2 + apart_s,), 2)
        gains = heard(Duck(key="snare", rules=(rule,)), noise(1.0), key)[1]
        full = np.flatnonzero(gains[:, 0] < -6.0 + 1e-4)[-1] / RATE_HZ
        assert full == pytest.approx(0.2 + counted_s + 0.02, abs=0.006)


def test_a_swell_is_no_hit():
    t = np.arange(at(2.0)) / RATE_HZ
    key = noise(2.0, 0.0, seed=5) * np.minimum(t, 1.0)[:, None] ** 2 * 0.1
    gains = heard(Duck(key="pad", rules=(DuckRule(by="hits", rise_db=9),)), noise(2.0), key)[1]
    assert len(begins(gains[:, 0])) <= 1  # where it comes out of nothing


def test_the_whole_of_a_layer_is_ducked_by_level():
    victim, key = noise(2.0), np.concatenate([silence(0.5), noise(1.0, seed=2), silence(0.5)])
    out = heard(Duck(key="voice", rules=(DuckRule(depth_db=9),)), victim, key)[0]
    inside = slice(at(0.6), at(1.4))
    np.testing.assert_allclose(out[inside], victim[inside] * 10.0 ** (-9.0 / 20.0), rtol=1e-6)
    assert np.array_equal(out[: at(0.49)], victim[: at(0.49)])
    assert np.array_equal(out[at(1.75) :], victim[at(1.75) :])


def test_a_resonance_is_lowered_by_what_stands_out_and_its_neighbours_stay():
    tamer = Peaks(low_hz=250, high_hz=4000, bands=24, allowed_db=4, most_db=12, width_oct=0.7)
    middles = 250.0 * 2.0 ** ((np.arange(24) + 0.5) / 6.0)
    plain = noise(4.0)
    bell = design_band(BELL, float(middles[12]), RATE_HZ, 18.0, 8.0)
    ringing = chain_twin.process([chain_twin.Sections(bell)], plain)
    q = 1.0 / (2.0 * np.sinh(np.log(2.0) / 12.0))
    powers = [keyed_twin.powers(keyed_twin.band_pass(hz, q, RATE_HZ), ringing)[100:].mean() for hz in middles]
    levels = 10.0 * np.log10(powers)
    over_db = levels[12] - np.mean([*levels[8:12], *levels[13:17]])  # 0.7 octaves: 4 bands of a sixth
    assert over_db > 7.0
    gains = heard(tamer, ringing, ringing)[1][at(0.5) :]
    assert gains[:, 12].mean() == pytest.approx(-(over_db - 4.0), abs=1.0)
    assert gains[:, [*range(11), *range(14, 24)]].mean() > -0.2
    # An even sound has no peaks to speak of.
    assert heard(tamer, plain, plain)[1][at(0.5) :].mean() > -0.1


@pytest.mark.parametrize("insert", [Dip(bands=(WORD,)), Duck(rules=(DuckRule(),))])
def test_without_a_key_there_is_nothing_to_make_room_for(insert):
    with pytest.raises(SettingError, match="names no key"):
        made(insert, RATE_HZ)


def test_what_does_not_fit_is_refused():
    with pytest.raises(SettingError, match="does not fit a song of 8000 Hz"):
        made(Dip(key="voice", bands=(DipBand(hz=5000),)), 8000)
    with pytest.raises(SettingError, match="nothing lies between"):
        made(Duck(key="kit", rules=(DuckRule(low_hz=500, high_hz=400),)), RATE_HZ)
    with pytest.raises(SettingError, match="nothing lies between"):
        made(Peaks(low_hz=9000), RATE_HZ)


def test_pads_and_returns_follow_phrases():
    dip = Dip(key="voice", bands=(DipBand(hz=400), WORD))
    assert [band.pace for band in paced(dip, "pad").bands] == ["phrase", "word"]
    assert [band.pace for band in paced(dip, "electric guitar").bands] == ["word", "word"]
    assert usual_pace("return") == "phrase"


SONG = Song(
    title="invented",
    rate_hz=RATE_HZ,
    tracks=(
        Track(id="kick-in", name="", file="a", source="kick", group="drums"),
        Track(id="kick-out", name="", file="b", source="kick", group="drums", pre_sends={"room": -6.0}),
        Track(id="overheads", name="", file="c", group="drums"),
        Track(id="bass", name="", file="d", group="low", sends={"hall": -9.0}),
        Track(id="pad", name="", file="e"),
    ),
    groups=(
        Group(id="drums", name="Drums", group="rhythm", sends={"hall": -12.0}),
        Group(id="low", name="Low", group="rhythm"),
        Group(id="rhythm", name="Rhythm"),
    ),
    sends=(Send(id="room", name="Room"), Send(id="hall", name="Hall")),
)


@pytest.mark.parametrize(
    ("target", "key"),
    [
        ("kick-in", "kick"),
        ("drums", "kick"),
        ("rhythm", "kick-in"),
        ("room", "kick-out"),
        ("master", "pad"),
        ("hall", "overheads"),
        ("bass", "rhythm"),
        ("overheads", "drums"),
        ("bass", "hall"),
    ],
)
def test_no_layer_ducks_under_its_own_hit(target, key):
    with pytest.raises(SettingError, match=f"{target} is to duck under {key}, and .* part of both"):
        check_duck(SONG, target, key)


@pytest.mark.parametrize(
    ("target", "key"), [("bass", "kick"), ("overheads", "kick"), ("low", "drums"), ("bass", "room"), ("pad", "rhythm")]
)
def test_other_layers_may(target, key):
    check_duck(SONG, target, key)
