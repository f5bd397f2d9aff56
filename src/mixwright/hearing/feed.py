# SPDX-License-Identifier: Apache-2.0
"""Audio on its way to the ear: any blocks at any rate in, chunks of 48 kHz with what lies around them out."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np

from mixwright.core.resample import Resampler
from mixwright.hearing.components import RATE_HZ
from mixwright.hearing.kernels import FRAME, MARGIN

#: Frames of 4 ms in a chunk, and its samples.
CHUNK_FRAMES = 256
CHUNK = CHUNK_FRAMES * FRAME
#: 120 dB over full scale: more than that is heard as that, so that no power leaves the range of floats.
LOUDEST = 1e6
#: 240 dB below full scale: a chunk with nothing above is silence. What rings on towards 0 would slow every filter.
SOFTEST = 1e-12


#: Reads frames from one to another of a song, float arrays (n, 2) of any lengths; what is missing is silence.
Source = Callable[[int, int], Iterable[np.ndarray]]

#: What resampling needs before its first sample that counts, at 48 kHz.
_WARM_UP = 2048


def held(audio: np.ndarray) -> Source:
    """Return a source of audio ``(frames, 2)`` that is held in memory or mapped."""
    return lambda start, end: [audio[start:end]]


def span_of(rate_hz: int, start: int, end: int) -> tuple[int, int]:
    """Return from and to which frame at `rate_hz` a feed reads that is heard from sample `start` to `end` at 48 kHz.

    Both rates meet at every so many samples: read from there, any stretch is resampled as the whole song is.
    """
    if rate_hz == RATE_HZ:
        return max(0, start - MARGIN), end + MARGIN
    common = math.gcd(rate_hz, RATE_HZ)
    meetings = max(0, start - MARGIN - _WARM_UP) // (RATE_HZ // common)
    return meetings * (rate_hz // common), -(-(end + MARGIN) * rate_hz // RATE_HZ) + _WARM_UP


class Feed:
    """Stereo audio as chunks of CHUNK samples with MARGIN samples on either side, silence before and after.

    Parameters
    ----------
    source : Source
        any float type; what is not finite is heard as silence
    rate_hz : int
        its rate
    start, end : int
        from and to which sample of the song at 48 kHz it is heard: the first chunk begins at `start`, and nothing from
        MARGIN after `end` on is read
    """

    def __init__(self, source: Source, rate_hz: int, start: int, end: int) -> None:
        first_frame, last_frame = span_of(rate_hz, start, end)
        self._blocks = iter(source(first_frame, last_frame))
        self._at = first_frame * RATE_HZ // rate_hz
        self._first, self._end = start - MARGIN, end + MARGIN
        self._resampler = Resampler(rate_hz, RATE_HZ, 2) if rate_hz != RATE_HZ else None
        self._left = np.empty((0, 2), dtype=np.float32)
        self._ended = False
        self._audio = np.zeros((2, CHUNK + 2 * MARGIN), dtype=np.float32)
        self._sounds = self._same = False
        self._fill(max(0, -self._first))  # before the song is silence

    @property
    def audio(self) -> np.ndarray:
        """The chunk with its margins, float32 ``(2, CHUNK + 2 * MARGIN)``."""
        return self._audio

    @property
    def sounds(self) -> bool:
        """Whether anything of it is louder than SOFTEST."""
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
        self._sounds = bool(max(self._audio.max(), -self._audio.min()) > SOFTEST)
        self._same = bool(np.array_equal(self._audio[0], self._audio[1]))

    def _next(self) -> np.ndarray:
        """Return what comes next of the samples that are heard."""
        found = self._read()
        before = self._at
        self._at += len(found)
        return found[max(0, self._first - before) : max(0, self._end - before)]

    def _read(self) -> np.ndarray:
        block = next(self._blocks, None)
        if block is None:
            self._ended = True
            return self._resampler.finish() if self._resampler is not None else np.empty((0, 2), dtype=np.float32)
        with np.errstate(over="ignore"):
            heard = np.asarray(block, dtype=np.float32)
        if heard.size and not max(heard.max(), -heard.min()) <= LOUDEST:
            heard = np.nan_to_num(heard, nan=0.0, posinf=0.0, neginf=0.0).clip(-LOUDEST, LOUDEST)
        return self._resampler.push(heard) if self._resampler is not None else heard


class Sum:
    """Several feeds added up, as the feed of their mix."""

    def __init__(self, feeds: Sequence[Feed]) -> None:
        self._feeds = feeds
        self.audio = np.zeros((2, CHUNK + 2 * MARGIN), dtype=np.float32)
        self.same = True
        self._add()

    def advance(self) -> None:
        """Go on by one chunk, after the feeds did."""
        self._add()

    def _add(self) -> None:
        total = np.zeros(self.audio.shape)
        for feed in self._feeds:
            if feed.sounds:
                total += feed.audio
        self.audio[:] = total
        self.same = bool(np.array_equal(self.audio[0], self.audio[1]))
