# SPDX-License-Identifier: Apache-2.0
"""What steps of 4 ms cost: the mean loudness of layers in a mix against the slow form at steps of 1 ms.

The files are the layers, their sum the mix, set to a loudness of 79 dB SPL; six seconds of them are heard, from where
most layers sound. Without files, six invented layers stand in. Both channels, each to its ear.

    python benchmarks/ear_accuracy.py [FILE ...]
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import soundfile

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from mixwright.core.resample import Resampler
from mixwright.hearing.components import RATE_HZ
from mixwright.hearing.feed import held
from mixwright.hearing.hear import hear
from mixwright.hearing.places import calibration_db
from mixwright.meter.measure import Meter
from reference import ear_twin as twin
from reference.six_layers import six_layers

SECONDS = 6
#: Quieter layers do not count, in sone.
LEAST_SONE = 0.3
MEAN, WORST_PARTIAL, WORST_ALONE = 0.02, 0.06, 0.08


def read(files: list[str]) -> dict[str, np.ndarray]:
    """Layers as stereo at 48 kHz, all of one length."""
    if not files:
        return {name: np.stack([x, 0.8 * x], axis=1).astype(np.float32) for name, x in six_layers(SECONDS).items()}
    made = {}
    for file in files:
        audio, rate_hz = soundfile.read(file, dtype="float32", always_2d=True)
        audio = np.ascontiguousarray(audio if audio.shape[1] == 2 else np.repeat(audio[:, :1], 2, axis=1))
        if rate_hz != RATE_HZ:
            resampler = Resampler(rate_hz, RATE_HZ, 2)
            audio = np.concatenate([resampler.push(audio), resampler.finish()])
        made[Path(file).stem] = audio
    length = max(map(len, made.values()))
    return {name: np.pad(audio, ((0, length - len(audio)), (0, 0))) for name, audio in made.items()}


def busiest(layers: dict[str, np.ndarray]) -> int:
    """First sample of the six seconds in which the most layers sound."""
    step = RATE_HZ
    sounding = sum(
        np.array(
            [np.abs(audio[at : at + SECONDS * step]).mean() > 1e-3 for at in range(0, len(audio), step)], dtype=int
        )
        for audio in layers.values()
    )
    return int(np.argmax(sounding)) * step


def slow_loudness(audio: np.ndarray, mix: np.ndarray, offset_db: float) -> list[float]:
    """Mean short-term loudness alone, strict and cued at steps of 1 ms."""
    exact, whole = audio.astype(np.float64), mix.astype(np.float64)
    alike = np.array_equal(audio[:, 0], audio[:, 1]) and np.array_equal(mix[:, 0], mix[:, 1])
    ears = [twin.in_a_mix(exact[:, k], whole[:, k], offset_db) for k in range(1 if alike else 2)]
    return [float(twin.short_term(*both)[0].mean()) for both in zip(*ears, strict=True)]


def main(files: list[str]) -> int:
    layers = read(files)
    meter = Meter(RATE_HZ, 2, spectrum=False, true_peak=False)
    meter.push(sum(layers.values()))
    offset_db = calibration_db(meter.result().integrated_lufs or -20.0, 79.0, "headphones")
    start = busiest(layers)
    layers = {name: np.ascontiguousarray(audio[start : start + SECONDS * RATE_HZ]) for name, audio in layers.items()}
    mix = sum(layers.values())
    heard = hear(
        {name: held(audio) for name, audio in layers.items()},
        held(mix),
        rate_hz=RATE_HZ,
        frames=len(mix),
        offset_db=offset_db,
    )
    print(
        f"{SECONDS} s from {start / RATE_HZ:.0f} s, {offset_db:.1f} dB; sone alone, strict, cued at 1 ms; 4 ms off by"
    )
    counted = []
    for name, audio in layers.items():
        slow = np.array(slow_loudness(audio, mix, offset_db))
        fast = heard.layers[name].total.mean(axis=1)
        away = np.divide(fast - slow, slow, out=np.zeros(3), where=slow > 0.0)
        figures = "  ".join(f"{sone:8.3f} {100.0 * x:+6.2f} %" for sone, x in zip(slow, away, strict=True))
        print(f"  {name:<22}{figures}", flush=True)
        counted.append(np.where(slow > LEAST_SONE, np.abs(away), np.nan))
    every = np.array(counted)
    found = np.nanmean(every), np.nanmax(every[:, 1:]), np.nanmax(every[:, 0])
    fine = all(value <= limit for value, limit in zip(found, (MEAN, WORST_PARTIAL, WORST_ALONE), strict=True))
    mean, partial, alone = (f"{100.0 * value:.2f} %" for value in found)
    print(f"above {LEAST_SONE} sone: {mean} on average, worst {partial} of what is left, {alone} alone")
    print("met" if fine else "NOT MET")
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
