# SPDX-License-Identifier: Apache-2.0
"""Integrated loudness and true peak in one pass, against libebur128 (list mode), in CPU time of one run.

Beside both stand an empty pass (the audio is only walked through) and a plain one (every point of the 8-fold
interpolation by numpy, nothing skipped), which must be slower. Smallest of several.

    python benchmarks/meter_speed.py [FILE ...]

Without files, an invented stretch of music-like sound stands in for them.
"""

from __future__ import annotations

import os
import sys

if "OPENBLAS_CORETYPE" in os.environ or "OPENBLAS_L2_SIZE" in os.environ:
    # A forced core type makes the plain pass needlessly slow; it is read when numpy loads, so start anew.
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("OPENBLAS_CORE", "OPENBLAS_L2"))}
    os.execve(sys.executable, [sys.executable, *sys.argv], kept)

import time
from collections.abc import Callable

import numpy as np
import pyebur128
import soundfile

from mixwright.meter.measure import Meter
from mixwright.meter.true_peak import interpolator

TIMES = 5
NOISE_GOAL = 1.5
MUSIC_GOAL = 3.0
BLOCK_FRAMES = 65536


def ours(audio: np.ndarray, rate_hz: int) -> tuple[float, float]:
    meter = Meter(rate_hz, audio.shape[1], spectrum=False)
    meter.push(audio)
    levels = meter.result()
    return levels.integrated_lufs or 0.0, levels.true_peak_dbtp or 0.0


def libebur128(audio: np.ndarray, rate_hz: int) -> tuple[float, float]:
    mode = pyebur128.MeasurementMode.MODE_I | pyebur128.MeasurementMode.MODE_TRUE_PEAK
    state = pyebur128.R128State(audio.shape[1], rate_hz, mode)
    state.add_frames(audio.reshape(-1), len(audio))
    peak = max(pyebur128.get_true_peak(state, channel) for channel in range(audio.shape[1]))
    return pyebur128.get_loudness_global(state), 20.0 * float(np.log10(peak))


def empty(audio: np.ndarray, rate_hz: int) -> tuple[float, float]:
    total = sum(float(audio[at : at + BLOCK_FRAMES].max()) for at in range(0, len(audio), BLOCK_FRAMES))
    return total * 0.0, rate_hz * 0.0


def plain(audio: np.ndarray, rate_hz: int) -> tuple[float, float]:
    """Our meter without true peak, and all points of every sample by one product of matrices a block."""
    meter = Meter(rate_hz, audio.shape[1], spectrum=False, true_peak=False)
    meter.push(audio)
    taps = interpolator()
    peak = 0.0
    for channel in audio.T:
        padded = np.concatenate((np.zeros(31, np.float32), channel, np.zeros(32, np.float32)))
        for at in range(0, len(channel), BLOCK_FRAMES):
            windows = np.lib.stride_tricks.sliding_window_view(padded[at : at + BLOCK_FRAMES + 63], 64)
            peak = max(peak, float(np.abs(windows @ taps.T).max()))
    return meter.result().integrated_lufs or 0.0, 20.0 * float(np.log10(peak))


def cpu_s(work: Callable[[np.ndarray, int], object], audio: np.ndarray, rate_hz: int, times: int) -> float:
    spent = []
    for _ in range(times):
        start = time.process_time()
        work(audio, rate_hz)
        spent.append(time.process_time() - start)
    return min(spent)


def invented_music(seconds: int = 60, rate_hz: int = 48000) -> np.ndarray:
    """Beats, a bass line, a chord and a hiss, none of it any real piece."""
    random = np.random.default_rng(2)
    n = np.arange(seconds * rate_hz) / rate_hz
    kick = np.sin(2 * np.pi * 50 * n + 6 * np.exp(-30 * (n % 0.5))) * np.exp(-8 * (n % 0.5))
    bass = 0.4 * np.sign(np.sin(2 * np.pi * 55 * n)) * np.exp(-3 * (n % 0.25))
    chord = sum(0.1 * np.sin(2 * np.pi * hz * n + 0.3 * np.sin(2 * np.pi * 5 * n)) for hz in (220, 277.2, 329.6))
    hiss = 0.3 * random.standard_normal(len(n)) * np.exp(-40 * ((n + 0.25) % 0.5))
    left, right = kick + bass + chord + hiss, kick + bass + 0.8 * chord + 0.9 * hiss
    return np.stack((left, right), axis=1).astype(np.float32) * np.float32(0.35)


def compare(name: str, audio: np.ndarray, rate_hz: int, goal: float) -> bool:
    audio = np.ascontiguousarray(audio)
    (our_lufs, our_peak), (their_lufs, their_peak) = ours(audio, rate_hz), libebur128(audio, rate_hz)
    seconds = len(audio) / rate_hz
    spent = {
        work.__name__: cpu_s(work, audio, rate_hz, 1 if work is plain else TIMES)
        for work in (ours, libebur128, empty, plain)
    }
    print(f"{name}: {seconds:.1f} s at {rate_hz} Hz, {audio.shape[1]} channels")
    print(f"  integrated {our_lufs:.4f} LUFS, libebur128 {their_lufs:.4f}: {our_lufs - their_lufs:+.5f} LU")
    print(f"  true peak {our_peak:.3f} dBTP, libebur128 {their_peak:.3f}")
    for work, cpu in spent.items():
        print(f"  {work:<11}{cpu:8.3f} s CPU {seconds / cpu:9.0f} x real time")
    ratio = spent["libebur128"] / spent["ours"]
    fine = ratio >= goal and spent["empty"] < spent["ours"] < spent["plain"]
    print(f"  {ratio:.2f} times as fast as libebur128; at least {goal} wanted: {'met' if fine else 'NOT MET'}")
    return fine


def main(files: list[str]) -> int:
    noise = np.random.default_rng(1).uniform(-0.5, 0.5, (60 * 48000, 2)).astype(np.float32)
    fine = compare("white noise", noise, 48000, NOISE_GOAL)
    for file in files:
        audio, rate_hz = soundfile.read(file, dtype="float32", always_2d=True)
        fine &= compare(os.path.basename(file), audio, rate_hz, MUSIC_GOAL)  # noqa: PTH119
    if not files:
        fine &= compare("invented music", invented_music(), 48000, MUSIC_GOAL)
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
