# SPDX-License-Identifier: Apache-2.0
"""Hearing layers in a mix: seconds of sound of one ear of one layer per second of CPU, all stages, on one core.

Twelve invented stereo layers that sound all the time. Beside the whole way stand its stages one by one, an empty pass
(the audio goes through the feeds and nothing listens), and a plain form in numpy of one ear of one layer, which takes
the same steps of 4 ms. Smallest of several.

    python benchmarks/ear_speed.py
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from mixwright.hearing.bands import BANDS, band_edges
from mixwright.hearing.components import RATE_HZ
from mixwright.hearing.excitation import SharedFilters, excitation, levels_per_erb
from mixwright.hearing.feed import CHUNK, CHUNK_FRAMES, Feed, held
from mixwright.hearing.hear import hear
from mixwright.hearing.kernels import MARGIN, fine_steps, loudness_table, spread_table
from mixwright.hearing.scale import STEP_CAM
from mixwright.hearing.spectrum import RunningSpectrum
from mixwright.native import ear
from mixwright.native.ear import PADDED_FILTERS, PATTERNS
from reference import ear_twin as twin

LAYERS = 12
SECONDS = 16
TIMES = 3
GOAL = 130.0
OFFSET_DB = 100.0


def invented_layers() -> dict[str, np.ndarray]:
    """Harmonics of another note each, shaken by noise, not the same left and right; never silent."""
    random = np.random.default_rng(3)
    n = np.arange(SECONDS * RATE_HZ) / RATE_HZ
    made = {}
    for k in range(LAYERS):
        hz = 60.0 * 1.35**k
        tone = sum(np.sin(2 * np.pi * hz * h * n + random.uniform(0, 6.28)) / h for h in range(1, 12) if hz * h < 16000)
        swell = 0.6 + 0.4 * np.sin(2 * np.pi * (1.0 + 0.37 * k) * n)
        noises = random.standard_normal((2, len(n))) * 0.1
        made[f"layer {k}"] = (0.03 * (tone * swell + noises)).T.astype(np.float32)
    return made


def smallest(work: Callable[[], object], times: int = TIMES) -> float:
    """CPU seconds of the fastest of several runs."""
    spent = []
    for _ in range(times):
        start = time.process_time()
        work()
        spent.append(time.process_time() - start)
    return min(spent)


def whole(layers: dict[str, np.ndarray], mix: np.ndarray) -> None:
    sources = {id_: held(audio) for id_, audio in layers.items()}
    hear(sources, held(mix), rate_hz=RATE_HZ, frames=len(mix), offset_db=OFFSET_DB, workers=1)


def empty(layers: dict[str, np.ndarray]) -> None:
    for audio in layers.values():
        feed = Feed(held(audio), RATE_HZ, 0, len(audio))
        for _ in range(0, len(audio), CHUNK):
            feed.advance()


def stages(audio: np.ndarray, mix: np.ndarray) -> dict[str, float]:
    """CPU seconds of the stages for one ear of one layer and one chunk."""
    sound, whole_mix = (np.ascontiguousarray(x[: CHUNK + 2 * MARGIN, 0]) for x in (audio, mix))
    spectrum, steps = RunningSpectrum(OFFSET_DB), fine_steps()
    filters = SharedFilters(steps)
    mix_bins = spectrum.bins(whole_mix)
    (power,), (rest,) = spectrum.powers([sound], [mix_bins], steps)
    levels = levels_per_erb(spectrum.power(mix_bins))
    room = [np.empty((CHUNK_FRAMES, len(steps.filters)), np.float32) for _ in range(4)]
    own = excitation(power, steps=steps)
    filters.excite([power, rest] * 2, levels, room)
    constants, scale = loudness_table(steps=steps)
    rates = steps.coefficients(0.045), steps.coefficients(0.033)
    state = np.zeros((3, PADDED_FILTERS), np.float32)
    patterns = np.empty((CHUNK_FRAMES // 4, PATTERNS, PADDED_FILTERS), np.float32)
    bands = np.empty((CHUNK_FRAMES // 4, 3, BANDS), np.float32)
    many = [power, rest] * LAYERS
    rooms = [np.empty_like(room[0]) for _ in many]
    every = {
        "ear's filter, spectrum, power": lambda: spectrum.powers([sound], [mix_bins], steps, ([power], [rest])),
        "excitation alone": lambda: excitation(power, steps=steps, out=own),
        "excitation in the mix": lambda: filters.excite(many, levels, rooms),
        "loudness, smoothing": lambda: ear.loudness(
            own, room[0], room[1], 4, steps.parts, constants, scale, *rates, state, patterns
        ),
        "two ears, bands": lambda: ear.bands(patterns, patterns, spread_table(), band_edges(), STEP_CAM, bands),
    }
    share = {"excitation in the mix": LAYERS, "two ears, bands": 2}
    return {name: smallest(work, 15) / share.get(name, 1) for name, work in every.items()}


def plain(audio: np.ndarray, mix: np.ndarray) -> None:
    """One ear of one layer in numpy."""
    patterns = twin.in_a_mix(audio[:, 0].astype(np.float64), mix[:, 0].astype(np.float64), OFFSET_DB, 4, 1)
    for pattern in patterns:
        twin.short_term(pattern, hop_ms=4)


def main() -> int:
    layers = invented_layers()
    mix = sum(layers.values())
    whole({"warm": mix[:RATE_HZ]}, mix[:RATE_HZ])
    print(f"C core: {os.environ.get('MIXWRIGHT_CORE', 'chosen at load')}")
    ears = 2 * LAYERS * SECONDS
    seconds = {
        "whole way": smallest(lambda: whole(layers, mix)),
        "empty": smallest(lambda: empty(layers)),
    }
    for name, cpu in seconds.items():
        print(f"{name:<24}{ears / cpu:8.0f} x real time per ear of a layer")
    chunk_s = CHUNK / RATE_HZ
    for name, cpu in stages(layers["layer 3"], mix).items():
        print(f"  {name:<24}{chunk_s / cpu:8.0f} x {1000.0 * cpu / chunk_s:8.3f} ms a second")
    part = slice(0, 2 * RATE_HZ)
    plain(layers["layer 3"][part], mix[part])
    numpy_s = smallest(lambda: plain(layers["layer 3"][part], mix[part]), 2) / 2.0
    print(
        f"{'plain numpy':<24}{1.0 / numpy_s:8.1f} x real time: {numpy_s * ears / seconds['whole way']:.0f} times slower"
    )
    speed = ears / seconds["whole way"]
    print(f"{speed:.0f} x, at least {GOAL:.0f} wanted: {'met' if speed >= GOAL else 'NOT MET'}")
    return 0 if speed >= GOAL else 1


if __name__ == "__main__":
    sys.exit(main())
