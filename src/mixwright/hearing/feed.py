# SPDX-License-Identifier: Apache-2.0
"""Audio on its way to the ear: any blocks at any rate in, chunks of 48 kHz with what lies around them out."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from mixwright.core.resample import Resampler
from mixwright.hearing.components import RATE_HZ
from mixwright.hearing.kernels import FRAME, MARGIN

#: Frames of 4 ms in a chunk, and its samples.
CHUNK_FRAMES = 256
CHUNK = CHUNK_FRAMES * FRAME
#: 120 dB over full scale: more than that is heard as that, so that no power leaves the range of floats.
LOUDEST = 1e6


class Feed:
    """Stereo audio as chunks of CHUNK samples with MARGIN samples on either side, silence before and after.

    Parameters
    ----------
    blocks : iterable of arrays (frames, 2)
        any float type and lengths; what is not finite is heard as silence
    rate_hz : int
    """

    def __init__(self, blocks: Iterable[np.ndarray], rate_hz: int) -> None:
        self._blocks = iter(blocks)
        self._resampler = Resampler(rate_hz, RATE_HZ, 2) if rate_hz != RATE_HZ else None
        self._left = np.empty((0, 2), dtype=np.float32)
        self._ended = False
        self._audio = np.zeros((2, CHUNK + 2 * MARGIN), dtype=np.float32)
        self._sounds = self._same = False
        self._fill(MARGIN)  # the first chunk's margin before it is silence

    @property
    def audio(self) -> np.ndarray:
        """The chunk with its margins, float32 ``(2, CHUNK + 2 * MARGIN)``."""
        return self._audio

    @property
    def sounds(self) -> bool:
        """Whether anything of it is not silence."""
        return self._sounds

    @property
    def same(self) -> bool:
        """Whether both channels are alike."""
        return self._same

    def advance(self) -> None:
        """Go on by one chunk."""
        self._audio[:, : 2 * MARGIN] = self._audio[:, CHUNK:]
        self._fill(2 * MARGIN)

    def _fill(self, start: int) -> None:
        """Fill the audio from a sample on."""
        while start < self._audio.shape[1]:
            if not len(self._left) and not self._ended:
                self._left = self._next()
                continue
            taken = self._left[: self._audio.shape[1] - start]
            if not len(taken):
                self._audio[:, start:] = 0.0
                break
            self._audio[:, start : start + len(taken)] = taken.T
            self._left = self._left[len(taken) :]
            start += len(taken)
        self._sounds = bool(self._audio.any())
        self._same = bool(np.array_equal(self._audio[0], self._audio[1]))

    def _next(self) -> np.ndarray:
        block = next(self._blocks, None)
        if block is None:
            self._ended = True
            return self._resampler.finish() if self._resampler is not None else np.empty((0, 2), dtype=np.float32)
        with np.errstate(over="ignore"):
            heard = np.asarray(block, dtype=np.float32)
        if heard.size and not max(heard.max(), -heard.min()) <= LOUDEST:
            heard = np.nan_to_num(heard, nan=0.0, posinf=0.0, neginf=0.0).clip(-LOUDEST, LOUDEST)
        return self._resampler.push(heard) if self._resampler is not None else heard
