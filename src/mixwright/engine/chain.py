# SPDX-License-Identifier: Apache-2.0
"""Chains: what a strip does to audio before its fader, as a list of operations run by the C core.

Contract of every operation and chain: `reset` replays the same output; a block may have any length, also none, and
no split of the audio into blocks changes a bit; the stated latency is the measured one; finite audio gives finite
audio; states that have decayed below 1e-30 are forgotten at fixed frames counted from reset. What is not linear is a
gain over time: given the gains that a chain made of one signal, it is linear in another.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Literal, NamedTuple, TypeAlias

import numpy as np

from mixwright.engine.operation import Operation
from mixwright.errors import InternalError
from mixwright.native import chain as native

#: Frames of a chain whose gains nobody wants are run at once.
_UNWANTED_FRAMES = 2048
#: Frames of a block, and their keys, gains and tables.
_Piece: TypeAlias = tuple[slice, np.ndarray | None, np.ndarray | None, np.ndarray | None]


class Key(NamedTuple):
    """Whom an operation of a chain listens to, and how much later than the chain's input it is to hear it."""

    id: str
    late_frames: int


def keys_of(operations: Sequence[Operation], channels: Literal[1, 2] | int = 2) -> tuple[Key, ...]:
    """Return whom operations listen to, and how much later than their input."""
    rows = [row for operation in operations for row in operation.rows(channels)]
    late = np.cumsum([0, *(row.lag_frames for row in rows)])
    return tuple({Key(row.key, int(lag)): None for row, lag in zip(rows, late, strict=False) if row.key})


def gain_columns(operations: Sequence[Operation]) -> int:
    """Return how many columns of gains operations make of a stereo signal."""
    return sum(row.gains for operation in operations for row in operation.rows(2))


class Chain:
    """Operations in series with their state, for audio of 1 or 2 channels.

    Parameters
    ----------
    operations : sequence of Operation
    channels : 1 or 2
    replay : bool
        read gains instead of making them; then there are no keys

    Attributes
    ----------
    keys : tuple of Key
        in the order in which `process` takes them
    gains : int
        columns of gains
    """

    def __init__(self, operations: Sequence[Operation], channels: Literal[1, 2] | int, *, replay: bool = False) -> None:
        rows = [row for operation in operations for row in operation.rows(channels)]
        late = np.cumsum([0, *(row.lag_frames for row in rows)])
        self.keys = () if replay else keys_of(operations, channels)
        self.channels = channels
        self.latency_frames = sum(operation.latency_frames for operation in operations)
        self.gains = sum(row.gains for row in rows)
        self._replay = replay
        self._moving = [row for row in rows if row.moving is not None]
        self._unwanted = np.empty((0 if replay else _UNWANTED_FRAMES, self.gains), dtype=np.float32)
        self._coefficients = np.concatenate([np.empty(0), *(np.asarray(row.coefficients, np.float64) for row in rows)])
        self._table = np.zeros((len(rows), native.ROW), dtype=np.int32)
        states = 1
        done = [0, 0]
        for k, row in enumerate(rows):
            width = len(row.coefficients) if row.moving is not None else 0
            if width > native.MOST_MOVING:
                raise InternalError(f"{width} coefficients of one operation move")
            key = self.keys.index(Key(row.key, int(late[k]))) if row.key and not replay else -1
            state = int(self._table[k - row.of, 3]) if row.of else states
            gains = done[1] if row.gains else -1
            self._table[k] = row.kind, row.amount, done[0], state, key, gains, row.on, width, 0
            states += 0 if row.of else row.states
            done = [done[0] + len(row.coefficients), done[1] + row.gains]
        self._list = native.OperationList(
            self._table,
            self._coefficients,
            np.zeros(states),
            channels,
            keys=len(self.keys),
            gains=self.gains,
            replay=replay,
        )

    def listed(self) -> dict[str, object]:
        """Return all that a host of the same core elsewhere needs to run this chain, as plain numbers.

        Raises
        ------
        InternalError
            where coefficients move
        """
        if self._moving:
            raise InternalError("a chain whose coefficients move is not listed")
        return {
            "rows": self._table.ravel().tolist(),
            "coefficients": self._coefficients.tolist(),
            "states": len(self._list.state),
            "channels": self.channels,
            "keys": len(self.keys),
            "keys_late_frames": [key.late_frames for key in self.keys],
            "gains": self.gains,
            "latency_frames": self.latency_frames,
        }

    def reset(self) -> None:
        """Go back to time zero and silence."""
        self._list.state[:] = 0.0

    def begin(self, frame: int) -> None:
        """Count the frames from this one on, 0 or more, as if all before had been silence."""
        self._list.state[0] = frame

    def process(self, audio: np.ndarray, keys: np.ndarray | None = None, gains: np.ndarray | None = None) -> None:
        """Process float64 audio ``(frames, channels)``, C-contiguous, in place.

        Parameters
        ----------
        audio : ndarray
        keys : ndarray, optional
            float32 ``(frames, len(chain.keys), 2)``: each key as late as it says; needed where there are any
        gains : ndarray, optional
            float32 ``(frames, chain.gains)``: where they are written to, or read from where the chain replays
        """
        for piece, *beside in self._pieces(len(audio), keys, gains):
            self._list.run(audio[piece], *beside)

    def process_float(
        self,
        audio: np.ndarray,
        out: np.ndarray,
        keys: np.ndarray | None = None,
        gains: np.ndarray | None = None,
    ) -> None:
        """Process float32 audio into float32 `out`, both ``(frames, channels)``, C-contiguous, computing in float64.

        A sample that is not finite is read as silence. `keys` and `gains` as in `process`.
        """
        for piece, *beside in self._pieces(len(audio), keys, gains):
            self._list.run_float(audio[piece], out[piece], *beside)

    def _pieces(self, frames: int, keys: np.ndarray | None, gains: np.ndarray | None) -> Iterator[_Piece]:
        """Yield what the core runs at once, with keys, gains and tables; all of it, unless nobody wants the gains.

        Then they are written over each other, in a room that stays near the processor.
        """
        unwanted = gains is None and self.gains > 0 and not self._replay
        wanted = ((keys, 2 * len(self.keys)), (gains, 0 if unwanted else self.gains))
        if any((0 if array is None else array.size) != frames * width for array, width in wanted):
            raise InternalError("keys or gains do not fit the chain")
        for start in range(0, max(frames, 1), _UNWANTED_FRAMES if unwanted else max(frames, 1)):
            piece = slice(start, min(start + _UNWANTED_FRAMES, frames) if unwanted else frames)
            length = piece.stop - piece.start
            room = self._unwanted[:length] if unwanted else gains
            yield piece, None if keys is None else keys[piece], room, self._tables(length)

    def _tables(self, frames: int) -> np.ndarray | None:
        """Return what moving coefficients move to over the next frames, and say where each operation finds its own."""
        if not self._moving:
            return None
        start = int(self._list.state[0])
        strides = np.arange(start // native.STRIDE, (start + frames) // native.STRIDE + 2)
        tables, at = [], 0
        for row, out in zip(self._moving, np.flatnonzero(self._table[:, 7]), strict=True):
            assert row.moving is not None
            tables.append(np.ascontiguousarray(row.moving(strides), dtype=np.float64).ravel())
            self._table[out, 8] = at
            at += tables[-1].size
        return np.concatenate(tables)
