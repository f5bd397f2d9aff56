# SPDX-License-Identifier: Apache-2.0
"""A rough estimate of how much louder layers get by a change of the mix: which of them are worth hearing."""

from __future__ import annotations

import functools

import numpy as np

from mixwright.hearing.scale import hz_from_cam

#: Frames of one transform at 48 kHz, about 85 ms, and bands of a Cam.
_FRAMES, _CAM = 4096, 1.0
#: Loudness is about this power of power (Stevens 1957; the exponent from memory).
_POWER = 0.3
_NOTHING = 1e-14


def band_powers(audio: np.ndarray, rate_hz: int) -> np.ndarray:
    """Return the power of stereo audio in bands of a Cam, piece by piece.

    Parameters
    ----------
    audio : ndarray, float32, (frames, 2)
    rate_hz : int

    Returns
    -------
    ndarray, float32, (pieces, bands)
        both channels together
    """
    from scipy.fft import rfft  # slow to load

    size, first = _layout(rate_hz)
    pieces = len(audio) // size
    if not pieces:
        return np.zeros((0, len(first) - 1), dtype=np.float32)
    window = np.hanning(size + 1)[:-1].astype(np.float32)[:, None]
    spectra = rfft(audio[: pieces * size].reshape(pieces, size, 2) * window, axis=1)
    power = (spectra.real**2 + spectra.imag**2).sum(axis=2)
    return np.asarray(np.add.reduceat(power, first[:-1], axis=1), dtype=np.float32)


def expected_phon(
    before: np.ndarray, after: np.ndarray, mix_before: np.ndarray, mix_after: np.ndarray, shift_db: float
) -> float:
    """Return by about how many phon a layer is louder after a change, from `band_powers`.

    What the layer rises by counts, and by how much more than the rest where the rest is stronger: what is masked grows
    faster. Bands and moments count by their loudness. Good to about a phon: it chooses, it tells nothing.

    Parameters
    ----------
    before, after : ndarray
        the layer
    mix_before, mix_after : ndarray
        the mix with it
    shift_db : float
        by which all that was before is raised to be as loud as after
    """
    loud = np.maximum(before, after) ** _POWER
    whole = float(loud.sum())
    if whole <= 0.0:
        return 0.0
    rest_before, rest_after = (_rest(*pair) for pair in ((mix_before, before), (mix_after, after)))
    masked = rest_before / (rest_before + np.maximum(before, after) + _NOTHING)
    own_db, rest_db = _ratio_db(after, before), _ratio_db(rest_after, rest_before)
    return float((loud * (own_db + masked * (own_db - rest_db))).sum() / whole) - shift_db


def _rest(mix: np.ndarray, own: np.ndarray) -> np.ndarray:
    """Return the power of the rest; what cancels leaves at least a little."""
    return np.asarray(np.maximum(mix - own, 0.01 * mix) + np.float32(_NOTHING))


def _ratio_db(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    floor = 1e-6 * float(max(one.max(initial=0.0), other.max(initial=0.0))) + _NOTHING
    return np.asarray(10.0 * np.log10((one + floor) / (other + floor)))


@functools.cache
def _layout(rate_hz: int) -> tuple[int, np.ndarray]:
    """Return the frames of a transform, and the first bin of each band and the end of the last."""
    size = max(64, 2 * round(_FRAMES * rate_hz / 96000))
    edges = hz_from_cam(np.arange(1.75, 39.0, _CAM)) * size / rate_hz
    first = np.unique(np.clip(np.rint(edges).astype(int), 1, size // 2))
    return size, first
