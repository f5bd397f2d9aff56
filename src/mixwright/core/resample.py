# SPDX-License-Identifier: Apache-2.0
"""Sample-rate conversion by soxr at its very high quality: no delay, exact length."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
import soxr

_BLOCK_FRAMES = 65536


def resampled_frames(frames: int, from_hz: int, to_hz: int) -> int:
    """Return the length after conversion: ``frames * to_hz / from_hz``, rounded to the nearest, halves up."""
    return (2 * frames * to_hz + from_hz) // (2 * from_hz)


class Resampler:
    """Converts blocks one after another; what comes out in all is exactly :func:`resampled_frames` long.

    Parameters
    ----------
    from_hz, to_hz : int
        Sample rates in Hz.
    channels : int
        Columns of every block.
    dtype : numpy type
        ``float32`` or ``float64``, of input and output.
    """

    def __init__(self, from_hz: int, to_hz: int, channels: int, dtype: type = np.float32) -> None:
        self._rates = (from_hz, to_hz)
        self._dtype = np.dtype(dtype)
        self._channels = channels
        self._stream = soxr.ResampleStream(from_hz, to_hz, channels, dtype=self._dtype, quality="VHQ")
        self._taken = 0
        self._given = 0

    def push(self, block: np.ndarray) -> np.ndarray:
        """Take a block ``(frames, channels)`` and return the frames that are ready, possibly none."""
        self._taken += block.shape[0]
        return self._give(self._convert(block, last=False))

    def finish(self) -> np.ndarray:
        """Return the rest; call it once, after the last block."""
        rest = self._give(self._convert(np.zeros((0, self._channels), self._dtype), last=True))
        short = resampled_frames(self._taken, *self._rates) - self._given
        return np.concatenate([rest, np.zeros((short, self._channels), self._dtype)]) if short > 0 else rest

    def _convert(self, block: np.ndarray, *, last: bool) -> np.ndarray:
        ready: np.ndarray = self._stream.resample_chunk(np.ascontiguousarray(block, self._dtype), last=last)
        return ready.reshape(-1, self._channels)

    def _give(self, ready: np.ndarray) -> np.ndarray:
        room = resampled_frames(self._taken, *self._rates) - self._given
        ready = ready[: max(0, room)]
        self._given += ready.shape[0]
        return ready


def resample(audio: np.ndarray, from_hz: int, to_hz: int) -> np.ndarray:
    """Return audio ``(frames, channels)`` at another rate, in its own float type.

    Parameters
    ----------
    audio : array (frames, channels)
        float32 or float64.
    from_hz, to_hz : int
        Sample rates in Hz.
    """
    if from_hz == to_hz:
        return audio
    resampler = Resampler(from_hz, to_hz, audio.shape[1], audio.dtype.type)
    starts = range(0, audio.shape[0], _BLOCK_FRAMES)
    parts = [resampler.push(audio[start : start + _BLOCK_FRAMES]) for start in starts]
    return np.concatenate([*parts, resampler.finish()])


def resampled(blocks: Iterable[np.ndarray], from_hz: int, to_hz: int, channels: int) -> Iterator[np.ndarray]:
    """Yield float64 audio that comes in blocks ``(n, channels)`` at another rate; blocks may be empty."""
    if from_hz == to_hz:
        yield from blocks
        return
    resampler = Resampler(from_hz, to_hz, channels, np.float64)
    for block in blocks:
        yield resampler.push(block)
    yield resampler.finish()
