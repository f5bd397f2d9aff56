# SPDX-License-Identifier: Apache-2.0
"""Finished music for the benchmark of checks: made by code, cut from the demo, and from folders of real audio.

All that is made here is invented. Real audio is only read, where its folder is there.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import planting
import soundfile
from scipy import signal

from mixwright.engine.dynamics import PeakLimiter

RATE_HZ = 48_000
SECONDS = 7.0
FRAMES = round(SECONDS * RATE_HZ)
_T = np.arange(FRAMES) / RATE_HZ
#: True peak of the loudest part of a loud piece: 0.3 dB below full scale.
_MOST_PEAK = 10.0 ** (-0.3 / 20.0)


@dataclass(frozen=True, eq=False)
class Piece:
    """Parts, (frames, 2) float64, that add up to a finished piece; `voice` is the name of its lead.

    `coded`: it was read from a coded file, whose edge may be told.
    """

    name: str
    parts: dict[str, np.ndarray]
    voice: str
    rate_hz: int = RATE_HZ
    coded: bool = False

    @property
    def mix(self) -> np.ndarray:
        """The finished piece."""
        return np.sum(list(self.parts.values()), axis=0)


def made(seed: int) -> Iterator[Piece]:
    """Yield one piece of each style, with keys, tempi and noises of their own for every seed."""
    rng = np.random.default_rng(seed)
    key = float(rng.choice([98.0, 110.0, 123.5, 130.8]))
    beat_s = float(rng.uniform(0.42, 0.62))
    voice = _sung(rng, key)
    kit, bass = _kit(rng, beat_s), _bass(rng, key, beat_s)
    chords, guitars = _chords(rng, key), _guitars(rng, key, beat_s)
    plucks = _plucks(rng, key, beat_s)
    band = {"Voice": 0.5 * voice, "Band": _closed(0.6 * kit + 0.5 * bass + 0.3 * chords)}
    yield _level(Piece(f"band-{seed}", {name: _closed(part) for name, part in band.items()}, "Voice"), -3.0)
    yield _loud(Piece(f"loud-{seed}", {**band, "Guitars": _closed(0.4 * guitars)}, "Voice"), 8.0 + 4.0 * (seed % 2))
    sparse = {"Voice": _closed(0.5 * voice * _rests(rng)), "Plucks": _closed(plucks)}
    yield _level(Piece(f"sparse-{seed}", sparse, "Voice"), -6.0)
    fade = np.clip((SECONDS - 0.2 - _T) / 4.0, 0.0, 1.0)[:, None] ** 2
    yield _level(Piece(f"fade-{seed}", {name: part * fade for name, part in band.items()}, "Voice"), -2.0)
    yield _level(Piece(f"guitars-{seed}", {"Voice": _closed(0.2 * voice), "Guitars": _closed(guitars)}, "Voice"), -0.4)
    wide = {"Voice": _closed(0.3 * voice), "Wide": _closed(_widened(rng, chords + 0.5 * plucks)), "Bass": _closed(bass)}
    yield _level(Piece(f"wide-{seed}", wide, "Voice"), -4.0)
    narrow = {"Voice": _closed(0.5 * voice), "Band": _closed(_narrowed(0.6 * kit + bass + 0.2 * chords))}
    yield _level(Piece(f"narrow-{seed}", narrow, "Voice"), -3.0)
    yield _level(Piece(f"drums-{seed}", {"Voice": _closed(0.15 * voice), "Kit": _closed(kit)}, "Voice"), -4.0)
    synths = {"Voice": _closed(0.4 * voice), "Synths": _closed(_arpeggio(rng, key, beat_s) + 0.3 * bass)}
    yield _level(Piece(f"synths-{seed}", synths, "Voice"), -2.0)


def from_demo() -> Iterator[Piece]:
    """Yield four excerpts of the demo song: its lead, what must be heard beside it, and the rest."""
    mix = planting.demo()
    whole_s = len(mix.whole) / RATE_HZ
    named = {"lead": "Voice", "support": "Drums", "bed": "Rest"}
    for number, start_s in enumerate(np.linspace(12.0, whole_s - SECONDS - 6.0, 4)):
        first = round(start_s * RATE_HZ)
        parts: dict[str, np.ndarray] = {}
        for layer, audio in mix.layers.items():
            name = named[mix.places[layer]]
            part = _closed(audio[first : first + FRAMES].astype(np.float64))
            parts[name] = parts[name] + part if name in parts else part
        sounding = {name: part for name, part in parts.items() if np.abs(part).max() > 1e-3}
        yield _level(Piece(f"demo-{number}", sounding, "Voice"), -2.0)


def from_stems(folder: Path) -> Iterator[Piece]:
    """Yield two excerpts of real stems, in three parts."""
    if not folder.is_dir():
        return
    read = {path.stem: soundfile.read(path, always_2d=True)[0] for path in sorted(folder.glob("*.flac"))}
    for number, start_s in enumerate((1.0, 14.0)):
        cut = slice(round(start_s * RATE_HZ), round(start_s * RATE_HZ) + FRAMES)
        parts: dict[str, np.ndarray] = {}
        for stem, audio in read.items():
            name = "Voice" if "VOX" in stem else "Drums" if "DRUMS" in stem else "Synths"
            parts[name] = parts.get(name, 0.0) + _closed(audio[cut])
        yield _level(Piece(f"stems-{number}", parts, "Voice"), -3.0)


def from_records(folder: Path) -> Iterator[Piece]:
    """Yield three excerpts of every real record, at its own rate, split into its middle and its sides."""
    for path in sorted(folder.glob("*.ogg")):
        with soundfile.SoundFile(path) as sound:
            rate_hz = sound.samplerate
            for number, share in enumerate((0.25, 0.5, 0.75)):
                sound.seek(int(share * sound.frames))
                audio = _closed(sound.read(round(rate_hz * SECONDS), always_2d=True))
                middle = np.repeat(audio.mean(axis=1, keepdims=True), 2, axis=1)
                parts = {"Voice": middle, "Sides": audio - middle}
                yield _level(Piece(f"{path.stem[:8]}-{number}", parts, "Voice", rate_hz, coded=True), -1.0)


def _level(piece: Piece, peak_db: float) -> Piece:
    gain = 10.0 ** (peak_db / 20.0) / np.abs(piece.mix).max()
    return replace(piece, parts={name: gain * part for name, part in piece.parts.items()})


def _loud(piece: Piece, up_db: float) -> Piece:
    """Drive a piece into a limiter; its parts pass the same gains, and all are lowered where one is too high."""
    driven = _level(piece, up_db)
    limiter = PeakLimiter(RATE_HZ, ceiling_dbtp=-0.3, release_s=0.08)
    late = limiter.latency_frames
    audio = np.concatenate((driven.mix, np.zeros((late, 2))))
    gains = np.empty(len(audio), dtype=np.float32)
    limiter.process(audio, gains)
    follow = gains[late:, None].astype(np.float64)
    parts = {name: part * follow for name, part in driven.parts.items()}
    over = max(float(np.abs(signal.resample_poly(part, 4, 1, axis=0)).max()) for part in parts.values())
    fits = min(1.0, _MOST_PEAK / over)
    return replace(piece, parts={name: fits * part for name, part in parts.items()})


def _closed(audio: np.ndarray, in_s: float = 0.02, out_s: float = 0.6) -> np.ndarray:
    """Fade the ends to nothing, as any finished file has them."""
    faded = np.array(audio, dtype=np.float64)
    in_frames, out_frames = round(in_s * RATE_HZ), round(out_s * RATE_HZ)
    faded[:in_frames] *= np.sin(np.linspace(0.0, np.pi / 2.0, in_frames))[:, None] ** 2
    faded[-out_frames:] *= np.cos(np.linspace(0.0, np.pi / 2.0, out_frames))[:, None] ** 2
    return faded


def _placed(sound: np.ndarray, pan: float) -> np.ndarray:
    angle = (pan + 1.0) * np.pi / 4.0
    return np.stack((sound * np.cos(angle), sound * np.sin(angle)), axis=1)


def _filtered(sound: np.ndarray, kind: str, hz: float | tuple[float, float], order: int = 2) -> np.ndarray:
    return signal.sosfilt(signal.butter(order, hz, kind, fs=RATE_HZ, output="sos"), sound, axis=0)


def _room(rng: np.random.Generator, sound: np.ndarray, decay_s: float = 0.9) -> np.ndarray:
    n = round(decay_s * RATE_HZ)
    response = rng.standard_normal((n, 2)) * np.exp(-6.9 * np.arange(n) / n)[:, None] * 0.02
    source = sound if sound.ndim == 2 else np.stack((sound, sound), axis=1)
    return signal.fftconvolve(source, _filtered(response, "low", 6000.0), axes=0)[: len(sound)]


def _sung(rng: np.random.Generator, key: float) -> np.ndarray:
    out = np.zeros(FRAMES)
    vowels = [(730, 1090, 2440), (270, 2290, 3010), (300, 870, 2240), (530, 1840, 2480)]  # Peterson and Barney 1952
    at = 0.3
    while at < SECONDS - 1.0:
        length_s = float(rng.uniform(0.25, 0.8))
        n = round(length_s * RATE_HZ)
        t = np.arange(n) / RATE_HZ
        hz = 2 * key * 2 ** (rng.choice([0, 2, 4, 5, 7]) / 12) * 2 ** (0.3 * np.sin(2 * np.pi * 5.3 * t) / 12)
        phase = 2 * np.pi * np.cumsum(hz) / RATE_HZ
        sound = sum(np.sin(k * phase) / k for k in range(1, 30))
        sound = sum(
            g * signal.lfilter(*signal.iirpeak(f, f / 90, fs=RATE_HZ), sound)
            for f, g in zip(vowels[rng.integers(4)], (1.0, 0.7, 0.4), strict=True)
        )
        breath = 0.15 * _filtered(rng.standard_normal(n), "high", 4500.0) * np.exp(-t * 18.0)
        shape = np.minimum(1.0, np.minimum(t / 0.03, (length_s - t) / 0.08))
        first = round(at * RATE_HZ)
        out[first : first + n] += ((sound + breath) * shape)[: FRAMES - first]
        at += length_s + float(rng.uniform(0.0, 0.35))
    out /= np.abs(out).max()
    return np.stack((out, out), axis=1) + 0.5 * _room(rng, out)


def _hit(rng: np.random.Generator, drum: str) -> np.ndarray:
    t = np.arange(round(0.4 * RATE_HZ)) / RATE_HZ
    # What a hit has not lost after 0.4 s is faded: broken off it would be a click.
    return np.minimum(1.0, (0.4 - t) / 0.1) ** 2 * _struck(rng, drum, t)


def _struck(rng: np.random.Generator, drum: str, t: np.ndarray) -> np.ndarray:
    if drum == "kick":
        click = _filtered(rng.standard_normal(len(t)), "low", 5000.0) * np.exp(-t * 400.0) * 0.4
        return np.sin(2 * np.pi * (48 * t + 5 * (1 - np.exp(-t * 45)))) * np.exp(-t * 11) + click
    if drum == "snare":
        noise = _filtered(rng.standard_normal(len(t)), "high", 900.0) * np.exp(-t * 22)
        return 0.45 * noise + 0.4 * np.sin(2 * np.pi * 190 * t) * np.exp(-t * 28)
    return (
        0.4 * _filtered(rng.standard_normal(len(t)), "high", 6500.0, 4) * np.exp(-t * float(rng.choice([60.0, 14.0])))
    )


def _kit(rng: np.random.Generator, beat_s: float) -> np.ndarray:
    out = np.zeros((FRAMES, 2))
    for step in range(int((SECONDS - 0.5) / (beat_s / 2.0))):
        first = round((0.1 + step * beat_s / 2.0) * RATE_HZ)
        drums = (
            [("hats", 0.35)] + ([("kick", 0.0)] if step % 4 == 0 else []) + ([("snare", -0.1)] if step % 4 == 2 else [])
        )
        for drum, pan in drums:
            sound = _placed(_hit(rng, drum) * float(rng.uniform(0.7, 1.0)), pan)[: FRAMES - first]
            out[first : first + len(sound)] += sound
    return out + 0.6 * _room(rng, out, 0.5)


def _bass(rng: np.random.Generator, key: float, beat_s: float) -> np.ndarray:
    out = np.zeros(FRAMES)
    n = round(beat_s * RATE_HZ)
    t = np.arange(n) / RATE_HZ
    for beat in range(int(SECONDS / beat_s) - 1):
        hz = key / 2.0 * 2 ** (rng.choice([0, 0, 5, 7, 10]) / 12)
        sound = sum(np.sin(2 * np.pi * k * hz * t) / k**1.5 for k in range(1, 12))
        out[beat * n : (beat + 1) * n] = sound * np.minimum(1.0, np.minimum(t / 0.01, (beat_s - t) / 0.03)) * np.exp(-t)
    return 0.6 * _placed(out, 0.0)


def _chords(rng: np.random.Generator, key: float) -> np.ndarray:
    out = np.zeros((FRAMES, 2))
    for _ in range(9):
        hz = key * 2 ** (rng.choice([0, 3, 7, 10, 12, 15, 19]) / 12) * 2 ** (rng.uniform(-0.1, 0.1) / 12)
        partials = int(min(40, 20000.0 / hz))
        phases = rng.uniform(0, 2 * np.pi, partials)
        sound = sum(np.sin(2 * np.pi * k * hz * _T + phases[k - 1]) / k for k in range(1, partials))
        out += _placed(sound * (0.7 + 0.3 * np.sin(2 * np.pi * rng.uniform(0.1, 0.4) * _T)), rng.uniform(-0.8, 0.8))
    return _filtered(out, "low", 9000.0) / 6.0 + 0.001 * rng.standard_normal((FRAMES, 2))


def _guitars(rng: np.random.Generator, key: float, beat_s: float) -> np.ndarray:
    """Two distorted guitars: driven into hard limiting, then through what a loudspeaker passes."""
    sides = []
    for _ in range(2):
        since = np.mod(_T - float(rng.uniform(0.0, 0.02)), beat_s / 2.0)
        strings = sum(
            np.sin(2 * np.pi * k * key * ratio * _T + rng.uniform(0, 6)) / k
            for ratio in (1.0, 1.498, 2.003)
            for k in range(1, 9)
        )
        driven = np.clip(12.0 * strings * np.exp(-since * 3.0) * np.minimum(1.0, since / 0.004), -1.0, 1.0)
        sides.append(_filtered(_filtered(driven, "high", 90.0), "low", 4800.0, 4))
    return 0.7 * np.stack(sides, axis=1)


def _plucks(rng: np.random.Generator, key: float, beat_s: float) -> np.ndarray:
    out = np.zeros((FRAMES, 2))
    for step in range(int((SECONDS - 1.0) / beat_s)):
        if rng.uniform() < 0.35:
            continue
        first = round((0.05 + step * beat_s) * RATE_HZ)
        t = np.arange(FRAMES - first) / RATE_HZ
        hz = 2 * key * 2 ** (rng.choice([0, 3, 5, 7, 10, 12]) / 12)
        sound = sum(np.sin(2 * np.pi * k * hz * t) * np.exp(-t * (3 + 2 * k)) / k for k in range(1, 14))
        out[first:] += _placed(sound * np.minimum(1.0, t / 0.002), float(rng.uniform(-0.9, 0.9)))
    return 0.5 * out


def _arpeggio(rng: np.random.Generator, key: float, beat_s: float) -> np.ndarray:
    """Bright pulses with short edges, each note cut off by the next."""
    out = np.zeros((FRAMES, 2))
    n = round(beat_s / 4.0 * RATE_HZ)
    t = np.arange(n) / RATE_HZ
    for step in range(FRAMES // n - 4):
        hz = 2 * key * 2 ** (rng.choice([0, 3, 7, 12, 15]) / 12)
        sound = sum(np.sin(2 * np.pi * k * hz * t) / k for k in range(1, int(20000 / hz), 2))
        edge = np.minimum(1.0, np.minimum(t / 0.0015, (n / RATE_HZ - t) / 0.0015))
        out[step * n : (step + 1) * n] = _placed(sound * edge, 0.6 * (-1) ** step)
    return 0.4 * out


def _widened(rng: np.random.Generator, audio: np.ndarray) -> np.ndarray:
    low, high = _filtered(audio, "low", 150.0), _filtered(audio, "high", 150.0)
    delayed = np.roll(high[:, ::-1], 331, axis=0)
    return low + 0.6 * high + 0.5 * delayed + 1.2 * _room(rng, high, 1.2)


def _narrowed(audio: np.ndarray) -> np.ndarray:
    middle = audio.mean(axis=1, keepdims=True)
    return middle + 0.12 * (audio - middle)


def _rests(rng: np.random.Generator) -> np.ndarray:
    """One where a voice sings, and two rests of a second and more."""
    gain = np.ones(FRAMES)
    for at_s in (2.0 + rng.uniform(0, 0.5), 5.0 + rng.uniform(0, 0.5)):
        gain[round(at_s * RATE_HZ) : round((at_s + 1.2) * RATE_HZ)] = 0.0
    smooth = np.hanning(2400)
    return signal.fftconvolve(gain, smooth / smooth.sum(), mode="same")[:, None]
