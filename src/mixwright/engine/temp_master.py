# SPDX-License-Identifier: Apache-2.0
"""A temporary master: a bus compressor if wanted, a gain, and the true-peak limiter, as one gain over the mix.

A gain over time is linear once it is written down: what it does to any part of the mix is told exactly by multiplying
that part with it (`engine.curves`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np

from mixwright.engine.chain import Chain
from mixwright.engine.dynamics import PeakLimiter
from mixwright.engine.processors.insert import made
from mixwright.model.dynamics_inserts import Compressor
from mixwright.native.mathematics import ratio


class TempMaster(NamedTuple):
    """How a mix is brought to a loudness: the compressor hears the mix as it is, the limiter what the gain makes of it.

    `ceiling_dbtp`: what the limiter holds true peaks to; None: there is no limiter. `release_ms`: its time constant.
    """

    gain_db: float
    ceiling_dbtp: float | None
    release_ms: float = 100.0
    compressor: Compressor | None = None


class Mastered(NamedTuple):
    """A stretch of a master: float64 ``(n, 2)``, and float32 ``(n,)`` gains of compressor and limiter by themselves."""

    audio: np.ndarray
    compressed: np.ndarray
    limited: np.ndarray


def mastered(blocks: Iterable[np.ndarray], rate_hz: int, settings: TempMaster) -> Iterator[Mastered]:
    """Master a mix that comes in blocks; what comes out is as long, and lies where it lay.

    The audio is the mix times both gains and the fixed one. Block sizes change no bit.

    Parameters
    ----------
    blocks : iterable of (n, 2) arrays
        float32 or float64, in order
    rate_hz : int
    settings : TempMaster

    Raises
    ------
    SettingError
        for a setting that does not fit the rate
    """
    chain = None if settings.compressor is None else Chain(made(settings.compressor, rate_hz), 2)
    limiter = None
    if settings.ceiling_dbtp is not None:
        release_s = settings.release_ms / 1000.0
        limiter = PeakLimiter(rate_hz, ceiling_dbtp=settings.ceiling_dbtp, release_s=release_s)
    factor = float(ratio(settings.gain_db))
    early = 0 if limiter is None else limiter.latency_frames
    waiting = np.empty(0, dtype=np.float32)  # gains of the compressor, until the limiter gives those frames out
    for block in _and_silence(blocks, early):
        audio = np.array(block, dtype=np.float64, order="C")
        compressed = np.ones(len(audio), dtype=np.float32)
        if chain is not None:
            own = np.ones((len(audio), chain.gains), dtype=np.float32)
            chain.process(audio, None, own)
            compressed = own[:, 0]
        audio *= factor
        limited = np.ones(len(audio), dtype=np.float32)
        if limiter is not None:
            limiter.process(audio, limited)
        waiting = np.concatenate([waiting, compressed])
        skipped = min(early, len(audio))
        early -= skipped
        count = len(audio) - skipped
        if count:
            yield Mastered(audio[skipped:], waiting[:count], limited[skipped:])
            waiting = waiting[count:]


def _and_silence(blocks: Iterable[np.ndarray], frames: int) -> Iterator[np.ndarray]:
    yield from blocks
    yield np.zeros((frames, 2))
