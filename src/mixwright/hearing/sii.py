# SPDX-License-Identifier: Apache-2.0
"""Speech intelligibility index by ANSI S3.5-1997, one-third-octave procedure.

Tables and steps second-hand: read in two independent implementations of the standard that agree with each other (but
for one value of loud speech, 43.30 against 43.40 dB at 400 Hz), not in the standard. It was made for speech in steady
noise; nothing is known here of how well it tells sung words.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

# fmt: off
#: The bands' nominal middles, and what each means for speech: the importances add up to 1.
BAND_HZ = (
    160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0, 800.0, 1000.0, 1250.0, 1600.0, 2000.0, 2500.0, 3150.0, 4000.0,
    5000.0, 6300.0, 8000.0,
)
IMPORTANCE = (
    0.0083, 0.0095, 0.0150, 0.0289, 0.0440, 0.0578, 0.0653, 0.0711, 0.0818, 0.0844, 0.0882, 0.0898, 0.0868, 0.0844,
    0.0771, 0.0527, 0.0364, 0.0185,
)
#: Spectrum levels of speech by vocal effort, in dB SPL per Hz, 1 m from the mouth.
SPEECH_DB = {
    "normal": (
        32.41, 34.48, 34.75, 33.98, 34.59, 34.27, 32.06, 28.30, 25.01, 23.00, 20.15, 17.32, 13.18, 11.55, 9.33, 5.31,
        2.59, 1.13,
    ),
    "raised": (
        33.81, 33.92, 38.98, 38.57, 39.11, 40.15, 38.78, 36.37, 33.86, 31.89, 28.58, 25.32, 22.35, 20.15, 16.78, 11.47,
        7.67, 5.07,
    ),
    "loud": (
        35.29, 37.76, 41.55, 43.78, 43.30, 44.85, 45.55, 44.05, 42.16, 40.53, 37.70, 34.39, 30.98, 28.21, 25.41, 18.35,
        13.87, 11.39,
    ),
    "shout": (
        30.77, 36.65, 42.50, 46.51, 47.40, 49.24, 51.21, 51.44, 51.31, 49.63, 47.65, 44.32, 40.80, 38.13, 34.41, 28.24,
        23.45, 20.72,
    ),
}
#: Spectrum level of a noise inside the ear that would set its threshold.
INTERNAL_NOISE_DB = (
    0.6, -1.7, -3.9, -6.1, -8.2, -9.7, -10.8, -11.9, -12.5, -13.5, -15.4, -17.7, -21.2, -24.2, -25.9, -23.6, -15.8,
    -7.1,
)
#: Level of a band minus its spectrum level.
BANDWIDTH_DB = (
    15.65, 16.65, 17.65, 18.65, 19.65, 20.65, 21.65, 22.65, 23.65, 24.65, 25.65, 26.65, 27.65, 28.65, 29.65, 30.65,
    31.65, 32.65,
)
# fmt: on


def disturbance_db(speech_db: npt.ArrayLike, noise_db: npt.ArrayLike, threshold_db: npt.ArrayLike = 0.0) -> np.ndarray:
    """Return the spectrum level of all that covers speech in each band: noise, its spread upwards, speech itself, ear.

    Parameters
    ----------
    speech_db, noise_db : array_like, (..., 18)
        spectrum levels in dB SPL per Hz in the bands of BAND_HZ; -inf where there is nothing
    threshold_db : array_like, (18,) or scalar
        hearing threshold, 0 for normal ears
    """
    return np.asarray(np.maximum(spread_db(speech_db, noise_db), np.add(INTERNAL_NOISE_DB, threshold_db)))


def spread_db(speech_db: npt.ArrayLike, noise_db: npt.ArrayLike) -> np.ndarray:
    """Return the spectrum level of the noise together with what spreads upwards from the bands below; as above."""
    noise = np.asarray(noise_db, dtype=np.float64)
    # Speech covers itself 24 dB below its level.
    masker = np.maximum(noise, np.asarray(speech_db, dtype=np.float64) - 24.0)
    hz = np.array(BAND_HZ)
    slope = -80.0 + 0.6 * (masker + 10.0 * np.log10(hz) - 6.353)
    # Silence has a slope of -inf and would spread as much as nothing: anything finite does.
    masker, slope = np.maximum(masker, -300.0), np.maximum(slope, -300.0)
    octaves = 3.32 * np.log10(np.maximum(0.89 * hz[:, None] / hz, 1.0))  # [to, from]
    from_below = 10.0 ** (0.1 * (masker[..., None, :] + slope[..., None, :] * octaves))
    power = 10.0 ** (0.1 * noise) + np.sum(np.tril(from_below, -1), axis=-1)
    spread = 10.0 * np.log10(np.maximum(power, 1e-30))
    spread[..., 0] = masker[..., 0]
    return np.asarray(spread)


def audibility(
    speech_db: npt.ArrayLike, disturbance_db: npt.ArrayLike, normal_db: npt.ArrayLike = SPEECH_DB["normal"]
) -> np.ndarray:
    """Return how much of speech is audible in each band, 0 to 1: what stands between 15 dB below its level and above.

    Parameters
    ----------
    speech_db, disturbance_db : array_like, (..., bands)
        spectrum levels in dB SPL per Hz
    normal_db : array_like, (bands,)
        that of normal speech: much louder speech tells less
    """
    speech = np.maximum(np.asarray(speech_db, dtype=np.float64), -300.0)
    undistorted = np.clip(1.0 - (speech - np.asarray(normal_db) - 10.0) / 160.0, 0.0, 1.0)
    above = np.clip((speech - np.asarray(disturbance_db) + 15.0) / 30.0, 0.0, 1.0)
    return np.asarray(undistorted * above)


def intelligibility_index(
    speech_db: npt.ArrayLike, noise_db: npt.ArrayLike, threshold_db: npt.ArrayLike = 0.0
) -> np.ndarray:
    """Return the index, 0 to 1, ``(...)``; parameters as in `disturbance_db`."""
    heard = audibility(speech_db, disturbance_db(speech_db, noise_db, threshold_db))
    return np.asarray(heard @ np.array(IMPORTANCE))
