# SPDX-License-Identifier: Apache-2.0
"""The envelope of each octave of a signal, from spectra that are there already: inverse transforms of their parts."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Singles = npt.NDArray[np.float32]

_HALF_OCTAVE = 10.0**0.15


class OctaveEnvelopes:
    """Largest and mean square of the envelope of each octave, hop by hop.

    A part of the spectrum of a Hann window, transformed back, is that octave as an analytic signal at a low rate; two
    windows that overlap by half add up to the signal. Its square is the envelope's: a sine has a constant one.

    Parameters
    ----------
    hop : int
        Frames between windows of twice that length.
    rate_hz : int
    mids_hz : sequence of float
        Middles of the octaves; one that reaches beyond half the rate has an envelope of 0.
    """

    def __init__(self, hop: int, rate_hz: int, mids_hz: Sequence[float]) -> None:
        from scipy.fft import next_fast_len

        step_hz = rate_hz / (2.0 * hop)
        self._parts: list[tuple[int, int, int] | None] = []
        for mid in mids_hz:
            # Even, so that neighbouring windows are in phase.
            first = 2 * max(1, round(mid / _HALF_OCTAVE / step_hz / 2.0))
            last = round(mid * _HALF_OCTAVE / step_hz)
            # Twice the samples that the octave needs, so that its peaks are met.
            inside = last <= hop and last > first
            self._parts.append((first, last, 2 * next_fast_len(last - first)) if inside else None)
        self._scale = 1.0 / hop  # a half spectrum: twice over the length of the window
        self._kept: list[npt.NDArray[np.complex64] | None] = [None] * len(self._parts)
        self._peaks: list[Singles] = []
        self._means: list[Singles] = []

    def push(self, spectra: npt.NDArray[np.complex64]) -> None:
        """Take the spectra of the next windows, (windows, channels, bins)."""
        from scipy.fft import ifft

        windows = len(spectra)
        peaks = np.zeros((windows, len(self._parts)), dtype=np.float32)
        means = np.zeros_like(peaks)
        for i, part in enumerate(self._parts):
            if part is None:
                continue
            first, last, length = part
            found = ifft(spectra[:, :, first:last], n=length, axis=2) * np.float32(length * self._scale)
            kept = self._kept[i]
            if kept is None:
                kept = np.zeros_like(found[0, :, length // 2 :])
            late = np.concatenate([kept[None], found[:-1, :, length // 2 :]])
            both = late + found[:, :, : length // 2]
            square = both.real * both.real + both.imag * both.imag
            peaks[:, i] = square.max(axis=(1, 2))
            means[:, i] = square.mean(axis=(1, 2))
            self._kept[i] = found[-1, :, length // 2 :]
        self._peaks.append(peaks)
        self._means.append(means)

    def ended(self) -> OctaveEnvelopes:
        """End the stream; the first hop lies before the signal and falls away."""
        self.peak = np.concatenate(self._peaks)[1:]
        self.mean = np.concatenate(self._means)[1:]
        return self
