# SPDX-License-Identifier: Apache-2.0
"""Guitars and synthesisers that pluck, strum and strike: each returns its layer of a piece, float64."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from mixwright.demo.playing import add
from mixwright.demo.score import Chord, Piece
from mixwright.demo.signals import (
    RATE_HZ,
    bell,
    convolved,
    decaying_tone,
    faded,
    filtered,
    generator,
    high_pass,
    hz_from_midi,
    low_pass,
    saturated,
    seconds,
)


def _string(midi: int, frames: int, player: int, muted: bool) -> np.ndarray:
    partial = np.arange(1, 61)
    hz = hz_from_midi(midi + (0.03 if player else -0.02))
    amplitudes = np.sin(np.pi * partial * (0.17, 0.13)[player]) / partial**0.9
    decay_s = (0.12 if muted else 1.1) / (1.0 + 0.13 * (partial - 1))
    return faded(decaying_tone(seconds(frames) * hz, hz, amplitudes, decay_s), 0.002, 0.02 if frames < RATE_HZ else 0.3)


def _strum_order(chord: Chord, mark: str) -> tuple[int, ...]:
    strings = chord.voiced(43, 5)
    return strings if mark != "o" else strings[:1:-1]


def _cabinet(player: int) -> np.ndarray:
    """Return the impulse response of a small loudspeaker box in front of a microphone."""
    impulse = np.zeros(2400)
    impulse[0] = 1.0
    low, mid, top = ((95.0, 2700.0, 7200.0), (110.0, 2100.0, 6400.0))[player]
    return faded(filtered(impulse, high_pass(low), bell(mid, 4.0, 0.9), low_pass(top, 3)), 0.0, 0.02)


def guitar(piece: Piece, player: int) -> np.ndarray:
    """Return one of two driven guitars that strum the same chords, each in its own time and tone."""
    result = np.zeros(piece.frames)
    string = lru_cache(maxsize=None)(_string)
    hits = piece.hits("guitar left" if player == 0 else "guitar right")
    late = generator(f"{piece.title} guitar {player}").normal(0.006, 0.004, len(hits))
    for index, hit in enumerate(hits):
        gap = 190 if hit.mark != "o" else 130
        start = hit.frame + max(0, round(float(late[index]) * RATE_HZ))
        for order, midi in enumerate(_strum_order(hit.chord, hit.mark)):
            add(result, start + gap * order, string(midi, hit.frames, player, hit.mark == "o"), hit.force)
    driven = np.tanh(1.6 * result) / 1.6
    return convolved(driven, _cabinet(player))[: piece.frames, np.newaxis]


def _blip(midi: int) -> np.ndarray:
    """Return one short note of a synthesiser whose filter closes quickly."""
    hz = hz_from_midi(midi)
    partial = np.arange(1, 41)
    amplitudes = 1.0 / (partial * (1.0 + (hz * partial / 7000.0) ** 2))
    frames = round(0.34 * RATE_HZ)
    decay_s = 0.22 / (1.0 + (hz * partial / 2500.0) ** 1.2)
    return faded(filtered(decaying_tone(seconds(frames) * hz, hz, amplitudes, decay_s), high_pass(140.0)), 0.0015, 0.05)


_CLIMB = (0, 2, 1, 3, 2, 4, 3, 5)


def arpeggio(piece: Piece) -> np.ndarray:
    """Return a synthesiser that climbs through the chord, with echoes from side to side."""
    result = np.zeros((piece.frames, 2))
    echo = 3 * piece.step_frames
    blip = lru_cache(maxsize=None)(_blip)
    for index, hit in enumerate(piece.hits("arp")):
        sound = blip(hit.chord.voiced(64, 6)[_CLIMB[index % len(_CLIMB)]])
        for repeat, gain in enumerate((1.0, 0.4, 0.2, 0.1)):
            near = 0.85 if repeat else 0.7
            side = (index + repeat) % 2
            add(result[:, side], hit.frame + repeat * echo, sound, gain * near * hit.force)
            add(result[:, 1 - side], hit.frame + repeat * echo, sound, gain * (1.0 - near) * hit.force)
    return result


_PICKED = (0, 2, 3, 1, 4, 2, 3, 1)


def clean_guitar(piece: Piece) -> np.ndarray:
    """Return a clean guitar that picks the notes of the chord one by one and lets them ring."""
    result = np.zeros(piece.frames)
    string = lru_cache(maxsize=None)(_string)
    ring = 4 * piece.step_frames
    for index, hit in enumerate(piece.hits("clean")):
        midi = hit.chord.voiced(50, 5)[_PICKED[index % len(_PICKED)]]
        add(result, hit.frame, string(midi, ring, 1, False), hit.force)
    coloured = filtered(saturated(result, 0.4), high_pass(120.0), bell(900.0, -2.0, 0.8), bell(3600.0, 6.0, 0.7))
    return coloured[:, np.newaxis]


def _stab(chord: Chord, frames: int) -> np.ndarray:
    partial = np.arange(1, 41)
    amplitudes = 1.0 / (partial * (1.0 + (partial / 12.0) ** 2))
    decay_s = 0.16 / (1.0 + 0.05 * (partial - 1))
    total = np.zeros(frames)
    for midi in chord.voiced(55, 4):
        for cents in (-7.0, 6.0):
            hz = hz_from_midi(midi + 0.01 * cents)
            total += decaying_tone(seconds(frames) * hz, hz, amplitudes, decay_s)
    return faded(filtered(total, high_pass(180.0), low_pass(7000.0)), 0.002, 0.05)


def stabs(piece: Piece) -> np.ndarray:
    """Return short chords of two saws a note, slightly apart in pitch."""
    result = np.zeros(piece.frames)
    stab = lru_cache(maxsize=None)(_stab)
    for hit in piece.hits("stabs"):
        add(result, hit.frame, stab(hit.chord, round(0.45 * RATE_HZ)), hit.force)
    return result[:, np.newaxis]


def _note(midi: float, frames: int) -> np.ndarray:
    hz = hz_from_midi(midi)
    partial = np.arange(1, 31)
    amplitudes = np.where(partial % 2 == 1, 1.0, 0.3) / (partial**1.1 * (1.0 + (hz * partial / 4500.0) ** 2))
    time_s = seconds(frames)
    bend = 0.004 * np.sin(2.0 * np.pi * 5.2 * time_s) * np.clip((time_s - 0.15) / 0.2, 0.0, 1.0)
    cycles = np.cumsum(hz * (1.0 + bend)) / RATE_HZ
    return faded(decaying_tone(cycles, hz, amplitudes, 0.9 / (1.0 + 0.06 * (partial - 1))), 0.006, 0.06)


def hook(piece: Piece) -> np.ndarray:
    """Return a synthesiser that plays a tune, written like a voice; two sides that are the same."""
    result = np.zeros(piece.frames)
    note = lru_cache(maxsize=None)(_note)
    for phrase in piece.phrases("hook"):
        for syllable in phrase:
            frames = round((syllable.end_s - syllable.start_s) * RATE_HZ)
            add(result, round(syllable.start_s * RATE_HZ), note(syllable.midi, frames), syllable.force)
    return np.column_stack((result, result))
