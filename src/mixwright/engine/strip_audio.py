# SPDX-License-Identifier: Apache-2.0
"""Post-strip audio: a track after filters and inserts and before fader and pan, as float32 in the track's own time.

It does not depend on faders and pans, nor on moves of these, and without keys, lanes and sections not on where the
track lies in the song: that is why it is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeAlias

import numpy as np

from mixwright.engine.chain import Chain, Key
from mixwright.engine.graph import MixGraph, TrackNode
from mixwright.io.stems import DECODED_BY
from mixwright.jobs.cache import Cache, Part, code_hash

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
#: Keys as a chain asks for them, float32 ``(frames, keys, 2)``, where its input is at a frame of the track.
KeysOf: TypeAlias = Callable[[Sequence[Key], int, int], np.ndarray]


class StripAudio:
    """Reads a track through its operations, latency taken out.

    Parameters
    ----------
    node : TrackNode
    audio : ndarray, float32, (frames, 1|2)
    rate_hz : int
    first : int
        frame of the track from which on it is read, as if all before had been silence
    keys : callable, optional
        needed where the track's operations have keys
    """

    def __init__(
        self, node: TrackNode, audio: np.ndarray, rate_hz: int, first: int = 0, keys: KeysOf | None = None
    ) -> None:
        self._chain = Chain(node.operations, audio.shape[1])
        self._chain.begin(first)
        self._keys = keys
        self._audio = audio
        self._read, self._first = first, first
        self._given = first - self._chain.latency_frames
        self.frames = strip_frames(node, len(audio), rate_hz)

    def read(self, frames: int) -> np.ndarray:
        """Return the next float32 ``(frames, channels)``; zeros once it has rung out."""
        out = np.empty((frames, self._audio.shape[1]), dtype=np.float32)
        while self._given < self._first:
            skipped = min(self._first - self._given, _BLOCK_FRAMES)
            self._process(np.empty((skipped, out.shape[1]), dtype=np.float32))
        self._process(out)
        return out

    def _process(self, out: np.ndarray) -> None:
        audio = np.ascontiguousarray(self._audio[self._read : self._read + len(out)])
        keys = None
        if self._chain.keys and self._keys is not None:
            keys = self._keys(self._chain.keys, self._read, len(out))
        self._chain.process_float(audio, out[: len(audio)], None if keys is None else keys[: len(audio)])
        if len(audio) < len(out):
            silence = np.zeros((len(out) - len(audio), out.shape[1]), dtype=np.float32)
            self._chain.process_float(silence, out[len(audio) :], None if keys is None else keys[len(audio) :])
        self._read += len(out)
        self._given += len(out)
        out[max(0, len(out) - max(0, self._given - self.frames)) :] = 0.0


def strip_frames(node: TrackNode, frames: int, rate_hz: int) -> int:
    """Return the length of a track after its operations, ringing included."""
    return frames + sum(operation.memory_frames(rate_hz) for operation in node.operations)


def strip_key(graph: MixGraph, node: TrackNode, shape: tuple[int, ...]) -> str:
    """Return the key of the post-strip audio of a track of this shape ``(frames, channels)``.

    With all that it listens to, where it does.
    """
    operations = tuple(operation.identity() for operation in node.operations)
    key: tuple[Part, ...] = "strip", node.track.sha256, graph.rate_hz, *shape, operations, code_hash(*_SOURCES)
    if not node.keys:
        return Cache.key(*key)
    heard = tuple(graph.mix.taps(node.listens_to))
    return Cache.key(*key, node.first_frame, graph.law, tuple(node.keys.items()), heard, code_hash("mixwright.engine"))
