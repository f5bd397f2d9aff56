# SPDX-License-Identifier: Apache-2.0
"""Figures that tell a voice from a bass from a drum, from the loudest 30 s of a file.

Thirty seconds of highest energy suffice to group the tracks of a song (Ronan, Moffat, Gunes and Reiss,
"Automatic subgrouping of multitrack audio", DAFx 2015).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixwright.jobs.progress import Cancel, until_stopped
from mixwright.model.record import Record

_WINDOW_S = 2
_WINDOWS = 15
_HOPS_PER_WINDOW = 4
_LOWEST_PITCH_HZ = 70.0
_HIGHEST_PITCH_HZ = 1000.0
#: A frame counts as voiced above this share of periodic power.
VOICED = 0.6


class Timbre(Record, frozen=True, kw_only=True):
    """Figures of the loudest 30 s, taken on frames within 30 dB of the loudest.

    `centroid_hz`: median over frames, amplitude-weighted. `low_share`, `high_share`: power below 150 Hz and
    above 4 kHz. `periodic`: mean height of the autocorrelation peak from 70 to 1000 Hz. `voiced`: share of
    frames where it passes 0.6. `pitch_hz`: median there. `glide`: median pitch change between neighbouring
    voiced frames of one note, semitones. `flutter_db`: mean change of the third-octave envelope (300 to
    4000 Hz) in 100 ms while voiced: the movement of formants. `hiss`: share of frames that are bright and
    not periodic. `punch_db`: 95th over 50th percentile of the 10 ms level while sounding.
    `onsets_per_s`: steep rises of the level. `side`: power of the side over mid and side.
    `sounding`: share of the file within 40 dB of its loudest 10 ms.
    """

    centroid_hz: float
    low_share: float
    high_share: float
    periodic: float
    voiced: float
    pitch_hz: float
    glide: float
    flutter_db: float
    hiss: float
    punch_db: float
    onsets_per_s: float
    side: float
    sounding: float


def timbre(
    audio: npt.NDArray[np.float32], rate_hz: int, level: npt.NDArray[np.float64], cancel: Cancel | None = None
) -> Timbre | None:
    """Take the figures.

    Parameters
    ----------
    audio : float32 array, (frames, 1 or 2)
        Finite; only its loudest 30 s are read.
    rate_hz : int
        Frames per second.
    level : float64 array
        Mean square of every 10 ms of the file.
    cancel : Cancel, optional
        The user's switch to stop.

    Returns
    -------
    Timbre or None
        None if the file is shorter than one analysis frame.
    """
    size = 1 << round(np.log2(0.085 * rate_hz))
    hop = size // _HOPS_PER_WINDOW
    spectra, sides = _loudest_spectra(audio, rate_hz, level, size, hop, cancel)
    if not len(spectra):
        return None
    energy = spectra.sum(axis=1)
    loud = energy > energy.max() * 1e-3
    hz = np.arange(spectra.shape[1]) * rate_hz / size
    kept = spectra[loud]
    power = np.maximum(kept.sum(axis=1), 1e-30)
    amplitude = np.sqrt(kept)
    centroid = (amplitude @ hz) / np.maximum(amplitude.sum(axis=1), 1e-30)
    high = kept[:, hz > 4000.0].sum(axis=1) / power
    periodic, pitch = _pitch(spectra, rate_hz, size)
    voiced = loud & (periodic > VOICED)
    level_db = 10.0 * np.log10(np.maximum(level, 1e-12))
    sounding = level_db > level_db.max() - 40.0
    return Timbre(
        centroid_hz=float(np.median(centroid)),
        low_share=float(kept[:, hz < 150.0].sum() / power.sum()),
        high_share=float(kept[:, hz > 4000.0].sum() / power.sum()),
        periodic=float(periodic[loud].mean()),
        voiced=float(voiced.sum() / loud.sum()),
        pitch_hz=float(np.median(pitch[voiced])) if voiced.any() else 0.0,
        glide=_glide(pitch, voiced),
        flutter_db=_flutter(spectra, hz, voiced, max(1, round(0.1 * rate_hz / hop))),
        hiss=float(np.mean((high > 0.4) & (periodic[loud] < 0.45))),
        punch_db=float(np.subtract(*np.percentile(level_db[sounding], [95, 50]))),
        onsets_per_s=_onsets(level_db) / max(0.1, float(sounding.sum()) / 100.0),
        side=sides,
        sounding=float(sounding.mean()),
    )


def _loudest_spectra(
    audio: npt.NDArray[np.float32],
    rate_hz: int,
    level: npt.NDArray[np.float64],
    size: int,
    hop: int,
    cancel: Cancel | None,
) -> tuple[npt.NDArray[np.float64], float]:
    from scipy import fft

    per_window = _WINDOW_S * 100
    count = max(1, len(level) // per_window)
    energy = [float(level[i * per_window : (i + 1) * per_window].sum()) for i in range(count)]
    chosen = sorted(sorted(range(count), key=lambda i: -energy[i])[:_WINDOWS])
    window = np.hanning(size + 1)[:-1]
    spectra, mid_power, side_power = [], 0.0, 0.0
    for i in until_stopped(chosen, cancel):
        piece = np.asarray(audio[i * _WINDOW_S * rate_hz : (i + 1) * _WINDOW_S * rate_hz], dtype=np.float64)
        if len(piece) < size or not piece.any():
            continue
        mid_power += float(np.square(piece.mean(axis=1)).sum())
        if piece.shape[1] == 2:
            side_power += float(np.square(piece[:, 0] - piece[:, 1]).sum()) / 4.0
        frames = np.lib.stride_tricks.sliding_window_view(piece, size, axis=0)[::hop]
        power = np.abs(fft.rfft(frames * window, axis=2)) ** 2
        power[..., :2] = 0.0  # a constant offset under the window is no sound
        spectra.append(power.mean(axis=1))
    both = mid_power + side_power
    stacked = np.concatenate(spectra) if spectra else np.zeros((0, size // 2 + 1))
    return stacked, side_power / both if both > 0.0 else 0.0


def _pitch(
    spectra: npt.NDArray[np.float64], rate_hz: int, size: int
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Return height and frequency of the first strong autocorrelation peak of every frame.

    The autocorrelation is divided by that of the window, which removes its slope (Boersma, "Accurate
    short-term analysis of the fundamental frequency ...", IFA Proceedings 17, 1993).
    """
    from scipy import fft

    shortest, longest = int(rate_hz / _HIGHEST_PITCH_HZ), int(np.ceil(rate_hz / _LOWEST_PITCH_HZ))
    window = np.hanning(size + 1)[:-1]
    own = fft.irfft(np.abs(fft.rfft(window, 2 * size)) ** 2)[: longest + 2]
    # The power spectrum of the unpadded frame gives the circular correlation; up to a sixth of the frame
    # the window has faded out what wraps round.
    r = fft.irfft(spectra, size, axis=1)[:, : longest + 2]
    r = r / np.maximum(r[:, :1], 1e-30) / (own / own[0])
    inner = r[:, 1:-1]
    peaks = (inner > r[:, :-2]) & (inner >= r[:, 2:])
    peaks[:, : shortest - 1] = False
    heights = np.where(peaks, inner, 0.0)
    best = heights.max(axis=1)
    first = np.argmax(heights >= 0.9 * np.maximum(best, 1e-9)[:, None], axis=1)
    rows = np.arange(len(r))
    at = first + 1
    a, b, c = r[rows, at - 1], r[rows, at], r[rows, at + 1]
    bend = a - 2.0 * b + c
    lag = at + np.where(bend < 0.0, 0.5 * (a - c) / np.where(bend < 0.0, bend, -1.0), 0.0)
    return np.clip(best, 0.0, 1.0), np.where(best > 0.0, rate_hz / lag, 0.0)


def _glide(pitch: npt.NDArray[np.float64], voiced: npt.NDArray[np.bool_]) -> float:
    pairs = voiced[1:] & voiced[:-1]
    if pairs.sum() < 8:
        return 0.0
    steps = np.abs(12.0 * np.log2(pitch[1:][pairs] / pitch[:-1][pairs]))
    same_note = steps[steps < 1.0]
    return float(np.median(same_note)) if len(same_note) else 0.0


def _flutter(
    spectra: npt.NDArray[np.float64], hz: npt.NDArray[np.float64], voiced: npt.NDArray[np.bool_], step: int
) -> float:
    edges = 300.0 * 2.0 ** (np.arange(12) / 3.0)
    columns = np.searchsorted(hz, edges)
    bands = np.add.reduceat(spectra, columns, axis=1)[:, :-1]
    shape = 10.0 * np.log10(bands + 1e-4 * bands.sum(axis=1, keepdims=True) + 1e-30)
    shape -= shape.mean(axis=1, keepdims=True)
    pairs = voiced[step:] & voiced[:-step]
    if pairs.sum() < 8:
        return 0.0
    return float(np.abs(shape[step:] - shape[:-step])[pairs].mean())


def _onsets(level_db: npt.NDArray[np.float64]) -> int:
    """Count rises of at least 6 dB within 30 ms that reach within 30 dB of the loudest."""
    if len(level_db) < 5:
        return 0
    rise = level_db[3:] - level_db[:-3]
    strong = (rise > 6.0) & (level_db[3:] > level_db.max() - 30.0)
    starts = np.flatnonzero(strong & ~np.concatenate([[False], strong[:-1]]))
    return int(1 + np.sum(np.diff(starts) >= 5)) if len(starts) else 0
