# SPDX-License-Identifier: Apache-2.0
"""Sung voices: a pulse from the glottis through moving formants, and noise for the consonants.

A syllable is spelled with one letter a sound: consonants, one vowel, consonants. Vowels are
``i`` (heed), ``I`` (hid), ``e`` (head), ``a`` (father), ``A`` (had), ``o`` (hawed), ``u`` (who'd),
``U`` (hood), ``@`` (hud), ``3`` (heard); consonants are the keys of `CONSONANTS`.
Formants of the vowels: means of 28 women, Peterson and Barney, "Control methods used in a study of the
vowels", J. Acoust. Soc. Am. 24 (1952), Table II (values from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.demo.playing import add
from mixwright.demo.score import Piece, Syllable
from mixwright.demo.signals import (
    RATE_HZ,
    Response,
    bell,
    faded,
    filtered,
    generator,
    high_pass,
    hz_from_midi,
    low_pass,
    moving,
    noise,
    seconds,
    steady_tone,
)

VOWELS: dict[str, tuple[float, float, float]] = {
    "i": (310.0, 2790.0, 3310.0),
    "I": (430.0, 2480.0, 3070.0),
    "e": (610.0, 2330.0, 2990.0),
    "A": (860.0, 2050.0, 2850.0),
    "a": (850.0, 1220.0, 2810.0),
    "o": (590.0, 920.0, 2710.0),
    "U": (470.0, 1160.0, 2680.0),
    "u": (370.0, 950.0, 2670.0),
    "@": (760.0, 1400.0, 2780.0),
    "3": (500.0, 1640.0, 1960.0),
}
_BANDWIDTHS_HZ = (105.0, 110.0, 150.0)
#: Formants above the third, the same for all vowels, so that the spectrum does not end at 4 kHz.
_HIGHER = (
    (4200.0, 260.0),
    (5100.0, 340.0),
    (6200.0, 450.0),
    (7300.0, 600.0),
    (8400.0, 800.0),
    (9600.0, 1000.0),
    (11200.0, 1500.0),
)


@dataclass(frozen=True)
class Consonant:
    """One consonant: how long it takes, how much voice sounds through it, and its noise.

    `formants` is where the mouth stands meanwhile (empty: already at the vowel). `burst_s` is the part
    at the end in which the noise sounds; a stop is silent before it.
    """

    length_s: float
    voice: float
    formants: tuple[float, float, float] | None = None
    noise: float = 0.0
    burst_s: float = 0.0
    low_hz: float = 500.0
    high_hz: float = 8000.0


CONSONANTS: dict[str, Consonant] = {
    "s": Consonant(0.095, 0.0, None, 0.30, 0.090, 5200.0, 10500.0),
    "z": Consonant(0.080, 0.25, (280.0, 1700.0, 2700.0), 0.16, 0.075, 5000.0, 10000.0),
    "S": Consonant(0.100, 0.0, None, 0.32, 0.095, 2200.0, 7000.0),
    "f": Consonant(0.080, 0.0, None, 0.10, 0.075, 1200.0, 11000.0),
    "T": Consonant(0.075, 0.05, None, 0.08, 0.070, 1600.0, 9000.0),
    "D": Consonant(0.055, 0.4, (300.0, 1500.0, 2700.0), 0.04, 0.050, 1600.0, 8000.0),
    "v": Consonant(0.060, 0.4, (300.0, 1100.0, 2400.0), 0.05, 0.055, 1200.0, 8000.0),
    "h": Consonant(0.070, 0.05, None, 0.14, 0.070, 500.0, 5000.0),
    "p": Consonant(0.085, 0.0, (350.0, 900.0, 2300.0), 0.26, 0.022, 300.0, 4000.0),
    "t": Consonant(0.085, 0.0, (350.0, 1800.0, 2800.0), 0.34, 0.030, 3000.0, 9000.0),
    "k": Consonant(0.090, 0.0, (350.0, 2000.0, 2400.0), 0.32, 0.035, 1300.0, 5000.0),
    "b": Consonant(0.060, 0.12, (300.0, 900.0, 2300.0), 0.14, 0.010, 300.0, 3000.0),
    "d": Consonant(0.060, 0.12, (300.0, 1800.0, 2800.0), 0.18, 0.012, 2500.0, 8000.0),
    "g": Consonant(0.065, 0.12, (300.0, 2000.0, 2400.0), 0.16, 0.015, 1200.0, 4500.0),
    "j": Consonant(0.080, 0.10, (300.0, 2000.0, 2800.0), 0.26, 0.045, 2200.0, 7500.0),
    "c": Consonant(0.100, 0.0, (300.0, 2000.0, 2800.0), 0.32, 0.060, 2400.0, 8000.0),
    "m": Consonant(0.070, 0.40, (270.0, 1100.0, 2300.0)),
    "n": Consonant(0.065, 0.40, (280.0, 1700.0, 2600.0)),
    "N": Consonant(0.070, 0.38, (280.0, 2200.0, 2800.0)),
    "l": Consonant(0.060, 0.60, (360.0, 1300.0, 2900.0)),
    "r": Consonant(0.065, 0.60, (420.0, 1300.0, 1700.0)),
    "w": Consonant(0.065, 0.55, (320.0, 700.0, 2300.0)),
    "y": Consonant(0.060, 0.60, (300.0, 2600.0, 3200.0)),
}


@dataclass(frozen=True)
class Singer:
    """Who sings: the size of the mouth, brightness of the pulse, breath, and habits.

    `tilt` is the exponent by which the partials of the pulse fall; `vibrato_cents` the peak deviation;
    `late_s` the standard deviation of the timing.
    """

    name: str
    mouth: float = 1.0
    tilt: float = 1.05
    breath: float = 0.10
    vibrato_cents: float = 32.0
    vibrato_hz: float = 5.4
    late_s: float = 0.0
    cents: float = 0.0


def spelled(sound: str) -> tuple[str, str, str]:
    """Split a syllable into the consonants before its vowel, the vowel, and those after."""
    for index, letter in enumerate(sound):
        if letter in VOWELS:
            before, after = sound[:index], sound[index + 1 :]
            if all(other in CONSONANTS for other in before + after):
                return before, letter, after
    raise ValueError(f"{sound!r} is not a syllable: consonants, one vowel, consonants")


class _Curve:
    """Breakpoints of something that moves: what was set last is held, changes take a given time."""

    def __init__(self, value: float) -> None:
        self.times_s = [-1.0]
        self.values = [value]

    def move(self, at_s: float, value: float, within_s: float) -> None:
        """Stand at a new value at a time, on the way there from `within_s` before it."""
        leave_s = max(self.times_s[-1] + 1e-4, at_s - within_s)
        self.times_s += [leave_s, max(leave_s + 1e-4, at_s)]
        self.values += [self.values[-1], value]

    def at(self, times_s: np.ndarray) -> np.ndarray:
        """Return the values at given times."""
        return np.asarray(np.interp(times_s, self.times_s, self.values))


_LEAD_IN_S = 0.55
_CONTROL_FRAMES = 48


def sing(phrase: Sequence[Syllable], singer: Singer, seed: str) -> tuple[float, np.ndarray]:
    """Return when a phrase starts (breath included), in s, and its sound, (frames,)."""
    chance = generator(f"{singer.name} {seed}")
    origin_s = max(0.0, phrase[0].start_s - _LEAD_IN_S)
    length_s = phrase[-1].end_s - origin_s + 0.4
    frames = round(length_s * RATE_HZ)
    control_s = np.arange(frames // _CONTROL_FRAMES + 2) * (_CONTROL_FRAMES / RATE_HZ)
    noises = np.zeros(frames)
    voice, cents = _Curve(0.0), _Curve(100.0 * phrase[0].midi)
    mouth = [_Curve(hz) for hz in VOWELS[spelled(phrase[0].sound)[1]]]
    vibrato = np.zeros(len(control_s))

    for index, syllable in enumerate(phrase):
        before, vowel, after = spelled(syllable.sound)
        start_s = syllable.start_s - origin_s + float(chance.normal(0.0, 0.004 + singer.late_s))
        following = phrase[index + 1] if index + 1 < len(phrase) else None
        room_s = (following.start_s if following else syllable.end_s + 0.08) - origin_s
        tied = following is not None and following.start_s - syllable.end_s < 0.02
        if tied and following is not None:
            room_s -= sum(CONSONANTS[letter].length_s for letter in spelled(following.sound)[0])
        end_s = max(start_s + 0.05, min(syllable.end_s - origin_s, room_s) - sum(CONSONANTS[c].length_s for c in after))
        at_s = start_s - sum(CONSONANTS[letter].length_s for letter in before)
        for letter in before:
            at_s = _consonant(letter, at_s, (voice, mouth), noises, f"{singer.name} {seed} {index} {at_s:.4f}")
        f0_hz = hz_from_midi(syllable.midi)
        accent = float(10.0 ** (chance.normal(0.0, 1.0) / 20.0)) * syllable.force * _effort(f0_hz, vowel, singer)
        voice.move(start_s + 0.015, accent, 0.025)
        cents.move(start_s + 0.01, 100.0 * syllable.midi, 0.07 if index else 0.0)
        for number, (curve, hz) in enumerate(zip(mouth, VOWELS[vowel], strict=True)):
            # A singer keeps the first formant above the note.
            curve.move(start_s + 0.025, max(hz * singer.mouth, 1.08 * f0_hz if number == 0 else 0.0), 0.055)
        if end_s - start_s > 0.32:
            swell = np.clip((control_s - start_s - 0.18) / 0.3, 0.0, 1.0) * (control_s < end_s)
            vibrato = np.maximum(vibrato, swell)
        at_s = end_s
        voice.move(end_s, 0.9 * accent, 0.02)
        for letter in after:
            at_s = _consonant(letter, at_s, (voice, mouth), noises, f"{singer.name} {seed} {index} after {at_s:.4f}")
        if not tied:
            voice.move(at_s + 0.09, 0.0, 0.09)

    time_s = seconds(frames)
    pitch_hz = np.interp(time_s, control_s, _pitch(cents.at(control_s) + singer.cents, vibrato, singer, chance))
    breath = _breath(f"{singer.name} {seed} breath", phrase[0].start_s - origin_s - 0.12)
    sound = _through_mouth(pitch_hz, voice.at(time_s), mouth, singer, f"{singer.name} {seed}")
    add(noises, 0, breath)
    return origin_s, faded(sound + noises, 0.01, 0.03)


def _effort(f0_hz: float, vowel: str, singer: Singer) -> float:
    """Return how much a singer holds back or gives to even out two thirds of what the vowel makes louder."""
    partial = np.arange(1, 13)
    hz = partial * f0_hz
    gain = partial**-singer.tilt
    for number, (centre_hz, width_hz) in enumerate(zip(VOWELS[vowel], _BANDWIDTHS_HZ, strict=True)):
        squared = max(centre_hz * singer.mouth, 1.08 * f0_hz if number == 0 else 0.0) ** 2
        gain = gain * np.abs(squared / (squared - hz**2 + 1j * width_hz * hz))
    return float((np.sum(gain**2) / 60.0) ** (-1.0 / 3.0))


def _consonant(letter: str, at_s: float, curves: tuple[_Curve, list[_Curve]], noises: np.ndarray, seed: str) -> float:
    """Speak one consonant from a time on and return when it ends."""
    voice, mouth = curves
    kind = CONSONANTS[letter]
    voice.move(at_s + 0.012, kind.voice, 0.02)
    if kind.formants:
        for curve, hz in zip(mouth, kind.formants, strict=True):
            curve.move(at_s + 0.02, hz, 0.03)
    end_s = at_s + kind.length_s
    voice.move(end_s - 0.004, kind.voice, 0.004)
    if kind.noise:
        count = round((kind.burst_s + 0.012) * RATE_HZ)
        band: tuple[Response, ...] = (high_pass(kind.low_hz, 2), low_pass(kind.high_hz, 2))
        soft_s = 0.0015 if kind.burst_s < 0.05 else 0.02
        burst = faded(filtered(noise(seed, count), *band), soft_s, min(0.03, 0.6 * kind.burst_s))
        add(noises, max(0, round((end_s - kind.burst_s) * RATE_HZ)), burst, 0.7 * kind.noise)
    return end_s


def _pitch(cents: np.ndarray, vibrato: np.ndarray, singer: Singer, chance: np.random.Generator) -> np.ndarray:
    """Return the pitch in Hz at control points: the notes, vibrato, a slow drift, and jitter from pulse to pulse."""
    time_s = np.arange(len(cents)) * (_CONTROL_FRAMES / RATE_HZ)
    slow = np.arange(int(time_s[-1] / 0.14) + 2) * 0.14
    fast = np.arange(int(time_s[-1] / 0.006) + 2) * 0.006
    drift = np.interp(time_s, slow, chance.normal(0.0, 5.0, len(slow)))
    jitter = np.interp(time_s, fast, chance.normal(0.0, 4.0, len(fast)))
    wave = np.sin(2.0 * np.pi * singer.vibrato_hz * time_s + float(chance.uniform(0.0, 6.28)))
    total = cents + drift + jitter + singer.vibrato_cents * vibrato * wave
    return np.asarray(440.0 * np.exp2((total - 6900.0) / 1200.0))


def _through_mouth(
    pitch_hz: np.ndarray, voice: np.ndarray, mouth: list[_Curve], singer: Singer, seed: str
) -> np.ndarray:
    """Return the pulse of the glottis with its breath, through the formants."""
    cycles = np.cumsum(pitch_hz) / RATE_HZ
    partial = np.arange(1, min(48, int(19_000 / float(pitch_hz.max()))) + 1)
    pulse = steady_tone(cycles, partial**-singer.tilt, 0.12 * partial)
    # Air rushes while the glottis is open: the breath is louder in one half of every period.
    air = noise(f"{seed} air", len(cycles)) * (1.0 + 0.7 * np.cos(2.0 * np.pi * cycles))
    source = voice * (pulse + singer.breath * air)

    def formants(times_s: np.ndarray, hz: np.ndarray) -> np.ndarray:
        s = 1j * hz.astype(np.complex64)
        result = np.ones((len(times_s), hz.shape[1]), dtype=np.complex64)
        for curve, width_hz in zip(mouth, _BANDWIDTHS_HZ, strict=True):
            centre = curve.at(times_s[:, 0])[:, np.newaxis].astype(np.float32)
            result *= centre**2 / (s * s + np.float32(width_hz) * s + centre**2)
        fixed = np.ones(hz.shape, dtype=np.complex64)
        for centre_hz, width_hz in _HIGHER:
            scaled = centre_hz * singer.mouth
            fixed *= scaled**2 / (s * s + width_hz * s + scaled**2)
        return np.asarray(result * fixed * _from_lips(hz[0])[np.newaxis, :])

    return moving(source, formants, 12_000.0)


def _from_lips(hz: np.ndarray) -> np.ndarray:
    """Return the gain from the lips to the microphone."""
    return (high_pass(110.0, 2)(hz) * 0.07).astype(np.complex64)


def _breath(seed: str, length_s: float) -> np.ndarray:
    """Return the breath drawn before a phrase."""
    count = round(min(0.34, max(0.0, length_s)) * RATE_HZ)
    if count < RATE_HZ // 20:
        return np.zeros(0)
    air = filtered(noise(seed, count), high_pass(900.0), bell(1700.0, 6.0), bell(4200.0, 4.0), low_pass(8000.0))
    return faded(0.018 * air, 0.12, 0.07)


LEAD = Singer("lead", tilt=0.96)
DOUBLE = Singer(
    "double", mouth=0.99, tilt=1.05, breath=0.08, vibrato_cents=24.0, vibrato_hz=5.1, late_s=0.012, cents=5.0
)
HIGH_1 = Singer("high 1", mouth=1.03, tilt=1.35, breath=0.16, late_s=0.012, cents=-4.0)
HIGH_2 = Singer("high 2", mouth=0.98, tilt=1.30, breath=0.14, late_s=0.015, cents=7.0, vibrato_hz=5.0)
LOW_1 = Singer("low 1", mouth=0.90, tilt=1.35, breath=0.14, late_s=0.012, cents=3.0, vibrato_hz=4.9)
LOW_2 = Singer("low 2", mouth=0.94, tilt=1.30, breath=0.16, late_s=0.015, cents=-6.0, vibrato_hz=5.6)


def sung(piece: Piece, layer: str, singer: Singer) -> np.ndarray:
    """Return everything that a singer sings of a layer, (frames, 1)."""
    result = np.zeros(piece.frames)
    for number, phrase in enumerate(piece.phrases(layer)):
        origin_s, sound = sing(phrase, singer, f"{piece.title} {layer} {number}")
        add(result, round(origin_s * RATE_HZ), sound)
    return result[:, np.newaxis]
