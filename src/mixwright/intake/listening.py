# SPDX-License-Identifier: Apache-2.0
"""One pass over a received file: everything that intake knows of its sound.

What is found is a small record, kept in the cache by the content of the file: the second start on the
same tracks reads no audio.
"""

from __future__ import annotations

import hashlib

import numpy as np
import numpy.typing as npt

from mixwright.intake.flat_runs import FlatRuns
from mixwright.intake.timbre import Timbre, timbre
from mixwright.jobs.progress import Cancel, blocks
from mixwright.model.record import Record

#: Traces have this many values a second (exactly, at any rate).
TRACE_HZ = 100
#: Traces hold half decibels above this level, so that a value is one byte.
TRACE_FLOOR_DB = -120.0
#: No recording holds more: +60 dBFS.
LARGEST = 1000.0
_BLOCK_S = 4
_DC_CHUNK = 64


class Clipping(Record, frozen=True, kw_only=True):
    """Flat runs at the extremes of the channels; `dense` = three or more of them within one second."""

    runs: int = 0
    longest: int = 0
    first_frame: int | None = None
    dense: bool = False


class Listening(Record, frozen=True, kw_only=True):
    """What one file sounds like.

    `powers`: mean square of left, right, mid and side (mono: left = right = mid, side 0).
    `out_of_range`: samples above +60 dBFS.
    `sounds_from_frame`: first frame above -60 dBFS and above the noise floor by 12 dB.
    `level`, `bright`, `low`: traces of 10 ms, read with :func:`trace_db`: mean square of the channels, of
    their first difference, and of their 10 ms mean (below about 50 Hz), as half decibels above -120; without
    a constant offset.
    `content_sha256`: of the samples without leading zeros, channel count and rate.
    """

    rate_hz: int
    channels: int
    frames: int
    peak: float = 0.0
    constant: bool = True
    not_finite: int = 0
    not_finite_frame: int | None = None
    out_of_range: int = 0
    out_of_range_frame: int | None = None
    dc: tuple[float, ...] = ()
    powers: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    sides_equal: bool = False
    sounds_from_frame: int | None = None
    clipping: Clipping = Clipping()
    content_sha256: str = ""
    level: bytes = b""
    bright: bytes = b""
    low: bytes = b""
    timbre: Timbre | None = None


def trace_db(trace: bytes) -> npt.NDArray[np.float32]:
    """Return a trace as decibels, one value for every 10 ms."""
    return np.frombuffer(trace, dtype=np.uint8).astype(np.float32) * 0.5 + TRACE_FLOOR_DB


def listen(audio: npt.NDArray[np.float32], rate_hz: int, cancel: Cancel | None = None) -> Listening:
    """Listen to a file once, in blocks.

    Parameters
    ----------
    audio : float32 array, (frames, channels)
        At its own rate, may be memory-mapped and hold non-finite values. More than two channels are
        not listened to.
    rate_hz : int
        Frames per second.
    cancel : Cancel, optional
        The user's switch to stop.
    """
    frames, channels = audio.shape
    if frames == 0 or channels > 2:
        return Listening(rate_hz=rate_hz, channels=channels, frames=frames)
    listener = _Listener(rate_hz, channels)
    for block in blocks(audio, _BLOCK_S * rate_hz, cancel):
        listener.push(np.asarray(block))
    return listener.result(audio, cancel)


class _Listener:
    """Gathers the facts block by block; blocks are whole seconds, so the 10 ms grid never drifts."""

    def __init__(self, rate_hz: int, channels: int) -> None:
        self.rate_hz = rate_hz
        self.channels = channels
        self.frames = 0
        self.peak = 0.0
        self.first: npt.NDArray[np.float32] | None = None
        self.constant = True
        self.not_finite = 0
        self.not_finite_frame: int | None = None
        self.out_of_range = 0
        self.out_of_range_frame: int | None = None
        self.sums = np.zeros(4)
        self.sides_equal = channels == 2
        self.flat = [(FlatRuns(1, rate_hz), FlatRuns(-1, rate_hz)) for _ in range(channels)]
        self.hash = hashlib.sha256(f"{rate_hz} {channels}".encode())
        self.hashing = False
        self.dc_chunks: list[npt.NDArray[np.float64]] = []
        self.dc_lengths: list[npt.NDArray[np.int64]] = []
        self.level: list[npt.NDArray[np.float64]] = []
        self.bright: list[npt.NDArray[np.float64]] = []
        self.means: list[npt.NDArray[np.float64]] = []
        self.last = np.zeros((1, channels), dtype=np.float32)

    def push(self, block: npt.NDArray[np.float32]) -> None:
        block = self._finite(block)
        if self.first is None:
            self.first = block[0].copy()
        self.constant = self.constant and bool(np.all(block == self.first))
        peak = float(np.abs(block).max())
        self.peak = max(self.peak, peak)
        if peak > LARGEST:
            self._out_of_range(block)
        self._hash(block)
        for channel, (peaks, troughs) in enumerate(self.flat):
            column = np.ascontiguousarray(block[:, channel])
            peaks.push(column)
            troughs.push(column)
        self._powers(block)
        chunks = np.arange(0, len(block), _DC_CHUNK)
        self.dc_chunks.append(np.add.reduceat(block, chunks, axis=0, dtype=np.float64))
        self.dc_lengths.append(np.diff(np.append(chunks, len(block))))
        self._traces(block)
        self.frames += len(block)

    def _finite(self, block: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
        # One sum tells whether anything is not finite; only then is every sample looked at.
        with np.errstate(over="ignore", invalid="ignore"):
            if np.isfinite(np.sum(block, dtype=np.float64)):
                return block
        bad = ~np.isfinite(block)
        self.not_finite += int(bad.sum())
        if self.not_finite_frame is None:
            self.not_finite_frame = self.frames + int(np.flatnonzero(bad.any(axis=1))[0])
        return np.where(bad, np.float32(0.0), block)

    def _out_of_range(self, block: npt.NDArray[np.float32]) -> None:
        far = np.abs(block) > LARGEST
        self.out_of_range += int(far.sum())
        if self.out_of_range_frame is None:
            self.out_of_range_frame = self.frames + int(np.flatnonzero(far.any(axis=1))[0])

    def _hash(self, block: npt.NDArray[np.float32]) -> None:
        if not self.hashing:
            sounding = np.flatnonzero(block.any(axis=1))
            if not len(sounding):
                return
            self.hashing = True
            block = block[sounding[0] :]
        self.hash.update(np.ascontiguousarray(block + np.float32(0.0)).data)  # -0.0 becomes 0.0

    def _powers(self, block: npt.NDArray[np.float32]) -> None:
        left = block[:, 0].astype(np.float64)
        if self.channels == 1:
            self.sums += np.array([1.0, 1.0, 1.0, 0.0]) * float(left @ left)
            return
        right = block[:, 1].astype(np.float64)
        ll, rr, lr = float(left @ left), float(right @ right), float(left @ right)
        self.sides_equal = self.sides_equal and bool(np.array_equal(block[:, 0], block[:, 1]))
        side = 0.0
        if not self.sides_equal:
            difference = left - right
            side = float(difference @ difference) / 4.0
        self.sums += np.array([ll, rr, (ll + rr + 2.0 * lr) / 4.0, side])

    def _traces(self, block: npt.NDArray[np.float32]) -> None:
        count = -(-len(block) * TRACE_HZ // self.rate_hz)
        edges = np.round(np.arange(count) * self.rate_hz / TRACE_HZ).astype(np.int64)
        edges = edges[edges < len(block)]
        lengths = np.diff(np.append(edges, len(block)))[:, None]
        data = block.astype(np.float64)
        sums = np.add.reduceat(data, edges, axis=0) / lengths
        self.means.append(sums)
        step = np.diff(data, axis=0, prepend=self.last)
        self.last = block[-1:].copy()
        np.square(step, out=step)
        self.bright.append((np.add.reduceat(step, edges, axis=0) / lengths).mean(axis=1))
        np.square(data, out=data)
        self.level.append((np.add.reduceat(data, edges, axis=0) / lengths).mean(axis=1))

    def result(self, audio: npt.NDArray[np.float32], cancel: Cancel | None) -> Listening:
        dc = np.array(self._dc())
        means = np.concatenate(self.means)
        # A constant offset is no sound: levels are those without it, where that is less.
        level = np.concatenate(self.level)
        level = np.maximum(np.minimum(level, level + (dc * (dc - 2.0 * means)).mean(axis=1)), 0.0)
        low = np.minimum(means**2, (means - dc) ** 2).mean(axis=1)
        sounding = self.peak > 0.0 and not self.constant
        left, right, mid, side = (self.sums / self.frames).tolist()
        return Listening(
            rate_hz=self.rate_hz,
            channels=self.channels,
            frames=self.frames,
            peak=self.peak,
            constant=self.constant,
            not_finite=self.not_finite,
            not_finite_frame=self.not_finite_frame,
            out_of_range=self.out_of_range,
            out_of_range_frame=self.out_of_range_frame,
            dc=tuple(dc.tolist()),
            powers=(left, right, mid, side),
            sides_equal=self.sides_equal,
            sounds_from_frame=self._sounds_from(audio, level, dc, cancel) if sounding else None,
            clipping=self._clipping() if sounding else Clipping(),
            content_sha256=self.hash.hexdigest() if self.hashing else "",
            level=_trace(level),
            bright=_trace(np.concatenate(self.bright)),
            low=_trace(low),
            timbre=timbre(audio, self.rate_hz, level, cancel)
            if sounding and not self.not_finite and not self.out_of_range
            else None,
        )

    def _dc(self) -> tuple[float, ...]:
        """Return each channel's mean under a Hann window over the file, which suppresses partial cycles."""
        sums, lengths = np.concatenate(self.dc_chunks), np.concatenate(self.dc_lengths)
        centres = np.cumsum(lengths) - lengths / 2.0
        # The window hardly moves within 64 frames, so it is taken at their centre.
        window = 0.5 - 0.5 * np.cos(2.0 * np.pi * centres / self.frames)
        total = float(window @ lengths)
        return tuple((window @ sums / total).tolist()) if total > 0.0 else (0.0,) * self.channels

    def _sounds_from(
        self,
        audio: npt.NDArray[np.float32],
        level: npt.NDArray[np.float64],
        dc: npt.NDArray[np.float64],
        cancel: Cancel | None,
    ) -> int | None:
        floor = float(np.quantile(level, 0.05))
        # A steady sound has no quiet part to tell a noise floor from: 20 dB below the peak always counts.
        threshold = min(max(1e-3, np.sqrt(floor) * 10.0 ** (12.0 / 20.0)), 0.1 * self.peak)
        for second, block in enumerate(blocks(audio, self.rate_hz, cancel)):
            size = np.minimum(np.abs(block), np.abs(block - dc)).max(axis=1)
            over = np.flatnonzero(size > threshold)
            if len(over):
                return second * self.rate_hz + int(over[0])
        return None

    def _clipping(self) -> Clipping:
        runs: list[tuple[int, int]] = []
        for sides in self.flat:
            for side in sides:
                side.finish()
                runs += side.runs
        if not runs:
            return Clipping()
        runs.sort()
        firsts = np.array([first for first, _ in runs])
        dense = len(firsts) >= 3 and bool(np.any(firsts[2:] - firsts[:-2] < self.rate_hz))
        longest = max(length for _, length in runs)
        return Clipping(runs=len(runs), longest=longest, first_frame=int(firsts[0]), dense=dense)


def _trace(power: npt.NDArray[np.float64]) -> bytes:
    half_db = 2.0 * (10.0 * np.log10(np.maximum(power, 1e-12)) - TRACE_FLOOR_DB)
    return np.clip(np.round(half_db), 0, 255).astype(np.uint8).tobytes()
