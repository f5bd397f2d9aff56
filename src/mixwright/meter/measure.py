# SPDX-License-Identifier: Apache-2.0
"""The meter: all levels of a piece of audio in one pass, at any block size, with the same bits."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from mixwright.core.spectra import PowerSpectrum, third_octave_hz, third_octave_power
from mixwright.errors import InputError, SettingError
from mixwright.jobs.progress import Cancel, blocks
from mixwright.meter.loudness import (
    ABSOLUTE_GATE_LUFS,
    GATE_HOP_SUB_BLOCKS,
    SHORT_TERM_SUB_BLOCKS,
    SUB_BLOCKS_PER_S,
    Loudness,
    channel_weights,
    k_weighting,
    lufs_from_power,
    sub_block_edge,
)
from mixwright.meter.true_peak import TAPS, bounds, interpolator
from mixwright.model.levels import Levels
from mixwright.native import meter as kernels
from mixwright.units import db_from_power, db_from_ratio

LOWEST_RATE_HZ = 8_000
HIGHEST_RATE_HZ = 384_000
_BLOCK_FRAMES = 65_536

# Kept before every chunk: what the true peak kernel looks back, and the frames that still waited for what follows them.
_HISTORY = kernels.FRAMES_BEFORE + kernels.FRAMES_AFTER


class Meter:
    """Measures audio that is handed in piece by piece.

    Chunks of exactly one second are measured as they fill, so results do not depend on the sizes pushed.

    Parameters
    ----------
    rate_hz : int
        8 to 384 kHz.
    channels : int
        1 to 6, in the order L R C LFE Ls Rs.
    spectrum : bool
        Whether the one-third-octave spectrum is taken as well.
    true_peak : bool
        Whether true peaks are found; without them true peak, PLR and PSR are None.
    dual_mono : bool
        Whether a single channel counts as both channels of a stereo file, which it is when two loudspeakers play it.

    Raises
    ------
    SettingError
        for a rate or a number of channels out of range
    """

    def __init__(
        self,
        rate_hz: int,
        channels: int,
        *,
        spectrum: bool = True,
        true_peak: bool = True,
        dual_mono: bool = False,
    ) -> None:
        if not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
            raise SettingError(f"a rate of {rate_hz} Hz cannot be metered", hint="8000 to 384000 Hz are allowed")
        self.rate_hz = rate_hz
        self.channels = channels
        self._weights = channel_weights(channels, dual_mono=dual_mono)
        self._coefficients = k_weighting(rate_hz)
        self._state = np.zeros((channels, 4))
        self._spectrum = PowerSpectrum(rate_hz, channels) if spectrum else None
        self._with_true_peak = true_peak
        # History, one second, and room for the silence after the end.
        self._buffer = np.zeros((channels, _HISTORY + rate_hz + 2 * kernels.FRAMES_AFTER), dtype=np.float32)
        self._fill = 0
        self._chunks = 0
        self._edges = np.array([sub_block_edge(k, rate_hz) for k in range(SUB_BLOCKS_PER_S + 1)], dtype=np.int32)
        self._sums: list[np.ndarray] = []
        self._peaks: list[np.ndarray] = []
        self._sample_peak = 0.0
        self._work = np.zeros(3, dtype=np.int64)
        self._ended = False

    @property
    def frames(self) -> int:
        """Frames taken so far."""
        return self._chunks * self.rate_hz + self._fill

    def push(self, block: np.ndarray) -> None:
        """Take the next frames.

        Parameters
        ----------
        block : (frames, channels) array, float32 or float64
            Full scale is 1. A one-dimensional array is one channel. Doubles are rounded to float.

        Raises
        ------
        InputError
            for a sample that is not finite, or beyond 1e30
        SettingError
            for another shape or type, or after :meth:`result`
        """
        if self._ended:
            raise SettingError("the meter has ended", hint="make a new one")
        if block.ndim == 1:
            block = block[:, None]
        if block.ndim != 2 or block.shape[1] != self.channels or block.dtype not in (np.float32, np.float64):
            raise SettingError(
                f"a block of {block.dtype} in the shape {block.shape} cannot be metered",
                hint=f"use (frames, {self.channels}) of float32 or float64",
            )
        done = 0
        while done < len(block):
            count = min(self.rate_hz - self._fill, len(block) - done)
            piece = np.ascontiguousarray(block[done : done + count])
            bad = kernels.to_planar(piece, self._buffer, _HISTORY + self._fill)
            if bad >= 0:
                frame = self.frames + bad
                raise InputError(
                    f"the sample at frame {frame} ({frame / self.rate_hz:.3f} s) is not a usable number",
                    hint="export the audio again: no recording holds such a value",
                )
            self._fill += count
            done += count
            if self._fill == self.rate_hz:
                self._measure(self._edges)
                self._buffer[:, :_HISTORY] = self._buffer[:, self.rate_hz : self.rate_hz + _HISTORY]
                self._fill = 0
                self._chunks += 1

    def _measure(self, edges: np.ndarray) -> None:
        """Measure a whole chunk of one second."""
        chunk = self._buffer[:, _HISTORY : _HISTORY + int(edges[-1])]
        self._sample_peak = max(self._sample_peak, float(chunk.max()), -float(chunk.min()))
        self._sums.append(kernels.sub_blocks(self._buffer, _HISTORY, edges, self._coefficients, self._state))
        if self._spectrum is not None:
            self._spectrum.push(chunk)
        self._true_peaks(edges[::GATE_HOP_SUB_BLOCKS])

    def _true_peaks(self, edges: np.ndarray) -> None:
        """Find the true peak of every 100 ms; they lag by the frames that the kernel looks ahead."""
        if not self._with_true_peak:
            return
        late = edges - np.int32(kernels.FRAMES_AFTER)
        self._peaks.append(kernels.true_peak(self._buffer, _HISTORY, late, interpolator(), bounds(), self._work))

    def _end(self) -> None:
        """Measure what is left, and the ringing of the interpolator after the last sample."""
        if self._ended:
            return
        self._ended = True
        left = self._fill
        self._buffer[:, _HISTORY + left :] = 0.0
        if left:
            chunk = self._buffer[:, _HISTORY : _HISTORY + left]
            self._sample_peak = max(self._sample_peak, float(chunk.max()), -float(chunk.min()))
            edges = np.append(self._edges[self._edges < left], np.int32(left))
            self._sums.append(kernels.sub_blocks(self._buffer, _HISTORY, edges, self._coefficients, self._state))
            if self._spectrum is not None:
                self._spectrum.push(chunk)
        if self.frames:
            starts = self._edges[::GATE_HOP_SUB_BLOCKS]
            end = left + kernels.FRAMES_AFTER + TAPS // 2
            self._true_peaks(np.append(starts[starts <= left], np.int32(end)))

    def _all_sums(self) -> np.ndarray:
        return np.concatenate(self._sums) if self._sums else np.zeros((0, 3 * self.channels + 1))

    def loudness(self) -> Loudness:
        """Return the stored energies, for the loudness of any part. Ends the stream."""
        self._end()
        complete = self._chunks * SUB_BLOCKS_PER_S + int(np.searchsorted(self._edges, self._fill, side="right")) - 1
        return Loudness(self.rate_hz, np.sum(self._all_sums()[:complete, : self.channels] * self._weights, axis=1))

    def result(self) -> Levels:
        """Return the levels of all frames taken. Ends the stream."""
        loudness = self.loudness()
        integrated = loudness.integrated_lufs()
        true_peak = max((float(peaks.max()) for peaks in self._peaks), default=0.0)
        true_peak_db = db_from_ratio(true_peak)
        power = self._mean_squares()
        rms = float(np.mean(power)) if self.frames else 0.0
        correlation, side_to_mid = self._stereo()
        return Levels(
            duration_s=self.frames / self.rate_hz,
            integrated_lufs=integrated,
            momentary_max_lufs=_largest_lufs(loudness.momentary_power),
            short_term_max_lufs=_largest_lufs(loudness.short_term_power),
            loudness_range_lu=loudness.loudness_range_lu(),
            true_peak_dbtp=true_peak_db,
            sample_peak_dbfs=db_from_ratio(self._sample_peak),
            plr_db=None if true_peak_db is None or integrated is None else true_peak_db - integrated,
            psr_min_db=self._smallest_psr(loudness),
            rms_dbfs=db_from_power(rms),
            crest_db=db_from_ratio(self._sample_peak / math.sqrt(rms)) if rms > 0.0 else None,
            dc_dbfs=db_from_ratio(float(np.abs(self._offsets()).max())) if self.frames else None,
            correlation=correlation,
            side_to_mid_db=side_to_mid,
            **self._bands(),
        )

    def _mean_squares(self) -> np.ndarray:
        """Return the mean square of each channel."""
        squares = self._all_sums()[:, 2 * self.channels : 3 * self.channels]
        return np.asarray(squares.sum(axis=0) / max(1, self.frames))

    def _stereo(self) -> tuple[float | None, float | None]:
        """Return correlation and side-to-mid ratio; None where a channel or a part is silent, or not stereo."""
        if self.channels != 2:
            return None, None
        left, right, product = (float(total) for total in self._all_sums()[:, 4:].sum(axis=0))
        correlation = product / math.sqrt(left * right) if left > 0.0 < right else None
        mid, side = left + right + 2.0 * product, left + right - 2.0 * product
        # What is left of equal sums after cancelling is rounding, not signal.
        rounding = 1e-14 * (left + right)
        return (
            None if correlation is None else min(1.0, max(-1.0, correlation)),
            db_from_power(side / mid) if mid > rounding and side > rounding else None,
        )

    def _offsets(self) -> np.ndarray:
        """Return the mean of each channel under a Hann window over the whole length: partial cycles cancel."""
        sums = self._all_sums()[:, self.channels : 2 * self.channels]
        edges = np.array([sub_block_edge(k, self.rate_hz) for k in range(len(sums))] + [self.frames])
        weight = np.sin(np.pi * (edges[:-1] + edges[1:]) / (2.0 * self.frames)) ** 2
        return np.asarray(np.sum(weight[:, None] * sums, axis=0) / np.sum(weight * np.diff(edges)))

    def true_peaks(self) -> np.ndarray:
        """Return the true peak of every 100 ms as an amplitude; ends the stream."""
        self._end()
        return np.concatenate([np.zeros(0), *self._peaks]).astype(np.float64)

    def _smallest_psr(self, loudness: Loudness) -> float | None:
        series = psr_db(self.true_peaks(), loudness)
        return None if np.isnan(series).all() else float(np.nanmin(series))

    def _bands(self) -> dict[str, Any]:
        if self._spectrum is None or not self.frames:
            return {}
        power = third_octave_power(self._spectrum.hz, self._spectrum.result(), self.rate_hz)
        return {
            "third_octave_hz": third_octave_hz(self.rate_hz),
            "third_octave_db": tuple(db_from_power(band) for band in power.tolist()),
        }


def psr_db(true_peaks: np.ndarray, loudness: Loudness) -> np.ndarray:
    """Return the true peak less the loudness of every 3 s window, hop 100 ms; NaN at or below -70 LUFS.

    Parameters
    ----------
    true_peaks : (tenths of a second,) array
        Of :meth:`Meter.true_peaks`.
    loudness : Loudness
        Of the same audio.
    """
    length = SHORT_TERM_SUB_BLOCKS // GATE_HOP_SUB_BLOCKS
    short_term = lufs_from_power(loudness.short_term_power[::GATE_HOP_SUB_BLOCKS])
    if not len(short_term) or len(true_peaks) < length:
        return np.zeros(0)
    windows = np.lib.stride_tricks.sliding_window_view(true_peaks, length)[: len(short_term)]
    short_term = short_term[: len(windows)]
    heard = short_term > ABSOLUTE_GATE_LUFS
    found = np.full(len(windows), np.nan)
    found[heard] = 20.0 * np.log10(windows.max(axis=1)[heard]) - short_term[heard]
    return found


def _largest_lufs(power: np.ndarray) -> float | None:
    """Return the largest loudness of a trace, or None when it is empty or silent throughout."""
    largest = float(power.max()) if len(power) else 0.0
    return float(lufs_from_power(np.array(largest))) if largest > 0.0 else None


def measure(
    audio: np.ndarray,
    rate_hz: int,
    *,
    spectrum: bool = True,
    dual_mono: bool = False,
    cancel: Cancel | None = None,
) -> Levels:
    """Return the levels of a whole piece of audio; a memory-mapped array is read piece by piece.

    Parameters are those of :class:`Meter` and :meth:`Meter.push`, and the user's switch to stop.
    """
    meter = Meter(rate_hz, 1 if audio.ndim == 1 else audio.shape[1], spectrum=spectrum, dual_mono=dual_mono)
    for block in blocks(audio, _BLOCK_FRAMES, cancel):
        meter.push(block)
    return meter.result()
