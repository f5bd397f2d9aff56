# SPDX-License-Identifier: Apache-2.0
"""Long-term power spectrum, and one-third-octave levels by IEC 61260-1:2014, class 1."""

from __future__ import annotations

import functools

import numpy as np

#: Base-ten octave ratio of IEC 61260-1.
OCTAVE = 10.0**0.3

# Window length: 0.73 Hz a bin, a sixth of the 20 Hz band.
_WINDOW_S = 1.365

# Beyond this factor a band lies below -135 dB.
_REACH = 12.0


@functools.cache
def third_octave_hz(rate_hz: int) -> tuple[float, ...]:
    """Return the exact mid-band frequencies from 20 Hz up whose upper edge lies below half the rate."""
    mids = (1000.0 * OCTAVE ** (x / 3.0) for x in range(-17, 20))
    return tuple(mid for mid in mids if mid * OCTAVE ** (1.0 / 6.0) < rate_hz / 2.0)


def third_octave_gain(hz: np.ndarray, mid_hz: float) -> np.ndarray:
    """Return the power gain of the band at `mid_hz`: a Butterworth band-pass of order 4, -3.01 dB at the band edges."""
    quality = 1.0 / (OCTAVE ** (1.0 / 6.0) - OCTAVE ** (-1.0 / 6.0))
    detuning = quality * (hz / mid_hz - mid_hz / hz)
    square = detuning * detuning
    fourth = square * square
    return np.asarray(1.0 / (1.0 + fourth * fourth))


def third_octave_power(hz: np.ndarray, power: np.ndarray, rate_hz: int) -> np.ndarray:
    """Return the power in every band of :func:`third_octave_hz`.

    Parameters
    ----------
    hz, power : (bins,) arrays
        Bin frequencies, evenly spaced from 0, and the power in each bin.
    """
    bands = []
    for mid_hz in third_octave_hz(rate_hz):
        first, last = np.searchsorted(hz, (mid_hz / _REACH, mid_hz * _REACH))
        near = slice(max(1, int(first)), int(last))
        bands.append(float(np.sum(third_octave_gain(hz[near], mid_hz) * power[near])))
    return np.array(bands)


class PowerSpectrum:
    """Power spectrum of a whole signal, streamed: the sum over all bins is its mean square, channels averaged.

    Windows of about 1.4 s overlap by half and their squares add up to 1 everywhere (a power-complementary window whose
    side lobes fall by 18 dB an octave); the ends are padded with silence, so every sample counts equally. Transforms
    are taken in fixed batches, so the result does not depend on how the signal was cut.

    Parameters
    ----------
    rate_hz : int
    channels : int
    """

    def __init__(self, rate_hz: int, channels: int) -> None:
        from scipy.fft import next_fast_len

        self._hop = int(next_fast_len(round(_WINDOW_S * rate_hz / 2.0), real=True))
        # Four transforms at once are the fastest (one lane of a vector each).
        self._windows = max(1, 4 // channels)
        half = np.sin(0.5 * np.pi * np.sin(0.5 * np.pi * (np.arange(self._hop) + 0.5) / self._hop) ** 2)
        self._window = np.concatenate((half, half[::-1])).astype(np.float32)
        self._buffer = np.zeros((channels, (self._windows + 1) * self._hop), dtype=np.float32)
        self._fill = self._hop
        self._frames = 0
        # Room that is used again: fresh memory of this size costs more than the transforms themselves.
        self._windowed = np.empty((channels * self._windows, 2 * self._hop), dtype=np.float32)
        self._squares = np.empty(2 * (self._hop + 1))
        self._sums = np.zeros(2 * (self._hop + 1))
        self.hz = np.arange(self._hop + 1) * (rate_hz / (2.0 * self._hop))

    def push(self, planar: np.ndarray) -> None:
        """Take the next frames, (channels, frames), of finite samples."""
        self._frames += planar.shape[1]
        done = 0
        while done < planar.shape[1]:
            count = min(self._buffer.shape[1] - self._fill, planar.shape[1] - done)
            self._buffer[:, self._fill : self._fill + count] = planar[:, done : done + count]
            self._fill += count
            done += count
            if self._fill == self._buffer.shape[1]:
                self._transform()

    def _transform(self) -> None:
        from scipy.fft import rfft

        if self._buffer.any():
            for k, windowed in enumerate(np.split(self._windowed, self._windows)):
                start = k * self._hop
                np.multiply(self._buffer[:, start : start + 2 * self._hop], self._window, out=windowed)
            spectrum = rfft(self._windowed, axis=1)
            for parts in spectrum.view(np.float32):  # real and imaginary parts in turn
                np.square(parts, out=self._squares, dtype=np.float64)
                self._sums += self._squares
        self._buffer[:, : self._hop] = self._buffer[:, -self._hop :]
        self._buffer[:, self._hop :] = 0.0
        self._fill = self._hop

    def result(self) -> np.ndarray:
        """Return the power in every bin of `hz`; zeros when nothing was pushed. Ends the stream."""
        if not self._frames:
            return np.zeros(self._hop + 1)
        # The last half window must be met by two windows.
        if self._fill > self._hop:
            self._transform()
        self._transform()
        power: np.ndarray = self._sums.reshape(-1, 2).sum(axis=1) / (self._hop * len(self._buffer) * self._frames)
        power[[0, -1]] *= 0.5
        return power
