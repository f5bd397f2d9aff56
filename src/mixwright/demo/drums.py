# SPDX-License-Identifier: Apache-2.0
"""Drums and percussion: single strokes, and the microphones that hear them.

The kit is struck once, as it were, and heard by close microphones, a pair above it and a pair in the
room, each with its own delay, level and colour; so close and far tracks belong together as in a recording.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, partial

import numpy as np

from mixwright.demo.score import Piece
from mixwright.demo.signals import (
    RATE_HZ,
    band_of_noise,
    bell,
    convolved,
    decay,
    faded,
    filtered,
    generator,
    high_pass,
    low_pass,
    noise,
    saturated,
    seconds,
)

_TAKES = 4


def kick(take: int, mark: str) -> np.ndarray:
    """Return one stroke: a skin whose pitch falls from 174 to 56 Hz, and the beater, harder for `X`."""
    time_s = seconds(round(0.42 * RATE_HZ))
    cycles = np.cumsum(56.0 + 118.0 * np.exp(time_s / -0.022)) / RATE_HZ
    skin = np.sin(2.0 * np.pi * cycles) * np.exp(time_s / -0.13)
    shell = np.sin(2.0 * np.pi * 2.0 * cycles + 0.7) * np.exp(time_s / -0.05) * 0.25
    beater = filtered(noise(f"kick {take}", len(time_s)), high_pass(1800.0), low_pass(5500.0)) * decay(
        len(time_s), 0.006
    )
    felt = filtered(noise(f"felt {take}", len(time_s)), high_pass(200.0), low_pass(900.0)) * decay(len(time_s), 0.02)
    return faded(saturated(skin + shell + (0.22 if mark == "X" else 0.16) * beater + 0.16 * felt, 1.2), 0.0007, 0.12)


def snare(take: int, mark: str) -> np.ndarray:
    """Return one stroke: two modes of the skin, the wires, the stick; `o` is a ghost note of wires."""
    frames = round(0.40 * RATE_HZ)
    time_s = seconds(frames)
    skin = np.sin(2.0 * np.pi * (188.0 * time_s + 1.2 * (1.0 - np.exp(time_s / -0.012)))) * decay(frames, 0.055)
    second = np.sin(2.0 * np.pi * 331.0 * time_s + 0.4) * decay(frames, 0.035)
    wires = filtered(noise(f"wires {take}", frames), high_pass(700.0), bell(3200.0, 7.0, 0.6), low_pass(8000.0, 1))
    stick = filtered(noise(f"stick {take}", frames), high_pass(2500.0)) * decay(frames, 0.003)
    body = 0.2 if mark == "o" else 1.0
    sound = body * (0.9 * skin + 0.4 * second + 0.35 * stick) + 0.34 * wires * decay(frames, 0.075)
    return faded(saturated(sound, 1.0), 0.0005, 0.12)


def hats(take: int, mark: str) -> np.ndarray:
    """Return one stroke of the hats: closed, or open for `X`."""
    frames = round((0.42 if mark == "X" else 0.12) * RATE_HZ)
    time_s = seconds(frames)
    # Six squares at inharmonic ratios: the usual skeleton of a synthesised cymbal.
    ring = sum(
        np.sign(np.sin(2.0 * np.pi * 415.0 * ratio * time_s + take)) for ratio in (1.0, 1.34, 1.47, 1.61, 1.94, 2.54)
    )
    sound = filtered(
        0.25 * ring + noise(f"hats {take}", frames), high_pass(5200.0, 3), bell(8500.0, 4.0), low_pass(15000.0)
    )
    return faded(sound * decay(frames, 0.14 if mark == "X" else 0.03), 0.0008, 0.03)


def shaker(take: int, mark: str) -> np.ndarray:
    """Return one push of a shaker: the beads gather, then hit the wall; duller on the way back, `o`."""
    frames = round(0.09 * RATE_HZ)
    grains = noise(f"shaker {take}", frames) * (1.0 + 0.8 * np.sin(2.0 * np.pi * 190.0 * seconds(frames)))
    shape = np.minimum(seconds(frames) / 0.028, 1.0) ** 2 * np.exp(-np.maximum(seconds(frames) - 0.028, 0.0) / 0.018)
    return faded(
        filtered(grains, high_pass(3800.0, 2), bell(6500.0, 5.0), low_pass(9000.0 if mark == "o" else 12000.0)) * shape,
        0.004,
        0.02,
    )


def cymbal(take: int) -> tuple[np.ndarray, np.ndarray]:
    """Return one crash as the two overheads hear it."""
    frames = 131_072
    centres = 330.0 * 1.19 ** np.arange(21) * (1.0 + 0.05 * generator(f"cymbal {take}").standard_normal(21))
    levels = 1.0 / (1.0 + (centres / 5000.0) ** 2)
    wash = [band_of_noise(f"cymbal {take} {side}", centres, levels, 0.05, frames) for side in "LR"]
    shape = decay(frames, 0.75) * (1.0 - 0.7 * decay(frames, 0.004))
    left, right = (faded(0.4 * sound * shape, 0.0006, 0.8) for sound in wash)
    return left, right


Stroke = Callable[[int, str], np.ndarray]
#: Layers of the kit in the order of their microphones.
KIT: dict[str, Stroke] = {"kick": kick, "snare": snare, "hats": hats}


@lru_cache(maxsize=64)
def _stroke(layer: str, take: int, mark: str) -> np.ndarray:
    sound = filtered({**KIT, "shaker": shaker}[layer](take, mark), high_pass(22.0), tail_s=0.02)
    return faded(sound / np.abs(sound).max(), 0.0002, 0.02)


def close(piece: Piece, layer: str) -> np.ndarray:
    """Return the close microphone of one drum, (frames, 1): the drum, and a little of its neighbours."""
    result = np.zeros(piece.frames)
    _play(result, piece, layer, partial(_stroke, layer), 1.0)
    for other in KIT:
        if layer in KIT and other != layer:
            _play(result, piece, other, partial(_bleed, other), _BLEED[other], 0.0012)
    return result[:, np.newaxis]


_BLEED = {"kick": 0.02, "snare": 0.035, "hats": 0.02}


@lru_cache(maxsize=64)
def _bleed(layer: str, take: int, mark: str) -> np.ndarray:
    return filtered(_stroke(layer, take, mark), low_pass(6000.0, 1), tail_s=0.005)


# Level, delay of left and right in s: how each overhead stands to each drum.
_OVERHEADS = {
    "kick": (0.22, 0.22, 0.0039, 0.0040),
    "snare": (0.50, 0.46, 0.0030, 0.0032),
    "hats": (0.40, 0.20, 0.0024, 0.0036),
}


def overheads(piece: Piece) -> np.ndarray:
    """Return the pair above the kit, (frames, 2): cymbals, and the whole kit 2 to 4 ms late."""
    result = np.zeros((piece.frames, 2))
    for layer, (left, right, left_s, right_s) in _OVERHEADS.items():
        _play(result[:, 0], piece, layer, partial(_above, layer), left, left_s)
        _play(result[:, 1], piece, layer, partial(_above, layer), right, right_s)
    for index, hit in enumerate(piece.hits("cymbal")):
        for side, sound in enumerate(_cymbal(index % 2)):
            add(result[:, side], hit.frame + (60, 84)[side], sound, hit.force)
    return result


@lru_cache(maxsize=8)
def _cymbal(take: int) -> tuple[np.ndarray, np.ndarray]:
    return cymbal(take)


@lru_cache(maxsize=64)
def _above(layer: str, take: int, mark: str) -> np.ndarray:
    return filtered(_stroke(layer, take, mark), high_pass(90.0), low_pass(12000.0, 1), tail_s=0.02)


def room(piece: Piece) -> np.ndarray:
    """Return the pair in the room, (frames, 2): the kit from 4 m, with the room's own decay."""
    result = np.zeros((piece.frames, 2))
    for layer, level in (("kick", 0.8), ("snare", 1.0), ("hats", 0.35)):
        for side in (0, 1):
            _play(result[:, side], piece, layer, partial(_far, layer, side), level, 0.011)
    return result


@lru_cache(maxsize=64)
def _far(layer: str, side: int, take: int, mark: str) -> np.ndarray:
    return faded(convolved(_stroke(layer, take, mark), _room_response(side)), 0.0, 0.1)


@lru_cache(maxsize=2)
def _room_response(side: int) -> np.ndarray:
    """Return the impulse response of a small wooden room, 0.5 s to -60 dB, darker as it decays."""
    frames = round(0.55 * RATE_HZ)
    early = np.zeros(frames)
    places = generator(f"reflections {side}").integers(60, 1400, 14)
    early[places] = generator(f"strengths {side}").standard_normal(14) * 0.5
    early[side * 7] = 1.0
    bright = noise(f"room {side}", frames) * decay(frames, 0.045)
    dark = filtered(noise(f"room dark {side}", frames), low_pass(2200.0, 1)) * decay(frames, 0.09)
    return filtered(early + 0.10 * bright + 0.14 * dark, high_pass(60.0), low_pass(9000.0, 1))


def percussion(piece: Piece) -> np.ndarray:
    """Return the shaker, (frames, 1)."""
    return close(piece, "shaker")


def _play(
    into: np.ndarray,
    piece: Piece,
    layer: str,
    stroke: Callable[[int, str], np.ndarray],
    level: float,
    late_s: float = 0.0,
) -> None:
    """Add every stroke of a layer; timing and force of a stroke are the same for all microphones."""
    hits = piece.hits(layer)
    late = generator(f"{piece.title} {layer}").normal(0.0, 0.0025, len(hits))
    force = generator(f"{piece.title} {layer} force").normal(1.0, 0.05, len(hits))
    for index, hit in enumerate(hits):
        frame = hit.frame + round(max(0.0, float(late[index])) * RATE_HZ) + round(late_s * RATE_HZ)
        add(into, frame, stroke(index % _TAKES, hit.mark), level * hit.force * float(force[index]))


def add(into: np.ndarray, frame: int, sound: np.ndarray, gain: float = 1.0) -> None:
    """Add a sound to a layer from a frame on; what lies past the end is cut."""
    end = min(len(into), frame + len(sound))
    into[frame:end] += gain * sound[: end - frame]
