# SPDX-License-Identifier: Apache-2.0
"""Whether anything of a word that was muted is left: the voice alone is looked for in the finished file.

In a muted range the file is regressed on the voice, both whitened by a predictor of the file, so that what is loud in
the instruments does not hide what is left; found is what stands out of the same regression at every other delay.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from mixwright.core.align import Look
from mixwright.jobs.progress import Cancel
from mixwright.units import db_from_ratio

#: What is left of a word below this is not told: -34 dB.
_LEAST = 10.0 ** (-34.0 / 20.0)
#: It must stand out of the RMS of all other delays: at no delay, within two frames, as the voice itself lies there; or
#: within 2 ms, as a double or a room. Set by the pieces of benchmarks/checks.py: where nothing was left the highest are
#: 2.9 and 6.2.
_STANDS_OUT, _NEAR_STANDS_OUT = 4.2, 7.0
_AT_ONCE, _NEAR_S = 2, 0.002
_SEARCH_S = 0.2
#: Of a long range so much is looked at at a time.
_PIECE_S = 1.0
_SHORTEST_S = 0.05


@dataclass(frozen=True)
class LeftWord:
    """A muted range in which the voice is still heard: from when, and its level beside the voice."""

    start_s: float
    end_s: float
    level_db: float


def left_words(
    file: npt.NDArray[np.float32],
    voice: npt.NDArray[np.float32],
    rate_hz: int,
    muted_s: Sequence[tuple[float, float]],
    cancel: Cancel | None = None,
) -> tuple[LeftWord, ...]:
    """Return the muted ranges in which something of the voice is left.

    Parameters
    ----------
    file, voice : arrays, (frames, channels)
        At one rate and from one start; may be mapped.
    muted_s : sequence of (start, end)
        Seconds from the start.
    """
    look = (cancel or Cancel()).check
    found = []
    for start_s, end_s in muted_s:
        levels = [
            level
            for first, end in _pieces(start_s, end_s, rate_hz, min(len(file), len(voice)))
            if (level := _left(file[first:end], voice[first:end], rate_hz, look)) is not None
        ]
        if levels:
            found.append(LeftWord(start_s, end_s, max(levels)))
    return tuple(found)


def _pieces(start_s: float, end_s: float, rate_hz: int, frames: int) -> list[tuple[int, int]]:
    first, end = round(start_s * rate_hz), min(frames, round(end_s * rate_hz))
    count = max(1, round((end - first) / (_PIECE_S * rate_hz)))
    places = np.linspace(first, end, count + 1).round().astype(int).tolist()
    return [(a, b) for a, b in pairwise(places) if b - a >= _SHORTEST_S * rate_hz]


def _left(file: npt.NDArray[np.float32], voice: npt.NDArray[np.float32], rate_hz: int, look: Look) -> float | None:
    """Return the level of the voice in the file beside the voice, in dB, where it stands out."""
    from scipy import fft  # slow to load

    look()
    mixed, alone = file.astype(np.float64).mean(axis=1), voice.astype(np.float64).mean(axis=1)
    # Slow edges: a range cut out would have clicks of its own.
    window = np.hanning(len(mixed))
    size = int(fft.next_fast_len(2 * len(mixed), real=True))
    x, y = fft.rfft(alone * window, size), fft.rfft(mixed * window, size)
    weight = 1.0 / np.maximum(_smooth(np.abs(y) ** 2), 1e-6 * float(np.max(np.abs(y) ** 2, initial=1e-30)))
    energy = float(np.sum(weight * np.abs(x) ** 2))
    if energy <= 0.0 or float(np.mean(alone * alone)) < 1e-9:
        return None
    r = fft.irfft(weight * y * np.conj(x), size) * size / (2.0 * energy)
    near, search = round(_NEAR_S * rate_hz), min(round(_SEARCH_S * rate_hz), len(mixed) // 2)
    at_once, at_word = (float(np.abs(np.concatenate((r[: k + 1], r[-k:]))).max()) for k in (_AT_ONCE, near))
    others = np.concatenate((r[near + 1 : search], r[-search:-near]))
    chance = float(np.sqrt(np.mean(others * others))) if len(others) else 0.0
    if at_word >= max(_LEAST, _NEAR_STANDS_OUT * chance):
        return db_from_ratio(at_word)
    return db_from_ratio(at_once) if at_once >= max(_LEAST, _STANDS_OUT * chance) else None


def _smooth(power: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return np.convolve(power, np.full(65, 1.0 / 65.0), mode="same")
