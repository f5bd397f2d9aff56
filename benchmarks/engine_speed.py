# SPDX-License-Identifier: Apache-2.0
"""Speed of the engine: 24 stereo tracks, high-pass + four bands + pan each; `python benchmarks/engine_speed.py`.

All in one run, smallest of a few: the engine on one and two threads; the same song with all filters taken out (what
reading, placing and summing cost); two plain ways to write it: scipy.signal.sosfilt over whole tracks in one thread,
then numpy sums, and numpy sums alone. Times real time, wall clock.
"""

from __future__ import annotations

import argparse
import sys

import numpy as np
import scipy.signal
from timing import timed

from mixwright.core.filters import strip_sections
from mixwright.engine.compiling import compile_mix
from mixwright.engine.render import render
from mixwright.model.filters import EqBand, Pass
from mixwright.model.song import Song, Track
from mixwright.model.strip import Strip

RATE_HZ = 48000
TRACKS = 24
BANDS = tuple(EqBand(hz=hz, gain_db=gain_db, q=1.2) for hz, gain_db in ((120, 2), (450, -3), (2500, 2), (9000, 1.5)))
STRIP = Strip(high_pass=Pass(hz=80), eq=BANDS, left=-0.8, right=0.4, fader_db=-12.0)


def song_of(strip: Strip) -> Song:
    tracks = tuple(Track(id=f"t{k}", name=f"t{k}", file=f"t{k}.wav", strip=strip) for k in range(TRACKS))
    return Song(title="speed", rate_hz=RATE_HZ, tracks=tracks)


def engine(strip: Strip, stems: dict[str, np.ndarray], workers: int) -> None:
    graph = compile_mix(song_of(strip), (), {name: len(audio) for name, audio in stems.items()})
    for _ in render(graph, stems, workers=workers):
        pass


def plain_filters(stems: dict[str, np.ndarray]) -> None:
    sos = np.insert(strip_sections(STRIP, RATE_HZ), 3, 1.0, axis=1)
    places = np.array([[0.24, 0.05], [0.07, 0.22]])
    out = np.zeros((len(stems["t0"]), 2))
    for audio in stems.values():
        out += scipy.signal.sosfilt(sos, audio.astype(np.float64), axis=0) @ places


def plain_sum(stems: dict[str, np.ndarray]) -> None:
    out = np.zeros((len(stems["t0"]), 2))
    for audio in stems.values():
        out += audio


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=60.0, help="length of the song")
    parser.add_argument("--repeat", type=int, default=3, help="the smallest of so many runs counts")
    given = parser.parse_args()
    frames = round(given.seconds * RATE_HZ)
    noise = np.random.default_rng(1)
    stems = {f"t{k}": noise.standard_normal((frames, 2), dtype=np.float32) * np.float32(0.1) for k in range(TRACKS)}
    ways = {
        "engine, 2 threads": lambda: engine(STRIP, stems, 2),
        "engine, 1 thread": lambda: engine(STRIP, stems, 1),
        "engine without filters, 2 threads": lambda: engine(Strip(), stems, 2),
        "scipy.signal.sosfilt and numpy, 1 thread": lambda: plain_filters(stems),
        "numpy sum alone, 1 thread": lambda: plain_sum(stems),
    }
    wall, cpu = timed(ways, given.repeat)
    sys.stdout.write(f"{TRACKS} stereo tracks, {given.seconds:g} s at {RATE_HZ} Hz, best of {given.repeat}\n")
    sys.stdout.write(f"{'':42} {'x real time':>12} {'CPU s a minute':>15} {'CPU re first':>13}\n")
    first = cpu["engine, 2 threads"]
    for name in ways:
        speed, minute = given.seconds / wall[name], cpu[name] / given.seconds * 60.0
        sys.stdout.write(f"{name:42} {speed:12.1f} {minute:15.2f} {cpu[name] / first:13.2f}\n")


if __name__ == "__main__":
    main()
