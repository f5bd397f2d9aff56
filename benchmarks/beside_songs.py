# SPDX-License-Identifier: Apache-2.0
"""Invented finished songs for `beside_records.py`: stems of short pieces by the demo, mixed anew from a seed."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from mixwright.demo.layers import LAYERS, LEAD_FILE, Layer, made
from mixwright.demo.pieces import RECORDS, SONG
from mixwright.demo.score import Piece
from mixwright.demo.signals import RATE_HZ

#: Pieces, the parts that are played, and the tempo (a sixteenth must be a whole number of frames).
_SHORT = ((SONG, (1, 2, 3), 128), (RECORDS[0], (0, 1, 2), 120), (RECORDS[1], (0, 1, 2), 100), (SONG, (3, 2), 96))
#: Never left out: without them it is another kind of song.
_ALWAYS = ("kick", "snare", "bass", "lead vocal")
_ENGINEERS_DB = 2.8


class Finished(NamedTuple):
    """An invented finished song and its lead voice as it stands in it, (frames, 2)."""

    name: str
    audio: np.ndarray
    lead: np.ndarray


def pieces() -> tuple[Piece, ...]:
    """Return short pieces: other parts, tempi and arrangements of the demo's music."""
    return tuple(
        replace(piece, parts=tuple(piece.parts[i] for i in parts if i < len(piece.parts)), tempo_bpm=tempo)
        for piece, parts, tempo in _SHORT
    )


def stems_of(piece: Piece, number: int, folder: Path) -> list[tuple[Layer, np.ndarray]]:
    """Return the layers that play in a piece, made once and kept in a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    found = []
    for layer in LAYERS:
        if not any(line in part.plays or line in part.sings for part in piece.parts for line in layer.plays):
            continue
        name = hashlib.sha256(f"{number} {piece.tempo_bpm} {layer.file}".encode()).hexdigest()[:16]
        path = folder / f"{name}.npy"
        if not path.is_file():
            np.save(path, made(layer, piece).astype(np.float32))
        found.append((layer, np.load(path, mmap_mode="r")))
    return found


def mixed(stems: list[tuple[Layer, np.ndarray]], name: str, seed: int) -> Finished:
    """Mix a piece as another engineer would: other faders, positions, layers, tone and loudness; from a seed."""
    rng = np.random.default_rng(seed)
    frames = max(len(audio) for _, audio in stems)
    parts = {True: np.zeros((frames, 2)), False: np.zeros((frames, 2))}
    width = rng.uniform(0.5, 1.2)
    for layer, audio in stems:
        stays = layer.role in _ALWAYS or rng.random() > 0.25
        gain = 10.0 ** ((layer.mix.rough_db + rng.normal(0.0, _ENGINEERS_DB)) / 20.0)
        if not stays:
            continue
        both = np.broadcast_to(audio, (len(audio), 2)) if audio.shape[1] == 1 else audio
        angle = 0.25 * np.pi * (1.0 + np.clip(width * layer.mix.pan, -1.0, 1.0))
        place = np.sqrt(2.0) * np.array([np.cos(angle), np.sin(angle)])
        parts[layer.file == LEAD_FILE][: len(both)] += gain * place * both
    # What works on the mix works on both: the lead is scaled as the mix is, moment by moment.
    slope = rng.normal(0.0, 0.4)
    lead, rest = (tilted(part, slope) for part in (parts[True], parts[False]))
    mix = lead + rest
    top = float(np.percentile(np.abs(mix), 99.9)) * 10.0 ** (rng.uniform(-3.0, 6.0) / 20.0)
    gain = np.tanh(mix / top) / np.where(np.abs(mix) < 1e-12, 1e-12 / top, mix / top)
    level = 0.7 / top
    return Finished(
        name, (level * top * np.tanh(mix / top)).astype(np.float32), (level * gain * lead).astype(np.float32)
    )


def tilted(audio: np.ndarray, db_oct: float, pivot_hz: float = 1000.0) -> np.ndarray:
    """Return audio whose spectrum is tilted about a frequency, from 30 Hz to 16 kHz, without a shift in time."""
    from scipy.fft import irfft, next_fast_len, rfft, rfftfreq

    length = next_fast_len(len(audio) + RATE_HZ, real=True)
    hz = np.clip(rfftfreq(length, 1.0 / RATE_HZ), 20.0, 20000.0)
    gain = 10.0 ** (db_oct * np.log2(hz / pivot_hz) / 20.0)
    return irfft(rfft(audio, length, axis=0) * gain[:, None], length, axis=0)[: len(audio)]
