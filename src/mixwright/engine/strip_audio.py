# SPDX-License-Identifier: Apache-2.0
"""Post-strip audio: a track after its filters and before fader and pan, as float32 in the track's own time.

It does not depend on where the track lies in the song, on faders, pans or moves: that is why it is kept.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from mixwright.engine.chain import Chain
from mixwright.engine.graph import TrackNode
from mixwright.io.stems import DECODED_BY
from mixwright.jobs.array_file import ArrayWriter
from mixwright.jobs.cache import Cache, code_hash
from mixwright.jobs.progress import Cancel, until_stopped

_BLOCK_FRAMES = 65536
_SOURCES = (
    "mixwright.engine.chain",
    "mixwright.engine.inserts",
    "mixwright.engine.lanes",
    "mixwright.engine.operation",
    "mixwright.engine.processors",
    "mixwright.engine.strip_audio",
    "mixwright.core.filters",
    "mixwright.core.resample",
    *DECODED_BY,
)


class StripAudio:
    """Reads a track through its operations from the first frame on, latency taken out.

    Parameters
    ----------
    node : TrackNode
    audio : ndarray, float32, (frames, 1|2)
    rate_hz : int
    """

    def __init__(self, node: TrackNode, audio: np.ndarray, rate_hz: int) -> None:
        self._chain = Chain(node.operations, audio.shape[1])
        self._audio = audio
        self._read = 0
        self._given = -self._chain.latency_frames
        self.frames = strip_frames(node, len(audio), rate_hz)

    def read(self, frames: int) -> np.ndarray:
        """Return the next float32 ``(frames, channels)``; zeros once it has rung out."""
        out = np.empty((frames, self._audio.shape[1]), dtype=np.float32)
        while self._given < 0:
            skipped = min(-self._given, _BLOCK_FRAMES)
            self._process(np.empty((skipped, out.shape[1]), dtype=np.float32))
        self._process(out)
        return out

    def _process(self, out: np.ndarray) -> None:
        audio = np.ascontiguousarray(self._audio[self._read : self._read + len(out)])
        self._chain.process_float(audio, out[: len(audio)])
        if len(audio) < len(out):
            silence = np.zeros((len(out) - len(audio), out.shape[1]), dtype=np.float32)
            self._chain.process_float(silence, out[len(audio) :])
        self._read += len(out)
        self._given += len(out)
        out[max(0, len(out) - max(0, self._given - self.frames)) :] = 0.0


def strip_frames(node: TrackNode, frames: int, rate_hz: int) -> int:
    """Return the length of a track after its operations, ringing included."""
    return frames + sum(operation.memory_frames(rate_hz) for operation in node.operations)


def kept_strip_audio(
    node: TrackNode, audio: np.ndarray, rate_hz: int, cache: Cache, cancel: Cancel | None = None
) -> np.ndarray:
    """Return the post-strip audio of a track from the cache, made there if it is not yet."""
    return cache.array(strip_key(node, audio.shape, rate_hz), _maker(node, audio, rate_hz, cancel))


def strip_key(node: TrackNode, shape: tuple[int, ...], rate_hz: int) -> str:
    """Return the key of the post-strip audio of a track of this shape ``(frames, channels)``."""
    operations = tuple(operation.identity() for operation in node.operations)
    return Cache.key("strip", node.track.sha256, rate_hz, *shape, operations, code_hash(*_SOURCES))


def _maker(node: TrackNode, audio: np.ndarray, rate_hz: int, cancel: Cancel | None) -> Callable[[Path], None]:
    def make(path: Path) -> None:
        source = StripAudio(node, audio, rate_hz)
        # Written, not mapped: on a full disk a write fails, while a store into mapped memory ends the process.
        with ArrayWriter(path, audio.shape[1]) as writer:
            for start in until_stopped(range(0, source.frames, _BLOCK_FRAMES), cancel):
                writer.push(source.read(min(_BLOCK_FRAMES, source.frames - start)))

    return make
