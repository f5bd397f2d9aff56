# SPDX-License-Identifier: Apache-2.0
"""Basses, pads and keys: each returns its layer of a piece.

A layer is float64, (frames, 1) or (frames, 2), at no particular level.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from mixwright.demo.playing import add
from mixwright.demo.score import Chord, Hit, Piece
from mixwright.demo.signals import (
    RATE_HZ,
    band_of_noise,
    bell,
    decay,
    decaying_tone,
    faded,
    filtered,
    high_pass,
    hz_from_midi,
    low_pass,
    moving,
    noise,
    saturated,
    seconds,
)

# --- bass ---------------------------------------------------------------------------------------------


def _bass_midi(hit: Hit) -> int:
    """Return the note: the root, on the last eighth of a bar the fifth above."""
    return hit.chord.bass() + (7 if hit.step == 14 and hit.mark == "o" else 0)


def _bass_string(midi: int, frames: int) -> np.ndarray:
    """Return one plucked note: partials of a string plucked at a fifth of its length."""
    hz = hz_from_midi(midi)
    partial = np.arange(1, 41)
    amplitudes = np.sin(np.pi * partial * 0.11) / partial**1.1
    decay_s = 1.6 / (1.0 + 0.28 * (partial - 1))
    cycles = seconds(frames) * hz
    thud = filtered(noise(f"finger {midi}", frames), low_pass(1400.0), high_pass(120.0)) * decay(frames, 0.012)
    return faded(decaying_tone(cycles, hz, amplitudes, decay_s) + 0.05 * thud, 0.003, 0.03)


def bass_di(piece: Piece) -> np.ndarray:
    """Return the direct signal of the bass guitar."""
    result = np.zeros(piece.frames)
    string = lru_cache(maxsize=None)(_bass_string)
    for hit in piece.hits("bass"):
        add(result, hit.frame, string(_bass_midi(hit), hit.frames), hit.force)
    return filtered(result, high_pass(28.0))[:, np.newaxis]


def bass_growl(piece: Piece) -> np.ndarray:
    """Return the same notes through a driven amplifier whose mouth opens on every note."""
    dry = bass_di(piece)[:, 0]
    driven = np.tanh(9.0 * filtered(dry, high_pass(70.0), bell(700.0, 8.0, 0.7)))
    mouth_s = np.zeros(len(dry) // 480 + 3)
    for hit in piece.hits("bass"):
        first, last = hit.frame // 480, (hit.frame + hit.frames) // 480
        mouth_s[first:last] = np.arange(last - first) * 0.01
    mouth_hz = 480.0 + 900.0 * np.exp(mouth_s / -0.16)

    def mouth(times_s: np.ndarray, hz: np.ndarray) -> np.ndarray:
        centre = np.interp(times_s, np.arange(len(mouth_hz)) * 0.01, mouth_hz)
        return np.asarray(0.35 + 1.8 / (1.0 + ((hz - centre) / (0.28 * centre)) ** 2))

    return filtered(moving(driven, mouth, 8_000.0), high_pass(130.0, 2), low_pass(3600.0, 3))[:, np.newaxis]


def bass_sub(piece: Piece) -> np.ndarray:
    """Return a synthesised sub that doubles the bass roots with a nearly pure tone."""
    result = np.zeros(piece.frames)
    for hit in piece.hits("sub"):
        hz = hz_from_midi(hit.chord.bass())
        time_s = seconds(hit.frames)
        tone = np.sin(2.0 * np.pi * hz * time_s) + 0.22 * np.sin(4.0 * np.pi * hz * time_s + 0.3)
        add(result, hit.frame, faded(tone * np.exp(time_s / -2.5), 0.008, 0.04), hit.force)
    return result[:, np.newaxis]


# --- long and struck chords ---------------------------------------------------------------------------


def _pad_chord(chord: Chord, frames: int) -> tuple[np.ndarray, np.ndarray]:
    centres, levels = [], []
    for midi in (*chord.voiced(45, 3), *chord.voiced(57, 4)):
        hz = hz_from_midi(midi)
        partial = np.arange(1, int(6500.0 / hz))
        centres.append(hz * partial)
        levels.append(partial**-1.15 / (1.0 + (hz * partial / 2600.0) ** 2))
    bands = (np.concatenate(centres), np.concatenate(levels), 0.004)
    middle = band_of_noise(f"pad {chord.name}", *bands, frames)
    wide = 0.75 * band_of_noise(f"pad side {chord.name}", *bands, frames)
    left, right = (faded(sound, 0.16, 0.35) for sound in (middle + wide, middle - wide))
    return left, right


def pad(piece: Piece) -> np.ndarray:
    """Return a warm wide pad, one chord after the other overlapping by a third of a second."""
    return _held(piece, "pad", _pad_chord)


def _tine(midi: int, hard: bool, frames: int) -> np.ndarray:
    """Return one note of an electric piano: few partials, a short bell two octaves and more above."""
    hz = hz_from_midi(midi)
    amplitudes = np.array([1.0, 0.32, 0.10, 0.05, 0.02, 0.0, 0.16 if hard else 0.10, 0.0, 0.03])
    decay_s = np.array([1.1, 0.7, 0.4, 0.3, 0.3, 0.2, 0.09, 0.1, 0.05])
    tone = decaying_tone(seconds(frames) * hz, hz, amplitudes, decay_s)
    hammer = filtered(noise(f"hammer {midi}", frames), high_pass(300.0), low_pass(2600.0)) * decay(frames, 0.005)
    return faded(tone + 0.05 * hammer, 0.001, 0.12)


def _glass_chord(chord: Chord, frames: int) -> tuple[np.ndarray, np.ndarray]:
    centres, levels = [], []
    for midi in chord.voiced(67, 4):
        hz = hz_from_midi(midi)
        partial = np.arange(1, int(9000.0 / hz))
        centres.append(hz * partial)
        levels.append(np.where(partial % 2 == 1, 1.0, 0.45) * partial**-0.8 / (1.0 + (hz * partial / 5000.0) ** 2))
    bands = (np.concatenate(centres), np.concatenate(levels), 0.0025)
    left, right = (faded(band_of_noise(f"glass {chord.name} {side}", *bands, frames), 0.35, 0.5) for side in "LR")
    return left, right


def pad_glass(piece: Piece) -> np.ndarray:
    """Return a bright pad two octaves up, slow to speak, each side its own."""
    return _held(piece, "glass", _glass_chord)


def _held(piece: Piece, name: str, sound_of: Callable[[Chord, int], tuple[np.ndarray, np.ndarray]]) -> np.ndarray:
    """Return the chords of a layer, each a sixth of a second longer than written on either side."""
    result = np.zeros((piece.frames, 2))
    chord = lru_cache(maxsize=None)(sound_of)
    for hit in piece.hits(name):
        for side, sound in enumerate(chord(hit.chord, hit.frames + 2 * (RATE_HZ // 6))):
            add(result[:, side], hit.frame, sound, hit.force)
    return result


def keys(piece: Piece) -> np.ndarray:
    """Return an electric piano whose chords wander gently from side to side."""
    result = np.zeros(piece.frames)
    tine = lru_cache(maxsize=None)(_tine)
    for hit in piece.hits("keys"):
        held = min(hit.frames + 2400, round(2.2 * RATE_HZ))
        for index, midi in enumerate(hit.chord.voiced(52, 4)):
            add(result, hit.frame + 90 * index, tine(midi, hit.mark == "X", held), hit.force)
    coloured = filtered(saturated(result, 0.5), high_pass(110.0), bell(1500.0, 3.0, 0.7))
    sway = 0.35 * np.sin(2.0 * np.pi * 4.3 * seconds(piece.frames))
    return np.column_stack((coloured * (1.0 + sway), coloured * (1.0 - sway)))
