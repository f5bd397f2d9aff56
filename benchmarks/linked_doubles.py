# SPDX-License-Identifier: Apache-2.0
"""Linked against unlinked compression of two parts panned hard left and right: `python benchmarks/linked_doubles.py`.

The material is invented: plucked notes in eighths, played twice. Both sides play the same notes with levels and times
of their own (a double), or take turns by bars (answers). The threshold of each is such that linked compression takes
down --taken dB in the mean; all else is the same. From the gains, in windows of 100 ms in which something sounds:

- taken: how far a side is taken down, mean and 95th percentile;
- image: by how much the difference in level of left and right is moved, 95th percentile, where both sound;
- varies: standard deviation of that difference, before compression and after;
- borrowed: how much further a side is taken down than it would be by itself, mean and 95th percentile.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

import numpy as np
from scipy.optimize import brentq

from mixwright.engine.chain import Chain
from mixwright.engine.processors import operations_of
from mixwright.model.dynamics_inserts import Compressor, Detector

RATE_HZ = 48000
WINDOW = RATE_HZ // 10
BEAT_S = 0.25


def part(notes: Sequence[float], seed: int, level_sd_db: float, late_sd_s: float, turn: int | None) -> np.ndarray:
    """Return one side: a struck string for each note, in every second bar alone where `turn` is 0 or 1."""
    random = np.random.default_rng(seed)
    out = np.zeros(round((len(notes) * BEAT_S + 1.0) * RATE_HZ))
    t = np.arange(RATE_HZ) / RATE_HZ
    for k, hz in enumerate(notes):
        level, late = random.normal(0.0, level_sd_db), max(-0.04, random.normal(0.0, late_sd_s))
        if turn is not None and k // 8 % 2 != turn:
            continue
        tones = sum(np.sin(2.0 * np.pi * hz * n * t + n) * np.exp(-t * (3.0 + 2.0 * n)) / n for n in range(1, 9))
        start = round((k * BEAT_S + 0.05 + late) * RATE_HZ)
        out[start : start + RATE_HZ] += (10.0 ** (level / 20.0) * tones)[: len(out) - start]
    return out


def doubled(bars: int, level_sd_db: float, *, answers: bool) -> np.ndarray:
    notes = np.random.default_rng(5).choice([110.0, 146.8, 164.8, 196.0, 220.0, 293.7], 8 * bars)
    sides = [part(notes, 10 + k, level_sd_db, 0.015, k if answers else None) for k in range(2)]
    audio = np.ascontiguousarray(np.stack(sides, axis=1))
    return audio / np.abs(audio).max() * 10.0 ** (-6.0 / 20.0)


def windows_db(audio: np.ndarray) -> np.ndarray:
    whole = audio[: len(audio) // WINDOW * WINDOW].reshape(-1, WINDOW, 2)
    return 10.0 * np.log10(np.mean(whole**2, axis=1) + 1e-12)


def gains_db(audio: np.ndarray, threshold_db: float, link: float) -> np.ndarray:
    """Return the mean gain of each side in each window."""
    detector = Detector(kind="rms", rms_ms=10, link=link)
    insert = Compressor(threshold_db=threshold_db, ratio=4, attack_ms=5, release_ms=120, detector=detector)
    chain = Chain(operations_of(insert, RATE_HZ), 2)
    gains = np.empty((len(audio), chain.gains), np.float32)
    chain.process(audio.copy(), None, gains)
    db = 20.0 * np.log10(np.broadcast_to(gains, audio.shape))
    return np.asarray(db[: len(db) // WINDOW * WINDOW].reshape(-1, WINDOW, 2).mean(axis=1))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bars", type=int, default=64)
    parser.add_argument("--taken", type=float, default=4.0, help="mean reduction of linked compression, dB")
    given = parser.parse_args()
    sys.stdout.write(f"{'':30} {'link':>5} {'taken':>12} {'image':>7} {'varies':>14} {'borrowed':>13}\n")
    for name, sd_db, answers in (
        ("double, levels vary by 1 dB", 1.0, False),
        ("double, levels vary by 3 dB", 3.0, False),
        ("double, levels vary by 6 dB", 6.0, False),
        ("answers in turn", 2.0, True),
    ):
        audio = doubled(given.bars, sd_db, answers=answers)
        before = windows_db(audio)
        sounds = before > np.percentile(before, 95) - 20.0
        both = sounds.all(axis=1)

        def taken_db(threshold_db: float) -> float:
            return -float(gains_db(audio, threshold_db, 1.0)[sounds].mean())  # noqa: B023

        threshold_db = float(brentq(lambda x: taken_db(x) - given.taken, -60.0, 0.0, xtol=0.01))
        gains = {link: gains_db(audio, threshold_db, link) for link in (1.0, 0.5, 0.0)}
        for link, made in gains.items():
            moved = np.diff(made, axis=1)[both]
            was = np.diff(before, axis=1)[both]
            taken, borrowed = -made[sounds], (gains[0.0] - made)[sounds]
            columns = [np.mean(taken), np.percentile(taken, 95), np.percentile(np.abs(moved), 95)]
            columns += [np.std(was), np.std(was + moved), np.mean(borrowed), np.percentile(borrowed, 95)]
            sys.stdout.write(f"{name:30} {link:5.1f}" + "".join(f"{abs(x):7.1f}" for x in columns) + "\n")


if __name__ == "__main__":
    main()
