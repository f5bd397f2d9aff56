# SPDX-License-Identifier: Apache-2.0
"""The drum kit: single strokes, and the microphones that hear them.

The kit is struck once, as it were, and heard by every microphone from where it stands: sound takes its time
to arrive and grows weaker with distance, so close and far tracks belong together as in a recording.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial

import numpy as np

from mixwright.demo.playing import Stroke, play
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

Place = tuple[float, float, float]

_SOUND_M_PER_S = 343.0


# --- strokes ------------------------------------------------------------------------------------------


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


def _snare(take: int, mark: str) -> tuple[np.ndarray, np.ndarray]:
    """Return skin and stick, and wires, of one stroke; `o` is a ghost note, nearly wires alone."""
    frames = round(0.40 * RATE_HZ)
    time_s = seconds(frames)
    skin = np.sin(2.0 * np.pi * (188.0 * time_s + 1.2 * (1.0 - np.exp(time_s / -0.012)))) * decay(frames, 0.055)
    second = np.sin(2.0 * np.pi * 331.0 * time_s + 0.4) * decay(frames, 0.035)
    wires = filtered(noise(f"wires {take}", frames), high_pass(700.0), bell(3200.0, 7.0, 0.6), low_pass(8000.0, 1))
    stick = filtered(noise(f"stick {take}", frames), high_pass(2500.0)) * decay(frames, 0.003)
    body = 0.2 if mark == "o" else 1.0
    return body * (0.9 * skin + 0.4 * second + 0.35 * stick), wires * decay(frames, 0.075)


def snare(take: int, mark: str) -> np.ndarray:
    """Return one stroke as heard from above: two modes of the skin, the stick, some of the wires."""
    skin, wires = _snare(take, mark)
    return faded(saturated(skin + 0.34 * wires, 1.0), 0.0005, 0.12)


def snare_from_below(take: int, mark: str) -> np.ndarray:
    """Return the same stroke from below: the skins move away, so all of it is turned over; the wires lead."""
    skin, wires = _snare(take, mark)
    return faded(saturated(-(0.55 * filtered(skin, low_pass(1200.0, 1)) + 0.60 * wires), 1.0), 0.0005, 0.12)


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


def tom(take: int, mark: str, hz: float) -> np.ndarray:
    """Return one stroke of a tom: a skin that starts a fourth higher, a second mode, the stick."""
    frames = round(0.60 * RATE_HZ)
    time_s = seconds(frames)
    cycles = hz * (time_s + 0.30 * 0.03 * (1.0 - np.exp(time_s / -0.03)))
    skin = np.sin(2.0 * np.pi * cycles) * decay(frames, 16.0 / hz)
    second = np.sin(2.0 * np.pi * 1.59 * cycles + 0.5) * decay(frames, 7.0 / hz)
    stick = filtered(noise(f"tom {hz} {take}", frames), high_pass(1200.0), low_pass(6000.0)) * decay(frames, 0.005)
    hard = 0.5 if mark == "X" else 0.35
    return faded(saturated(skin + 0.4 * second + hard * stick, 1.1), 0.0006, 0.15)


def cymbal(take: int, _mark: str, side: int) -> np.ndarray:
    """Return one crash as an ear to its left (0) or right (1) hears it."""
    frames = 131_072
    centres = 330.0 * 1.19 ** np.arange(21) * (1.0 + 0.05 * generator(f"cymbal {take}").standard_normal(21))
    levels = 1.0 / (1.0 + (centres / 5000.0) ** 2)
    wash = band_of_noise(f"cymbal {take % 2} {'LR'[side]}", centres, levels, 0.05, frames)
    return faded(0.4 * wash * decay(frames, 0.75) * (1.0 - 0.7 * decay(frames, 0.004)), 0.0006, 0.8)


# --- the kit and its microphones ----------------------------------------------------------------------


@dataclass(frozen=True)
class Drum:
    """One drum: its stroke, where it stands in m (right, forward and up, as the drummer sees it), how loud it is."""

    stroke: Callable[[int, str, int], np.ndarray]
    place: Place
    loudness: float


#: Drums by the name of their line in the score.
KIT: dict[str, Drum] = {
    "kick": Drum(lambda take, mark, _: kick(take, mark), (0.0, 0.10, 0.28), 0.60),
    "snare": Drum(lambda take, mark, _: snare(take, mark), (-0.25, -0.30, 0.66), 1.0),
    "hats": Drum(lambda take, mark, _: hats(take, mark), (-0.62, -0.25, 0.95), 0.45),
    "tom high": Drum(lambda take, mark, _: tom(take, mark, 132.0), (-0.12, 0.12, 0.92), 0.8),
    "tom low": Drum(lambda take, mark, _: tom(take, mark, 82.0), (0.52, -0.28, 0.62), 0.8),
    "cymbal": Drum(cymbal, (-0.45, 0.25, 1.25), 1.1),
}


@dataclass(frozen=True)
class Microphone:
    """Where a microphone stands, in m, and which drum it is for; what comes from elsewhere is `aside_db` weaker."""

    place: Place
    own: str = ""
    aside_db: float = 0.0

    def hears(self, name: str) -> tuple[float, float]:
        """Return level and delay in s of a drum: pressure falls with distance, sound travels at 343 m/s."""
        drum = KIT[name]
        distance_m = math.dist(self.place, drum.place)
        if name == self.own:
            return 1.0, distance_m / _SOUND_M_PER_S
        near_m = math.dist(self.place, KIT[self.own].place) if self.own else 1.0
        weaker = 10.0 ** (-self.aside_db / 20.0)
        return weaker * near_m / distance_m * drum.loudness, distance_m / _SOUND_M_PER_S


KICK_IN = Microphone((0.0, 0.17, 0.28), "kick", 14.0)
KICK_OUT = Microphone((0.0, 0.62, 0.30), "kick", 9.0)
SNARE_TOP = Microphone((-0.25, -0.24, 0.71), "snare", 8.0)
SNARE_BOTTOM = Microphone((-0.25, -0.30, 0.52), "snare", 9.0)
HATS = Microphone((-0.68, -0.20, 1.12), "hats", 6.0)
TOM_HIGH = Microphone((-0.12, 0.16, 1.00), "tom high", 8.0)
TOM_LOW = Microphone((0.55, -0.24, 0.70), "tom low", 8.0)
OVERHEADS = (Microphone((-0.55, -0.10, 1.90)), Microphone((0.60, -0.15, 1.90)))
ROOM = (Microphone((-1.3, 3.6, 1.6)), Microphone((1.2, 3.8, 1.6)))


@lru_cache(maxsize=256)
def _struck(drum: str, take: int, mark: str, side: int = 0) -> np.ndarray:
    sound = filtered(KIT[drum].stroke(take, mark, side), high_pass(22.0), tail_s=0.02)
    return faded(sound / np.abs(sound).max(), 0.0002, 0.02)


@lru_cache(maxsize=64)
def _kick_outside(take: int, mark: str) -> np.ndarray:
    sound = filtered(_struck("kick", take, mark), bell(58.0, 5.0, 1.2), low_pass(1400.0, 1), tail_s=0.05)
    return faded(sound / np.abs(sound).max(), 0.0004, 0.03)


@lru_cache(maxsize=64)
def _snare_below(take: int, mark: str) -> np.ndarray:
    sound = filtered(snare_from_below(take, mark), high_pass(60.0), tail_s=0.02)
    return faded(sound / np.abs(sound).max(), 0.0002, 0.02)


@lru_cache(maxsize=256)
def _aside(drum: str, take: int, mark: str) -> np.ndarray:
    return filtered(_struck(drum, take, mark), low_pass(6000.0, 1), tail_s=0.005)


@lru_cache(maxsize=256)
def _above(drum: str, side: int, take: int, mark: str) -> np.ndarray:
    sides = side if drum == "cymbal" else 0
    return filtered(_struck(drum, take, mark, sides), high_pass(90.0), low_pass(12000.0, 1), tail_s=0.02)


@lru_cache(maxsize=256)
def _far(drum: str, side: int, take: int, mark: str) -> np.ndarray:
    return faded(convolved(_struck(drum, take, mark), _room_response(side)), 0.0, 0.1)


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


#: What a close microphone hears of its own drum where that is not the plain stroke.
_OWN: dict[Microphone, Stroke] = {KICK_OUT: _kick_outside, SNARE_BOTTOM: _snare_below}


def close(piece: Piece, microphone: Microphone) -> np.ndarray:
    """Return a close microphone, (frames, 1): its drum, and the others as far as they reach it."""
    result = np.zeros(piece.frames)
    for drum in KIT:
        own = _OWN.get(microphone, partial(_struck, drum))
        play(result, piece, drum, own if drum == microphone.own else partial(_aside, drum), *microphone.hears(drum))
    return result[:, np.newaxis]


def overheads(piece: Piece) -> np.ndarray:
    """Return the pair above the kit, (frames, 2)."""
    return _pair(piece, OVERHEADS, _above, tuple(KIT))


def room(piece: Piece) -> np.ndarray:
    """Return the pair in the room, (frames, 2): the kit from 4 m, with the room's own decay."""
    return _pair(piece, ROOM, _far, tuple(drum for drum in KIT if drum != "cymbal"))


def _pair(
    piece: Piece,
    microphones: tuple[Microphone, Microphone],
    heard: Callable[[str, int, int, str], np.ndarray],
    drums: tuple[str, ...],
) -> np.ndarray:
    result = np.zeros((piece.frames, 2))
    for side, microphone in enumerate(microphones):
        for drum in drums:
            play(result[:, side], piece, drum, partial(heard, drum, side), *microphone.hears(drum))
    return result
