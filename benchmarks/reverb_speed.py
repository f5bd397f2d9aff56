# SPDX-License-Identifier: Apache-2.0
"""Speed of the reverbs, stereo at 48 kHz, one thread; `python benchmarks/reverb_speed.py`.

All in one run, smallest of a few, on CPU time: both kinds, short and long; an empty chain (what calling costs); the
plain Python twin on a part of a second; scipy.signal.fftconvolve with the impulse responses (the same sound, but the
whole song at once and no state to stop and go on). Times real time. MIXWRIGHT_CORE=baseline takes the plain build.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import scipy.signal

from mixwright.engine.chain import Chain
from mixwright.engine.operation import Operation, Reverberation
from mixwright.engine.reverb import reverberation
from mixwright.model.strip import Reverb
from mixwright.native.library import core

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
from reference import reverb_twin

RATE_HZ = 48000
BLOCK_FRAMES = 16384


def chain(operations: list[Operation], audio: np.ndarray) -> None:
    runner = Chain(operations, 2)
    for start in range(0, len(audio), BLOCK_FRAMES):
        runner.process(audio[start : start + BLOCK_FRAMES])


def convolved(made: Reverberation, audio: np.ndarray) -> None:
    for side in range(2):
        impulse = np.zeros((made.rings_frames, 2))
        impulse[0, side] = 1.0
        chain([made], impulse)
        scipy.signal.fftconvolve(audio[:, side : side + 1], impulse, axes=0)


def speed(run: Callable[[], object], seconds: float, repeat: int) -> float:
    took = []
    for _ in range(repeat):
        start = time.process_time()
        run()
        took.append(time.process_time() - start)
    return seconds / max(min(took), 1e-9)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=20.0, help="length of the audio")
    parser.add_argument("--repeat", type=int, default=5, help="the smallest of so many runs counts")
    given = parser.parse_args()
    audio = np.random.default_rng(1).uniform(-0.5, 0.5, (round(given.seconds * RATE_HZ), 2))
    write = sys.stdout.write
    write(f"{Path(core()._name).name}, {given.seconds:g} s, smallest of {given.repeat}\n")
    write(f"{'empty chain':32s}{speed(lambda: chain([], audio.copy()), given.seconds, given.repeat):12,.0f} x\n")
    for kind in ("voice", "instruments"):
        for decay_s in (0.5, 2.0):
            made = reverberation(Reverb(kind=kind, decay_s=decay_s), RATE_HZ)
            found = speed(lambda made=made: chain([made], audio.copy()), given.seconds, given.repeat)
            write(f"{f'{kind}, {decay_s:g} s':32s}{found:12,.0f} x\n")
    found = speed(lambda: convolved(made, audio), given.seconds, 1)
    write(f"{'convolution, instruments, 2 s':32s}{found:12,.0f} x\n")
    part = audio[: RATE_HZ // 20]
    found = speed(lambda: reverb_twin.process(made.network, part), len(part) / RATE_HZ, 1)
    write(f"{'plain Python twin':32s}{found:12,.3f} x\n")


if __name__ == "__main__":
    main()
