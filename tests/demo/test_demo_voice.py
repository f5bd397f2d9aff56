# SPDX-License-Identifier: Apache-2.0
"""The sung lead reads as a voice: its pitch is that of the score, its vowels have formants, consonants are noise."""

from itertools import pairwise

import numpy as np
import pytest
import soundfile

from mixwright.demo.layers import LEAD_FILE
from mixwright.demo.pieces import RECORDS, SONG
from mixwright.demo.score import Chord, Phrase, Syllable, midi_from_name
from mixwright.demo.signals import hz_from_midi
from mixwright.demo.voices import CONSONANTS, LEAD, VOWELS, sing, spelled

RATE_HZ = 48_000


@pytest.fixture(scope="session")
def lead(demo) -> np.ndarray:
    audio, _ = soundfile.read(demo.tracks / LEAD_FILE)
    return audio


def syllables() -> list[Syllable]:
    return [syllable for phrase in SONG.phrases("lead") for syllable in phrase]


def part_of(audio: np.ndarray, start_s: float, end_s: float) -> np.ndarray:
    return audio[round(start_s * RATE_HZ) : round(end_s * RATE_HZ)]


def pitch_hz(frame: np.ndarray) -> float:
    """Pitch by the normalised autocorrelation, highest early peak between 150 and 600 Hz, refined by a parabola."""
    size = 2 * len(frame)
    power = np.abs(np.fft.rfft(frame - frame.mean(), size)) ** 2
    correlation = np.fft.irfft(power, size)[: len(frame) // 2]
    correlation /= np.arange(len(frame), len(frame) - len(correlation), -1)
    lags = np.arange(RATE_HZ // 600, RATE_HZ // 150 + 1)
    best = correlation[lags].max()
    peaks = [
        k for k in lags if correlation[k - 1] < correlation[k] >= correlation[k + 1] and correlation[k] > 0.9 * best
    ]
    lag = peaks[0]
    left, middle, right = correlation[lag - 1 : lag + 2]
    return RATE_HZ / (lag + 0.5 * (left - right) / (left - 2.0 * middle + right))


def band_db(frame: np.ndarray, low_hz: float, high_hz: float) -> float:
    power = np.abs(np.fft.rfft(frame * np.hanning(len(frame)))) ** 2
    hz = np.fft.rfftfreq(len(frame), 1.0 / RATE_HZ)
    return float(10.0 * np.log10(power[(hz >= low_hz) & (hz < high_hz)].sum() / len(frame) + 1e-20))


def test_sustained_vowels_have_the_pitch_of_the_score(lead):
    held = [s for s in syllables() if s.end_s - s.start_s > 0.4]
    assert len(held) >= 10
    for syllable in held:
        vowel = part_of(lead, syllable.start_s + 0.12, syllable.end_s - 0.16)
        # Whole turns of the vibrato, near enough, average it out.
        found = [pitch_hz(vowel[k : k + 1920]) for k in range(0, len(vowel) - 1920, 480)]
        cents = 1200.0 * np.log2(np.array(found) / hz_from_midi(syllable.midi))
        assert abs(np.median(cents)) < 30.0, syllable
        assert 150.0 < np.median(found) < 600.0


def test_long_notes_have_vibrato(lead):
    # Rates of 4 to 7 Hz are what singers do (common knowledge in voice science, no single source).
    syllable = max(syllables(), key=lambda s: s.end_s - s.start_s)
    vowel = part_of(lead, syllable.start_s + 0.4, syllable.end_s - 0.16)
    track = np.array([pitch_hz(vowel[k : k + 1440]) for k in range(0, len(vowel) - 1440, 480)])
    cents = 1200.0 * np.log2(track / np.median(track))
    spectrum = np.abs(np.fft.rfft((cents - cents.mean()) * np.hanning(len(cents)), 4096))
    rate_hz = np.fft.rfftfreq(4096, 480 / RATE_HZ)[spectrum.argmax()]
    assert 4.0 < rate_hz < 7.0
    assert 15.0 < np.abs(cents).max() < 80.0


def test_consonants_are_bursts_of_noise_before_the_vowel(lead):
    checked = 0
    for syllable in syllables():
        before = spelled(syllable.sound)[0]
        if before in ("s", "S", "t", "st", "sl"):
            late = 0.06 if before == "sl" else 0.0
            consonant = part_of(lead, syllable.start_s - late - 0.07, syllable.start_s - late - 0.005)
            vowel = part_of(lead, syllable.start_s + 0.06, syllable.start_s + 0.125)
            tilt = [band_db(x, 4000.0, 9000.0) - band_db(x, 200.0, 3000.0) for x in (consonant, vowel)]
            assert tilt[0] > tilt[1] + 12.0, syllable
            checked += 1
    assert checked >= 8


def test_vowels_differ_by_their_formants(lead):
    def front(vowel: str) -> float:
        """Level around the second formant of front vowels over that of back vowels."""
        found = []
        for syllable in syllables():
            if spelled(syllable.sound)[1] == vowel and syllable.end_s - syllable.start_s > 0.2:
                frame = part_of(lead, syllable.start_s + 0.06, syllable.end_s - 0.1)
                found.append(band_db(frame, 2000.0, 3400.0) - band_db(frame, 600.0, 1500.0))
        return float(np.mean(found))

    # Second formants of women: heed 2790, hid 2480, hawed 920 Hz (Peterson and Barney 1952, from memory).
    assert front("I") > front("o") + 10.0
    assert front("i") > front("@") + 5.0


def test_phrases_have_syllables_at_the_pace_of_singing_and_rests_between_them(lead):
    durations = [s.end_s - s.start_s for s in syllables()]
    assert 4.0 <= 1.0 / np.median(durations) <= 5.0
    phrases = list(SONG.phrases("lead"))
    assert len(phrases) >= 12
    for phrase, following in pairwise(phrases):
        gap_s = following[0].start_s - phrase[-1].end_s
        assert gap_s >= 0.1
        if gap_s > 1.0:
            quiet = part_of(lead, phrase[-1].end_s + 0.25, following[0].start_s - 0.6)
            assert np.abs(quiet).max() < 1e-3


def test_every_syllable_can_be_sung():
    for piece in (SONG, *RECORDS):
        for layer in ("lead", "double", "high", "low"):
            for phrase in piece.phrases(layer):
                for syllable in phrase:
                    assert spelled(syllable.sound)[1] in VOWELS
                    assert 55 <= syllable.midi <= 77
    assert spelled("slips") == ("sl", "i", "ps")
    with pytest.raises(ValueError, match="not a syllable"):
        spelled("xyz")
    with pytest.raises(ValueError, match="not a syllable"):
        spelled("sea")


def test_a_singer_repeats_exactly_and_another_does_not():
    phrase = (Syllable("na", 64, 1.0, 1.4), Syllable("si", 67, 1.4, 2.2))
    one, again, other = sing(phrase, LEAD, "a"), sing(phrase, LEAD, "a"), sing(phrase, LEAD, "b")
    assert one[0] == again[0]
    assert np.array_equal(one[1], again[1])
    assert not np.array_equal(one[1], other[1])
    assert np.isfinite(one[1]).all()


def test_the_score_counts_in_whole_frames():
    assert SONG.step_frames == 5625
    assert SONG.bar_frames * SONG.tempo_bpm == 4 * 60 * RATE_HZ
    assert midi_from_name("A4") == 69
    assert midi_from_name("F#4") == 66
    assert Chord("Em").voiced(52, 3) == (52, 55, 59)
    assert Chord("Bb").bass() == 34
    assert hz_from_midi(57) == pytest.approx(220.0)
    assert Phrase(0, 0, "la:A4:4").text.split(":")[1] == "A4"
    assert all(kind.burst_s <= kind.length_s for kind in CONSONANTS.values())
