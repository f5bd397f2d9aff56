# SPDX-License-Identifier: Apache-2.0
"""One pass over a finished song: everything its figures are made of, over time, so that any part can be told."""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixwright.core.spectra import third_octave_gain
from mixwright.errors import InputError
from mixwright.jobs.progress import Cancel, until_stopped
from mixwright.meter.loudness import Loudness
from mixwright.meter.measure import Meter
from mixwright.model.levels import Levels
from mixwright.model.profile import BANDS_HZ, OCTAVES_HZ, THIRDS_HZ
from mixwright.reference.envelopes import OctaveEnvelopes

Singles = npt.NDArray[np.float32]

#: Hop of the long windows, which tell the spectrum down to 20 Hz, and of the short ones, which tell what moves.
LONG_HOP_S, SHORT_HOP_S = 0.34, 0.0213
#: Windows that are transformed at once.
_LONG_AT_ONCE, _SHORT_AT_ONCE = 8, 64
_METER_FRAMES = 65_536
#: The middle in thirds of an octave, between one band of the bottom and one of the top.
MIDDLE_THIRDS = slice(10, 24)
#: A flat top: so many equal samples in a row, this near to the largest of their second.
_FLAT, _NEAR_TOP = 3, 0.98


@dataclass(frozen=True, eq=False)
class Traces:
    """A finished song over time.

    Attributes
    ----------
    levels, loudness
        By the meter, of both channels; the spectrum of `levels` is empty.
    peaks : (tenths of a second,) array
        True peak in every 100 ms.
    hop_s : float
        Between the middles of long windows, which are twice as long.
    long_s : (long,) array
        Where the middles of the long windows lie, in s.
    mid, side, both : (long, 31) float32 arrays
        Mean-square of middle, side and channel mean in each third of an octave.
    left_less_right : (long, 31) float32 array
        Mean-square of the left less that of the right, over 2.
    crest_peak, crest_mean : (long - 1, 10) float32 arrays
        Largest and mean square of the envelope of each octave between two long windows.
    short_s : (short,) array
        Where the middles of the short windows lie.
    short : (short, 16) float32 array
        Mean-square of the channel mean: the bottom (20 to 160 Hz), 14 thirds of an octave (200 Hz to 4 kHz), the top.
    centre : (short, 14) float32 array
        Mean-square of middle less side in the thirds of the middle, bin by bin, where it is above 0: of what stands in
        the centre, after what stands elsewhere is taken away.
    spectrum_hz, spectrum : (bins,) float64 arrays
        Mean-square in every bin of the long windows.
    flat_per_s : float
        Flat tops in a second.
    """

    rate_hz: int
    levels: Levels
    loudness: Loudness
    peaks: npt.NDArray[np.float64]
    hop_s: float
    long_s: npt.NDArray[np.float64]
    mid: Singles
    side: Singles
    both: Singles
    left_less_right: Singles
    crest_peak: Singles
    crest_mean: Singles
    short_s: npt.NDArray[np.float64]
    short: Singles
    centre: Singles
    spectrum_hz: npt.NDArray[np.float64]
    spectrum: npt.NDArray[np.float64]
    flat_per_s: float


def traces(audio: npt.NDArray[np.floating], rate_hz: int, *, cancel: Cancel | None = None) -> Traces:
    """Read a finished song once.

    Parameters
    ----------
    audio : array, (frames, 1 or 2)
        May be memory-mapped. One channel counts as two equal ones.
    rate_hz : int
        8 to 384 kHz.
    cancel : Cancel, optional
        The user's switch to stop.

    Raises
    ------
    InputError
        where it has more than two channels, or samples that are no numbers
    """
    if audio.ndim != 2 or audio.shape[1] not in (1, 2):
        raise InputError("a finished song has one or two channels", hint="give a stereo version")
    meter, flat = _metered(audio, rate_hz, cancel)
    long, envelopes, spectrum = _long(audio, rate_hz, cancel)
    hop = hop_frames(LONG_HOP_S, rate_hz)
    short, centre = _short(audio, rate_hz, cancel)
    return Traces(
        rate_hz=rate_hz,
        levels=meter.result(),
        loudness=meter.loudness(),
        peaks=meter.true_peaks(),
        hop_s=hop / rate_hz,
        long_s=_grid(len(long), hop / rate_hz),
        mid=long[:, 0],
        side=long[:, 1],
        both=long[:, 2],
        left_less_right=long[:, 3],
        crest_peak=envelopes.peak,
        crest_mean=envelopes.mean,
        short_s=_grid(len(short), hop_frames(SHORT_HOP_S, rate_hz) / rate_hz),
        short=short,
        centre=centre,
        spectrum_hz=_grid(len(spectrum), rate_hz / (2.0 * hop)),
        spectrum=spectrum,
        flat_per_s=flat / max(1e-9, len(audio) / rate_hz),
    )


def hop_frames(hop_s: float, rate_hz: int) -> int:
    """Return the frames of a hop near to a time, of which two make a window that is transformed fast."""
    from scipy.fft import next_fast_len

    return int(next_fast_len(max(8, round(hop_s * rate_hz / 2.0)), real=True)) * 2


def _metered(audio: npt.NDArray[np.floating], rate_hz: int, cancel: Cancel | None) -> tuple[Meter, int]:
    """Meter the song and count its flat tops."""
    meter = Meter(rate_hz, 2, spectrum=False)
    flat = 0
    for first in until_stopped(range(0, len(audio), _METER_FRAMES), cancel):
        block = np.ascontiguousarray(_stereo(audio[first : first + _METER_FRAMES]))
        meter.push(block)
        flat += _flat_tops(block)
    return meter, flat


def _flat_tops(block: Singles) -> int:
    """Count where three equal samples lie at the top of a block."""
    found = 0
    for channel in block.T:
        top = max(float(channel.max(initial=0.0)), -float(channel.min(initial=0.0)))
        if top <= 0.0:
            continue
        high = np.flatnonzero(np.abs(channel) >= _NEAR_TOP * top)
        run = high[(high >= _FLAT - 1)]
        run = run[(channel[run] == channel[run - 1]) & (channel[run - 1] == channel[run - 2])]
        found += int(np.count_nonzero(np.diff(run, prepend=-10) > 1))
    return found


def _long(
    audio: npt.NDArray[np.floating], rate_hz: int, cancel: Cancel | None
) -> tuple[Singles, OctaveEnvelopes, npt.NDArray[np.float64]]:
    """Return powers of middle, side, channel mean and imbalance, (long, 4, 31), octave envelopes, and the spectrum."""
    hop = hop_frames(LONG_HOP_S, rate_hz)
    hz = np.arange(hop + 1) * (rate_hz / (2.0 * hop))
    gains = _third_octave_gains(hop, rate_hz)
    envelopes = OctaveEnvelopes(hop, rate_hz, OCTAVES_HZ)
    total = np.zeros(len(hz))
    powers: list[Singles] = []
    for spectra in _spectra(audio, hop, _LONG_AT_ONCE, cancel):
        envelopes.push(spectra)
        left, right = spectra[:, 0], spectra[:, 1]
        each = (_square(left + right), _square(left - right), _square(left), _square(right))
        total += (each[2] + each[3]).sum(axis=0, dtype=np.float64)
        up, down, one, other = (part @ gains for part in each)
        powers.append(np.stack([up / 4.0, down / 4.0, (one + other) / 2.0, (one - other) / 2.0], axis=1))
    scale = _scale(hop)
    long = np.concatenate(powers) * np.float32(scale)
    return long.astype(np.float32), envelopes.ended(), total * (scale / (2.0 * max(1, len(long))))


def _short(audio: npt.NDArray[np.floating], rate_hz: int, cancel: Cancel | None) -> tuple[Singles, Singles]:
    """Return powers of the channel mean in 16 bands, and of what stands in the centre in 14."""
    hop = hop_frames(SHORT_HOP_S, rate_hz)
    found, centre = [], []
    for spectra in _spectra(audio, hop, _SHORT_AT_ONCE, cancel):
        left, right = spectra[:, 0], spectra[:, 1]
        found.append(_in_short_bands(_square(left) + _square(right), hop, rate_hz))
        # |L + R|^2 - |L - R|^2 = 4 Re(L R*), four times the middle less the side.
        shared = left.real * right.real + left.imag * right.imag
        centre.append(_in_short_bands(np.maximum(shared, np.float32(0.0)), hop, rate_hz)[:, 1:-1])
    scale = np.float32(_scale(hop))
    both = np.concatenate(found) * (np.float32(0.5) * scale)
    return both.astype(np.float32), (np.concatenate(centre) * scale).astype(np.float32)


def _spectra(
    audio: npt.NDArray[np.floating], hop: int, at_once: int, cancel: Cancel | None
) -> Iterator[npt.NDArray[np.complex64]]:
    """Yield spectra of Hann windows of two hops, (windows, 2, bins); their middles lie at 0, hop, 2 hops, ..."""
    from scipy.fft import rfft

    window = (np.sin(np.pi * np.arange(2 * hop) / (2 * hop)) ** 2).astype(np.float32)
    count = len(audio) // hop + 1
    for first in until_stopped(range(0, count, at_once), cancel):
        windows = min(at_once, count - first)
        start, end = (first - 1) * hop, (first + windows) * hop
        piece = np.zeros((2, end - start), dtype=np.float32)
        inside = slice(max(0, start), min(len(audio), end))
        piece[:, inside.start - start : inside.stop - start] = _stereo(audio[inside]).T
        cut = np.lib.stride_tricks.sliding_window_view(piece, 2 * hop, axis=1)[:, ::hop]
        yield rfft(cut.transpose(1, 0, 2) * window, axis=2)


def _stereo(block: npt.NDArray[np.floating]) -> Singles:
    singles = np.asarray(block, dtype=np.float32)
    return np.broadcast_to(singles, (len(singles), 2)) if singles.shape[1] == 1 else singles


def _grid(count: int, step: float) -> npt.NDArray[np.float64]:
    return np.asarray(np.arange(count) * step, dtype=np.float64)


def _square(spectrum: npt.NDArray[np.complex64]) -> Singles:
    return np.asarray(spectrum.real * spectrum.real + spectrum.imag * spectrum.imag)


def _scale(hop: int) -> float:
    """Return what makes a squared bin of a Hann window its share of the mean square (both halves of the spectrum)."""
    return 2.0 / (2 * hop * 2 * hop * 3.0 / 8.0)


@functools.cache
def _third_octave_gains(hop: int, rate_hz: int) -> Singles:
    """Return the gains of the thirds, (bins, 31): 0 for bins that an offset reaches, and beyond half the rate."""
    hz = np.arange(hop + 1) * (rate_hz / (2.0 * hop))
    gains = np.stack([third_octave_gain(np.maximum(hz, hz[1]), mid) for mid in THIRDS_HZ], axis=1)
    gains[:2] = 0.0
    gains[:, np.array([high for _, high in BANDS_HZ["thirds"]]) >= rate_hz / 2.0] = 0.0
    return gains.astype(np.float32)


@functools.cache
def _short_bands(hop: int, rate_hz: int) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.bool_]]:
    """Return where sums over bins begin, and which sums hold bottom, middle and top; a band without bins is no sum."""
    hz = np.arange(hop + 1) * (rate_hz / (2.0 * hop))
    bottom, _, top = BANDS_HZ["ends"]
    thirds = BANDS_HZ["thirds"][MIDDLE_THIRDS]
    edges = [*bottom, *(low for low, _ in thirds), thirds[-1][1], *top]
    first = np.minimum(np.searchsorted(hz, edges), hop)
    inside = np.ones(len(edges), dtype=bool)
    inside[[1, 2 + len(thirds), len(edges) - 1]] = False  # between the bands, and beyond them
    return first, inside


def _in_short_bands(power: Singles, hop: int, rate_hz: int) -> Singles:
    """Return the sums over bottom, 14 thirds of the middle, and top, (windows, 16)."""
    first, inside = _short_bands(hop, rate_hz)
    sums = np.add.reduceat(power, first, axis=1)
    sums[:, np.diff(first, append=power.shape[1]) <= 0] = 0.0
    return np.asarray(sums[:, inside])
