# SPDX-License-Identifier: Apache-2.0
"""Excerpts to listen to beside each other: equally loud, whole and in three bands."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from mixwright.meter.measure import measure

#: Soft enough to begin with, and for nearly all songs below any peak; common practice, no source.
LOUDNESS_LUFS = -26.0
LONGEST_S = 10.0
#: Where the bands meet, and how wide the change from one to the next is, in octaves.
EDGES_HZ = (200.0, 4000.0)
_CHANGE_OCTAVES = 1.0
BANDS = ("whole", "low", "middle", "top")
_FADE_S = 0.02
_LARGEST = 0.89


def excerpt_span(start_s: float, end_s: float) -> tuple[float, float]:
    """Return the middle of a section, at most ten seconds of it."""
    spare = max(0.0, end_s - start_s - LONGEST_S) / 2.0
    return start_s + spare, end_s - spare


def in_bands(audio: npt.NDArray[np.floating], rate_hz: int) -> dict[str, npt.NDArray[np.float32]]:
    """Return an excerpt, faded in and out, whole and in bands that add up to it, all at their own level.

    Parameters
    ----------
    audio : (frames, 2) array
    """
    from scipy.fft import irfft, next_fast_len, rfft

    fade = min(round(_FADE_S * rate_hz), len(audio) // 2)
    shape = np.ones(len(audio))
    shape[:fade] = np.sin(0.5 * np.pi * np.arange(fade) / max(1, fade)) ** 2
    shape[len(audio) - fade :] = shape[:fade][::-1]
    whole = np.asarray(audio * shape[:, None], dtype=np.float64)
    length = next_fast_len(2 * len(whole), real=True)
    spectrum = rfft(whole, length, axis=0)
    hz = np.asarray(np.arange(len(spectrum)) * (rate_hz / length), dtype=np.float64)
    below = [_below(hz, edge) for edge in EDGES_HZ]
    parts = {"low": below[0], "middle": below[1] - below[0], "top": 1.0 - below[1]}
    found = {name: irfft(spectrum * gain[:, None], length, axis=0)[: len(whole)] for name, gain in parts.items()}
    return {"whole": whole.astype(np.float32), **{name: part.astype(np.float32) for name, part in found.items()}}


def equally_loud(
    excerpts: Sequence[dict[str, npt.NDArray[np.float32]]], rates_hz: Sequence[int]
) -> list[dict[str, npt.NDArray[np.float32]]]:
    """Return excerpts brought to one loudness by the whole of each; bands keep their level in it.

    Where a peak would not fit, all of them are softer by as much. A silent one stays as it is.
    """
    gains = []
    for one, rate_hz in zip(excerpts, rates_hz, strict=True):
        loudness = measure(one["whole"], rate_hz, spectrum=False).integrated_lufs
        gains.append(1.0 if loudness is None else 10.0 ** ((LOUDNESS_LUFS - loudness) / 20.0))
    largest = max(
        (gain * float(np.abs(part).max(initial=0.0)) for gain, one in zip(gains, excerpts, strict=True)
         for part in one.values()),
        default=0.0,
    )  # fmt: skip
    common = min(1.0, _LARGEST / largest) if largest > 0.0 else 1.0
    return [
        {band: part * np.float32(gain * common) for band, part in one.items()}
        for gain, one in zip(gains, excerpts, strict=True)
    ]


def _below(hz: npt.NDArray[np.float64], edge_hz: float) -> npt.NDArray[np.float64]:
    octaves = np.log2(np.maximum(hz, 1.0) / edge_hz) / _CHANGE_OCTAVES
    return np.asarray(0.5 - 0.5 * np.sin(np.pi * np.clip(octaves, -0.5, 0.5)))
