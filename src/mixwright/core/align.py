# SPDX-License-Identifier: Apache-2.0
"""How one recording lies against another: lag, polarity and gain.

Generalised cross-correlation after Knapp and Carter, "The generalized correlation method for
estimation of time delay", IEEE Trans. ASSP 24(4), 1976. The cross-spectrum is whitened only half way
(1/|C|^0.5) and weighted by the coherence of several windows: full whitening misses by samples on
low-passed sources, where plain correlation is exact but broad.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

#: A lag is believed when its peak stands this far above the RMS of the search range ...
SURE_PEAK_OVER_RMS = 10.0
#: ... and the second peak stays below this share of the first.
SURE_SECOND_PEAK = 0.8
#: What :class:`SharedSound` looks at: bleed has most of its energy there, and a window's spectrum is a few hundred kB.
_SHARED_BELOW_HZ = 6000.0
#: Half of the band has a peak lower by about the root of 2: pairs that are sure at 48 kHz were at 9.5 and more here.
_SHARED_PEAK_OVER_RMS = 6.0
#: Windows in which most recordings sound: pairs are compared in those, unless both are this much louder elsewhere.
_SHARED_WINDOWS = 8
_MUCH_LOUDER = 100.0
#: Spectra of windows that are kept, of all recordings together.
_SPECTRA = 800


#: Called between two pieces of work, each of which takes a moment; raises an error to stop.
Look = Callable[[], object]


def _no_look() -> None:
    """Go on."""


@dataclass(frozen=True)
class Alignment:
    """How `y` lies against `x`.

    `lag_frames`: delay of y against x, fractional, positive = later. `polarity`: +1 or -1.
    `peak_over_rms` and `second_peak` (share of the first) say how far the lag can be believed:
    `sure` is both within their limits. `spread_frames`: largest distance of a single window's lag
    from the common one; above one frame there is drift, or more than one source.
    """

    lag_frames: float
    polarity: int
    peak_over_rms: float
    second_peak: float
    spread_frames: float

    @property
    def sure(self) -> bool:
        """Whether the lag can be believed."""
        return self.peak_over_rms > SURE_PEAK_OVER_RMS and self.second_peak < SURE_SECOND_PEAK


def lag_and_polarity(
    x: npt.NDArray[np.floating],
    y: npt.NDArray[np.floating],
    rate_hz: int,
    *,
    search_s: float = 0.05,
    window_s: float = 2.0,
    windows: int = 5,
    whitening: float = 0.5,
    look: Look = _no_look,
) -> Alignment | None:
    """Find the delay and the relative polarity of `y` against `x`.

    Parameters
    ----------
    x, y : array, (frames,) or (frames, channels)
        Recordings on one clock; channels are averaged. May be memory-mapped: only the windows are read.
    rate_hz : int
        Frames per second of both.
    search_s : float
        Largest delay looked for, either way.
    window_s, windows : float, int
        Length and number of the windows, those in which both are loudest.
    whitening : float
        Exponent of 1/|C|: 0 plain correlation, 1 phase only.
    look : callable
        See :data:`Look`.

    Returns
    -------
    Alignment or None
        None where one of the two is silent.
    """
    frames = min(len(x), len(y))
    length = min(frames, max(16, round(window_s * rate_hz)))
    search = min(max(1, round(search_s * rate_hz)), length - 1)
    if frames < 16:
        return None
    starts = _loud_windows(x, y, frames, length, windows, look)
    if not starts:
        return None
    size = 1 << (2 * length - 1).bit_length()
    cross, power = [], []
    for start in starts:
        look()
        first = np.fft.rfft(_mono(x[start : start + length]), size)
        second = np.fft.rfft(_mono(y[start : start + length]), size)
        cross.append(second * np.conj(first))
        power.append((np.abs(first) ** 2, np.abs(second) ** 2))
    look()
    total = np.sum(cross, axis=0)
    size_of_cross = np.abs(total)
    if size_of_cross.max() == 0.0:
        return None
    flat = np.maximum(size_of_cross, 1e-12 * size_of_cross.max()) ** whitening
    weight = _coherence(total, np.sum(power, axis=0)) / flat
    r = _around_zero(np.fft.irfft(total * weight, size), search)
    peak = int(np.argmax(np.abs(r)))
    if r[peak] == 0.0:
        return None
    lag = _fractional_peak(r, peak) - search
    near = max(2, round(0.0005 * rate_hz))
    return Alignment(
        lag_frames=lag,
        polarity=1 if r[peak] > 0 else -1,
        peak_over_rms=float(abs(r[peak]) / np.sqrt(np.mean(r * r))),
        second_peak=_second_peak(np.abs(r), peak, near),
        spread_frames=_spread(cross, weight, size, search, lag, look),
    )


class SharedSound:
    """Tells of many recordings which two may hold the same sound, at a small part of the cost of looking closely.

    The correlation is that of :func:`lag_and_polarity`, of what lies below 6 kHz, and every window is transformed once
    whatever it is compared with. A pair that it passes is one to look at closely; one that it does not pass has no sure
    lag.

    Parameters
    ----------
    recordings : sequence of arrays, (frames,) or (frames, channels)
        On one clock; may be memory-mapped.
    rate_hz : int
        Frames per second of all.
    search_s, window_s, windows : float, float, int
        As for :func:`lag_and_polarity`.
    look : callable
        See :data:`Look`.
    """

    def __init__(
        self,
        recordings: Sequence[npt.NDArray[np.floating]],
        rate_hz: int,
        *,
        search_s: float = 0.05,
        window_s: float = 2.0,
        windows: int = 5,
        look: Look = _no_look,
    ) -> None:
        self._recordings = recordings
        self._length = max(16, round(window_s * rate_hz))
        self._windows = windows
        self._look = look
        self._size = 1 << (2 * self._length - 1).bit_length()
        self._bins = min(self._size // 2, round(_SHARED_BELOW_HZ * self._size / rate_hz))
        self._search = round(search_s * rate_hz * 2 * self._bins / self._size)
        self._loudness = functools.lru_cache(maxsize=None)(self._measured)
        self._spectrum = functools.lru_cache(maxsize=_SPECTRA)(self._transformed)

    def may_share(self, i: int, j: int) -> bool:
        """Return whether recordings `i` and `j` may hold the same sound, within `search_s` of one another."""
        self._look()
        first, second = self._loudness(i), self._loudness(j)
        count = min(len(first), len(second))
        both = first[:count] * second[:count]
        usual = self._usual[self._usual < count]
        within = usual if both[usual].max(initial=0.0) * _MUCH_LOUDER > both.max(initial=0.0) else np.arange(count)
        loudest = within[np.argsort(-both[within], kind="stable")]
        chosen = [k for k in loudest[: self._windows].tolist() if both[k] > 0.0]
        if not chosen:
            return False
        x, y = (np.array([self._spectrum(one, k) for k in chosen]) for one in (i, j))
        total = np.sum(y * np.conj(x), axis=0).astype(np.complex128)
        size = np.abs(total)
        if size.max() == 0.0:
            return False
        power = np.array([np.sum(np.square(np.abs(one)), axis=0, dtype=np.float64) for one in (x, y)])
        weight = _coherence(total, power) / np.sqrt(np.maximum(size, 1e-12 * size.max()))
        from scipy import fft  # slow to load

        r = _around_zero(fft.irfft(total * weight, 2 * self._bins), self._search)
        return bool(np.abs(r).max() > _SHARED_PEAK_OVER_RMS * np.sqrt(np.mean(r * r)))

    @functools.cached_property
    def _usual(self) -> npt.NDArray[np.intp]:
        """Windows in which most recordings are loud."""
        loudness = [self._loudness(i) for i in range(len(self._recordings))]
        total = np.zeros(max(map(len, loudness), default=0))
        for one in loudness:
            total[: len(one)] += one / max(one.max(initial=0.0), np.finfo(float).tiny)
        return np.argsort(-total, kind="stable")[:_SHARED_WINDOWS]

    def _measured(self, i: int) -> npt.NDArray[np.float64]:
        """Return how loud every window of a recording is."""
        audio = self._recordings[i]
        return np.array([self._power(audio[s : s + self._length]) for s in range(0, len(audio), self._length)])

    def _power(self, window: npt.NDArray[np.floating]) -> float:
        self._look()
        return _sparse_power(window)

    def _transformed(self, i: int, window: int) -> npt.NDArray[np.complex64]:
        from scipy import fft  # slow to load; it alone transforms float32 as such

        start = window * self._length
        audio = _mono(self._recordings[i][start : start + self._length]).astype(np.float32)
        spectrum: npt.NDArray[np.complex64] = fft.rfft(audio, self._size)
        return spectrum[: self._bins + 1].copy()


def fit_gain(
    x: npt.NDArray[np.floating],
    y: npt.NDArray[np.floating],
    block_frames: int = 1 << 16,
    look: Look = _no_look,
) -> tuple[float, float]:
    """Fit ``y = gain * x`` by least squares.

    Parameters
    ----------
    x, y : array, (frames,) or (frames, channels)
        Same shape, already aligned. Read in blocks.
    block_frames : int
        Frames read at once.
    look : callable
        See :data:`Look`.

    Returns
    -------
    gain : float
        Signed; 0 where x is silent.
    residual : float
        Power of ``y - gain * x`` over the power of y; 0 where y is silent.

    Raises
    ------
    ValueError
        if the shapes differ
    """
    if x.shape != y.shape:
        raise ValueError(f"shapes differ: {x.shape} and {y.shape}")
    xx = xy = yy = 0.0
    for start in range(0, len(x), block_frames):
        look()
        a = np.asarray(x[start : start + block_frames], dtype=np.float64).ravel()
        b = np.asarray(y[start : start + block_frames], dtype=np.float64).ravel()
        xx += float(a @ a)
        xy += float(a @ b)
        yy += float(b @ b)
    gain = xy / xx if xx > 0.0 else 0.0
    if yy == 0.0:
        return gain, 0.0
    # The closed form cancels below about -150 dB; there a second pass over the difference would be needed.
    return gain, max(0.0, yy - gain * xy) / yy


def _mono(audio: npt.NDArray[np.floating]) -> npt.NDArray[np.float64]:
    data = np.asarray(audio, dtype=np.float64)
    return data if data.ndim == 1 else data.mean(axis=1)


def _loud_windows(
    x: npt.NDArray[np.floating], y: npt.NDArray[np.floating], frames: int, length: int, windows: int, look: Look
) -> list[int]:
    """Return starts of the windows in which both recordings are loudest, non-overlapping, in order."""
    starts = range(0, frames - length + 1, length)
    loudness = []
    for s in starts:
        look()
        loudness.append(math.prod(_sparse_power(audio[s : s + length]) for audio in (x, y)))
    best = sorted(range(len(loudness)), key=lambda i: -loudness[i])[:windows]
    return sorted(starts[i] for i in best if loudness[i] > 0.0)


def _sparse_power(window: npt.NDArray[np.floating]) -> float:
    """Return the mean square of every 7th frame: enough to tell loud from quiet, and faster."""
    return float(np.mean(np.square(_mono(window[::7]))))


def _coherence(cross: npt.NDArray[np.complex128], power: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the magnitude-squared coherence, smoothed over 33 bins, as a weight from 0 to 1."""
    kernel = np.ones(33) / 33

    def smooth(values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return np.convolve(values, kernel, mode="same")

    top = smooth(np.abs(cross)) ** 2
    return np.asarray(top / np.maximum(smooth(power[0]) * smooth(power[1]), np.finfo(float).tiny))


def _around_zero(r: npt.NDArray[np.float64], search: int) -> npt.NDArray[np.float64]:
    return np.concatenate([r[-search:], r[: search + 1]])


def _fractional_peak(r: npt.NDArray[np.float64], peak: int) -> float:
    """Return the place of a peak between the frames: windowed-sinc interpolation by 16, then a parabola."""
    taps = np.arange(peak - 16, peak + 17)
    taps = taps[(taps >= 0) & (taps < len(r))]
    at = peak + np.arange(-17, 18) / 16.0
    distance = at[:, None] - taps[None, :]
    # Weights that sum to one: a ripple of 1e-4 would already move the flat peak of a low source.
    weights = np.sinc(distance) * np.cos(np.pi * distance / 36.0) ** 2
    fine = np.abs((weights / weights.sum(axis=1, keepdims=True)) @ r[taps])
    best = int(np.argmax(fine))
    if not 0 < best < len(fine) - 1:
        return float(at[best])
    a, b, c = fine[best - 1 : best + 2]
    bend = a - 2 * b + c
    return float(at[best] + (0.5 * (a - c) / bend / 16.0 if bend < 0 else 0.0))


def _second_peak(magnitude: npt.NDArray[np.float64], peak: int, near: int) -> float:
    rest = magnitude.copy()
    rest[max(0, peak - near) : peak + near + 1] = 0.0
    return float(rest.max() / magnitude[peak])


def _spread(
    cross: list[npt.NDArray[np.complex128]],
    weight: npt.NDArray[np.float64],
    size: int,
    search: int,
    lag: float,
    look: Look,
) -> float:
    lags = []
    for one in cross:
        look()
        r = _around_zero(np.fft.irfft(one * weight, size), search)
        lags.append(_fractional_peak(r, int(np.argmax(np.abs(r)))) - search)
    return float(np.max(np.abs(np.array(lags) - lag)))
