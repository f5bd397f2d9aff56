# SPDX-License-Identifier: Apache-2.0
"""What every processor costs: `python benchmarks/processors_speed.py`.

Every insert of tests/engine/processors/examples_*.py in one run: nanoseconds for a stereo frame, processor time of one
thread, smallest of a few; replaying its gains; its plain Python twin over a shorter piece; and an empty chain, which is
doing nothing. The material is invented: loud and soft stretches of noise over a tone, so that what follows levels works
nearly all the time.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

from engine.processors.examples import RATE_HZ, every
from mixwright.engine.chain import Chain
from mixwright.engine.processors import operations_of

TWIN_FRAMES = 3000


def material(frames: int) -> np.ndarray:
    t = np.arange(frames) / RATE_HZ
    random = np.random.default_rng(1)
    swells = 10.0 ** np.repeat(random.uniform(-1.5, 0.0, frames // 9600 + 1), 9600)[:frames]
    tone = np.sin(2.0 * np.pi * t[:, None] * np.array([220.0, 221.0]))
    return np.ascontiguousarray((0.5 * tone + 0.2 * random.standard_normal((frames, 2))) * swells[:, None])


def smallest_s(repeat: int, way: Callable[[], object]) -> float:
    best = float("inf")
    for _ in range(repeat):
        start = time.process_time()
        way()
        best = min(best, time.process_time() - start)
    return best


def chain_ns(chain: Chain, audio: np.ndarray, repeat: int) -> float:
    block = 8192
    keys = np.ascontiguousarray(np.repeat(audio[:block, None], len(chain.keys), axis=1), dtype=np.float32)
    gains = np.ones((block, chain.gains), dtype=np.float32) if chain.gains else None
    out = np.empty_like(audio)

    def way() -> None:
        out[:] = audio
        chain.reset()
        for start in range(0, len(out), block):
            chain.process(out[start : start + block], keys if chain.keys else None, gains)

    return smallest_s(repeat, way) / len(audio) * 1e9


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=4.0, help="length of the material")
    parser.add_argument("--repeat", type=int, default=5, help="the smallest of so many runs counts")
    parser.add_argument("--only", default="", help="processors whose name contains this")
    parser.add_argument("--no-twin", action="store_true")
    given = parser.parse_args()
    audio = material(round(given.seconds * RATE_HZ) // 8192 * 8192)
    empty = chain_ns(Chain([], 2), audio, given.repeat)
    sys.stdout.write(f"nanoseconds a stereo frame at {RATE_HZ} Hz, best of {given.repeat}; empty chain {empty:.1f}\n")
    sys.stdout.write(f"{'':24} {'makes gains':>12} {'replays them':>13} {'twin':>10}\n")
    for k, (insert, twin) in enumerate(every()):
        name = f"{type(insert).__name__} {k}"
        if given.only not in name:
            continue
        operations = operations_of(insert, RATE_HZ)
        makes, replays = (chain_ns(Chain(operations, 2, replay=r), audio, given.repeat) - empty for r in (False, True))
        slow = ""
        if not given.no_twin:
            key = np.float32(audio[:TWIN_FRAMES]) if getattr(insert, "key", "") else None
            plain = smallest_s(1, lambda: twin(insert, RATE_HZ, audio[:TWIN_FRAMES], key))  # noqa: B023
            slow = f"{plain / TWIN_FRAMES * 1e9:10.0f}"
        sys.stdout.write(f"{name:24} {makes:12.1f} {replays:13.1f} {slow}\n")


if __name__ == "__main__":
    main()
