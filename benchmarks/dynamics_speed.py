# SPDX-License-Identifier: Apache-2.0
"""How fast compressor and limiter are: `python benchmarks/dynamics_speed.py`.

All in one run, smallest of a few, processor time of one thread: each kernel; the same written with numpy and scipy and
a plain loop for what is recursive; multiplying by a gain of 1, which is doing nothing. Stereo at 48 kHz; the material
is an invented beat over chords and noise, limited by some dB at most beats, and white noise far over the ceiling.
"""

from __future__ import annotations

import argparse
import sys
import time

import numpy as np
import scipy.ndimage
import scipy.signal

from mixwright.engine.chain import Chain
from mixwright.engine.dynamics import PeakLimiter
from mixwright.engine.processors import operations_of
from mixwright.meter.true_peak import true_peak_16x
from mixwright.model.dynamics_inserts import Compressor

RATE_HZ = 48000
COMPRESSION = {
    "threshold_db": -20.0,
    "ratio": 4.0,
    "knee_db": 6.0,
    "attack_ms": 30.0,
    "release_ms": 200.0,
}
CEILING_DBTP, RELEASE_S = -1.0, 0.1


def beat(frames: int) -> np.ndarray:
    t = np.arange(frames) / RATE_HZ
    random = np.random.default_rng(1)
    kick = np.sin(2 * np.pi * 60 * t) * np.exp(-(t % 0.5) / 0.1)
    chords = 0.3 * np.sin(2 * np.pi * t[:, None] * np.array([440.0, 443.0]))
    return kick[:, None] + chords + 0.1 * random.standard_normal((frames, 2))


def run(processor: PeakLimiter, audio: np.ndarray) -> np.ndarray:
    gains = np.empty(len(audio), dtype=np.float32)
    for start in range(0, len(audio), 8192):
        processor.process(audio[start : start + 8192], gains[start : start + 8192])
    return gains


def compressed(audio: np.ndarray) -> None:
    chain = Chain(operations_of(Compressor(**COMPRESSION), RATE_HZ), 2)
    for start in range(0, len(audio), 8192):
        chain.process(audio[start : start + 8192])


def plain_compressor(audio: np.ndarray) -> None:
    level = 20.0 * np.log10(np.abs(audio).max(axis=1) + 1e-30)
    above, knee, slope = level - COMPRESSION["threshold_db"], COMPRESSION["knee_db"], 1.0 - 1.0 / COMPRESSION["ratio"]
    wanted = slope * np.where(2 * above >= knee, above, np.maximum(above + knee / 2, 0.0) ** 2 / (2 * knee))
    attack, release = np.exp(
        -1.0 / RATE_HZ / np.array([COMPRESSION["attack_ms"], COMPRESSION["release_ms"]]) * 1e3
    ).tolist()
    released, peaks = 0.0, []
    for value in wanted.tolist():
        released = max(value, release * released + (1.0 - release) * value)
        peaks.append(released)
    reduction = scipy.signal.lfilter([1.0 - attack], [1.0, -attack], peaks)
    audio *= (10.0 ** (-reduction / 20.0))[:, None]


def plain_limiter(audio: np.ndarray) -> None:
    """One pass, nothing skipped."""
    points = np.abs(scipy.signal.resample_poly(audio, 16, 1, axis=0)).max(axis=1).reshape(-1, 16).max(axis=1)
    need = np.maximum(20.0 * np.log10(points + 1e-30) - CEILING_DBTP, 0.0)
    box, decay = round(0.002 * RATE_HZ), float(np.exp(-1.0 / (RELEASE_S * RATE_HZ)))
    released, peaks = 0.0, []
    for value in scipy.ndimage.maximum_filter1d(need, 2 * box + 32).tolist():
        released = max(value, released * decay)
        peaks.append(released)
    reduction = scipy.ndimage.uniform_filter1d(scipy.ndimage.uniform_filter1d(peaks, box), box)
    audio *= (10.0 ** (-reduction / 20.0))[:, None]


def nothing(audio: np.ndarray) -> None:
    audio *= 1.0


def limiter() -> PeakLimiter:
    return PeakLimiter(RATE_HZ, ceiling_dbtp=CEILING_DBTP, release_s=RELEASE_S)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=20.0, help="length of the material")
    parser.add_argument("--repeat", type=int, default=3, help="the smallest of so many runs counts")
    given = parser.parse_args()
    frames = round(given.seconds * RATE_HZ)
    noise = np.random.default_rng(2).standard_normal((frames, 2))
    music = beat(frames)
    ways = {
        "compressor, beat": (music, compressed),
        "compressor in numpy and a loop, beat": (music, plain_compressor),
        "limiter, beat": (music, lambda audio: run(limiter(), audio)),
        "limiter, white noise 13 dB over": (noise, lambda audio: run(limiter(), audio)),
        "limiter, nothing to limit": (0.05 * music, lambda audio: run(limiter(), audio)),
        "limiter in numpy and a loop, beat": (music, plain_limiter),
        "true peak at 16 points, beat": (music, lambda audio: true_peak_16x([audio])),
        "nothing (times 1)": (music, nothing),
    }
    best = dict.fromkeys(ways, float("inf"))
    for _ in range(given.repeat):
        for name, (material, way) in ways.items():
            audio = material.copy()
            start = time.process_time()
            way(audio)
            best[name] = min(best[name], time.process_time() - start)
    idle = best["nothing (times 1)"]
    reduced = 20.0 * np.log10(run(limiter(), music.copy()))
    sys.stdout.write(f"{given.seconds:g} s of stereo at {RATE_HZ} Hz, processor time, best of {given.repeat}\n")
    sys.stdout.write(f"the beat is limited by over 1 dB in {100 * np.mean(reduced < -1):.0f} % of its frames, ")
    sys.stdout.write(f"at most by {-reduced.min():.1f} dB\n")
    sys.stdout.write(f"{'':42} {'x real time':>12} {'times nothing':>14}\n")
    for name, seconds in best.items():
        sys.stdout.write(f"{name:42} {given.seconds / seconds:12.1f} {seconds / idle:14.1f}\n")


if __name__ == "__main__":
    main()
