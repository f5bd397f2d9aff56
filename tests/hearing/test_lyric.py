# SPDX-License-Identifier: Apache-2.0
"""Lyric audibility: against the exact third-octave index on steady noise, at the edges of a glimpse, phrases.

Glimpses after Cooke 2006, the index from moment to moment after Rhebergen and Versfeld 2005; both from memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.core.spectra import PowerSpectrum, third_octave_hz, third_octave_power
from mixwright.hearing.components import RATE_HZ
from mixwright.hearing.feed import held
from mixwright.hearing.hear import hear
from mixwright.hearing.heard import CELL_S
from mixwright.hearing.lyric import BANDS_COVERED, FEW_GLIMPSES, GAP_S, LEAST_S, VOICED_DB, Lyric, phrases_of
from mixwright.hearing.sii import BAND_HZ, BANDWIDTH_DB, SPEECH_DB, intelligibility_index

#: dB SPL of a mean square of 1.
OFFSET_DB = 70.0


def noise(shape, seed, seconds=1.5):
    """Noise of a mean square of 1, whose spectrum level in dB is `shape` of frequency."""
    frames = round(seconds * RATE_HZ)
    hz = np.maximum(np.fft.rfftfreq(frames, 1.0 / RATE_HZ), 20.0)
    spectrum = np.fft.rfft(np.random.default_rng(seed).standard_normal(frames)) * 10.0 ** (shape(hz) / 20.0)
    audio = np.fft.irfft(spectrum, frames)
    return audio / np.sqrt(np.mean(audio**2))


def white(hz):
    return np.zeros_like(hz)


def pink(hz):
    return -10.0 * np.log10(hz)


def like_speech(hz):
    return np.interp(np.log(hz), np.log(BAND_HZ), SPEECH_DB["normal"])


def both(left, right=None):
    return np.stack([left, left if right is None else right], axis=1).astype(np.float32)


def lyric(voice, rest, offset_db=OFFSET_DB, listening="headphones"):
    layers = {"voice": held(voice), "rest": held(rest)}
    found = hear(
        layers, held(voice + rest), rate_hz=RATE_HZ, frames=len(voice), offset_db=offset_db, listening=listening,
        voices={"voice"},
    )  # fmt: skip
    assert found.layers["rest"].lyric is None
    return found.layers["voice"].lyric


def steady(line):
    """Means where neither end of the audio is near."""
    return tuple(float(part[10:-10].mean(dtype=np.float64)) for part in (line.level_db, line.glimpses, line.bands))


def spectrum_level_db(audio):
    """By the class 1 filters of IEC 61260-1:2014, over the whole length."""
    spectrum = PowerSpectrum(RATE_HZ, 1)
    spectrum.push(audio[None].astype(np.float32))
    power = third_octave_power(spectrum.hz, spectrum.result(), RATE_HZ)
    first = int(np.argmin(np.abs(np.array(third_octave_hz(RATE_HZ)) - BAND_HZ[0])))
    return 10.0 * np.log10(power[first : first + len(BAND_HZ)]) + OFFSET_DB - np.array(BANDWIDTH_DB)


@pytest.mark.parametrize(
    ("voice", "rest", "ratio_db"),
    [
        (like_speech, white, 0.0),
        (like_speech, pink, -10.0),
        (like_speech, pink, 10.0),
        (pink, like_speech, 0.0),
    ],
)
def test_on_steady_noise_it_is_the_index_of_third_octaves(voice, rest, ratio_db):
    """ANSI S3.5-1997 from long third-octave levels; from moment to moment noise has dips, worth 0.015 at most."""
    heard, covering = noise(voice, 1), noise(rest, 2) * 10.0 ** (-ratio_db / 20.0)
    exact = float(intelligibility_index(spectrum_level_db(heard), spectrum_level_db(covering)))
    level_db, _, bands = steady(lyric(both(heard), both(covering)))
    assert bands == pytest.approx(exact, abs=0.015)
    power = 10.0 ** ((spectrum_level_db(heard) + np.array(BANDWIDTH_DB)) / 10.0)
    assert level_db == pytest.approx(10.0 * np.log10(power.sum()), abs=0.4)


@pytest.mark.parametrize(("ratio_db", "share"), [(3.1, 1.0), (2.9, 0.0)])
def test_glimpse_stands_3_db_above(ratio_db, share):
    """By definition; the rest is the voice itself, softer, so that the ratio is the same everywhere."""
    voice = both(noise(pink, 3, 0.5))
    line = lyric(voice, (voice * 10.0 ** (-ratio_db / 20.0)).astype(np.float32))
    assert np.all(line.glimpses[2:-3] == np.float32(share))


def test_without_a_rest_it_is_what_lies_above_threshold():
    hz = 1000.0
    tone = both(np.sin(2.0 * np.pi * hz * np.arange(RATE_HZ // 2) / RATE_HZ))
    silence = np.zeros_like(tone)
    shares = [steady(lyric(tone, silence, offset_db))[1] for offset_db in (-20.0, 20.0, 40.0, 60.0, 80.0)]
    assert shares[0] == 0.0
    assert np.all(np.diff(shares) > 0.0)
    loud = both(noise(pink, 4, 0.5))
    _, glimpses, bands = steady(lyric(loud, silence))
    assert glimpses == 1.0
    assert bands > 0.95
    _, glimpses, bands = steady(lyric(silence, loud))
    assert (glimpses, bands) == (0.0, 0.0)


def test_a_common_gain_changes_nothing():
    """Far above threshold: no glimpse; bands by what level does to masking and to very loud speech."""
    voice, rest = both(noise(like_speech, 5, 0.5)), both(noise(pink, 6, 0.5))
    soft, loud = (steady(lyric(voice, rest, offset_db)) for offset_db in (65.0, 75.0))
    assert loud[0] - soft[0] == pytest.approx(10.0, abs=0.001)
    assert loud[1] == pytest.approx(soft[1], abs=0.02)  # filters grow wider with level
    assert loud[2] == pytest.approx(soft[2], abs=0.05)


def test_the_better_ear_counts():
    """A rest on one side leaves the other ear free; on headphones it does not reach it."""
    voice, rest = noise(like_speech, 7, 0.5), noise(like_speech, 8, 0.5)
    covered = steady(lyric(both(voice), both(rest)))
    apart = steady(lyric(both(voice), both(rest, np.zeros_like(rest))))
    shadowed = steady(lyric(both(voice), both(rest, np.zeros_like(rest)), listening="loudspeakers"))
    assert apart[1] == 1.0
    assert covered[1] < shadowed[1] < apart[1]
    assert covered[2] < shadowed[2] < apart[2]
    free = steady(lyric(both(voice), np.zeros_like(both(voice))))
    assert apart[2] == pytest.approx(free[2], abs=0.001)


def invented(*stretches, glimpses=0.5, bands=0.6):
    """A line of stretches (seconds, level in dB SPL)."""
    level_db = np.concatenate([np.full(round(seconds / CELL_S), level) for seconds, level in stretches])
    ones = np.ones(len(level_db), dtype=np.float32)
    return Lyric(level_db.astype(np.float32), ones * np.float32(glimpses), ones * np.float32(bands))


def times(line):
    return [(phrase.start_s, phrase.end_s) for phrase in phrases_of(line, "voice", CELL_S)]


def test_phrases():
    """Gaps under 0.4 s are bridged, what is shorter than 0.3 s is none, 30 dB below loud is no voice: ours."""
    silent = -np.inf
    line = invented((1.6, silent), (1.6, 70), (0.32, silent), (0.8, 50), (0.48, 30), (0.16, 65), (0.8, 10), (1.6, 60))
    assert (GAP_S, LEAST_S, VOICED_DB) == (0.4, 0.3, 30.0)
    assert times(line) == [(1.6, 4.32), (5.76, 7.36)]
    assert times(invented((1.0, silent))) == []
    assert times(invented((1.0, -3.0))) == []
    assert times(Lyric(*np.zeros((3, 0), dtype=np.float32))) == []


def test_figures_of_a_phrase_are_of_what_sounds_in_it():
    line = invented((0.8, 70), (0.32, -np.inf), (0.8, 70))
    line.glimpses[50:70] = line.bands[50:70] = 0.0
    (phrase,) = phrases_of(line, "voice", CELL_S)
    assert phrase.layer == "voice"
    assert (phrase.glimpse_share, phrase.band_audibility) == (0.5, pytest.approx(0.6, abs=1e-6))


@pytest.mark.parametrize(
    ("glimpses", "bands", "flags"),
    [
        (0.76, 0.81, ()),
        (0.74, 0.81, ("few_glimpses",)),
        (0.76, 0.79, ("bands_covered",)),
        (0.0, 0.0, ("few_glimpses", "bands_covered")),
        (1.5, 1.5, ()),
    ],
)
def test_a_phrase_is_flagged_beside_the_others_of_its_voice(glimpses, bands, flags):
    """As much below the middle one as a voice 3 dB softer."""
    assert (FEW_GLIMPSES, BANDS_COVERED) == (0.75, 0.8)
    line = invented(*[(1.6, 70), (0.8, -np.inf)] * 5, glimpses=0.1, bands=0.2)
    first = slice(0, round(1.6 / CELL_S))
    line.glimpses[first] = 0.1 * glimpses
    line.bands[first] = 0.2 * bands
    one, *others = phrases_of(line, "voice", CELL_S)
    assert one.flags == flags
    assert all(other.flags == () for other in others)


def test_softer_by_3_db_is_what_a_flag_means():
    """A voice in a like noise at a few levels, once as it is and once 3 dB softer: what is left is near the marks."""
    voice, rest = both(noise(like_speech, 9, 0.5)), both(noise(like_speech, 10, 0.5))
    for re_rest_db in (-3.0, 0.0, 3.0):
        loud, soft = (
            steady(lyric((voice * 10.0 ** (level_db / 20.0)).astype(np.float32), rest))
            for level_db in (re_rest_db, re_rest_db - 3.0)
        )
        assert loud[1] > 0.0
        assert soft[1] / loud[1] < FEW_GLIMPSES + 0.1
        assert BANDS_COVERED - 0.1 < soft[2] / loud[2] < BANDS_COVERED + 0.1
