# SPDX-License-Identifier: Apache-2.0
"""By how many dB a layer must rise to be heard as loud as it is alone, from few faders.

The loudness of a sketched layer is worked out once at each of some faders, and kept for every stretch of the song; what
lies between two faders is interpolated by cubic pieces that rise where the points do (Fritsch and Butland 1984): over
the logarithm of loudness the dB are a smooth curve, and seven faders are within 0.05 dB. Stretches are added up by the
time for which the layer sounds.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from mixwright.hearing.fader import Sketch, loudness
from mixwright.jobs.progress import Cancel

#: The faders, in dB above that of the mix.
GAINS_DB = (0.0, 4.0, 9.0, 15.0, 22.0, 32.0, 40.0)
_NOTHING = 1e-9


def rise_curve(sketch: Sketch, cancel: Cancel | None = None) -> np.ndarray:
    """Return how loud a layer is alone, and in the mix at each fader.

    Parameters
    ----------
    sketch : Sketch
    cancel : Cancel, optional
        looked at before each fader

    Returns
    -------
    ndarray, float32, (1 + len(GAINS_DB), 2)
        sone, strict and cued: first alone, the same for both; then at each fader; NaN at faders that are higher than
        any that is needed
    """
    found = np.full((1 + len(GAINS_DB), 2), np.nan, dtype=np.float32)
    if not len(sketch):
        found[:] = 0.0
        return found
    for k, gain_db in enumerate(GAINS_DB):
        if cancel is not None:
            cancel.check()
        heard = sketch.mean(loudness(sketch.raised(gain_db), alone=k == 0).astype(float))
        if k == 0:
            found[0] = heard[0]
        found[1 + k] = heard[1:]
        if np.all(found[1 + k] >= found[0]):
            break
    return found


def rises_db(curves: Sequence[np.ndarray], seconds: Sequence[float]) -> np.ndarray:
    """Return by how many dB a layer must rise over some stretches of the song.

    Parameters
    ----------
    curves : sequence of arrays
        from `rise_curve`
    seconds : sequence of float
        for how long it sounds in each

    Returns
    -------
    ndarray, float64, (2,)
        strict and cued; 0 where it is heard as loud already, inf where no fader of GAINS_DB is enough, NaN where it is
        silent
    """
    weights = np.array(seconds, dtype=np.float64)
    whole = np.array([_carried_on(curve) for curve in curves]).reshape(len(curves), 1 + len(GAINS_DB), 2)
    mean = np.tensordot(weights / max(float(weights.sum()), _NOTHING), whole, axes=1)
    if mean[0, 0] <= _NOTHING:
        return np.full(2, np.nan)
    faders = (fader_db(float(mean[0, k]), mean[1:, k]) for k in range(2))
    return np.array([np.inf if fader is None else fader for fader in faders])


def fader_db(wanted: float, found: np.ndarray) -> float | None:
    """Return at which fader something is as loud as wanted; 0 where it is already, None where no fader is enough.

    Parameters
    ----------
    wanted : float
        sone
    found : ndarray
        sone at the first faders of GAINS_DB; those beyond the first that is enough do not matter
    """
    from scipy.interpolate import PchipInterpolator  # slow to load

    enough = np.flatnonzero(found >= wanted)
    if wanted <= _NOTHING or (len(enough) and enough[0] == 0):
        return 0.0
    if not len(enough):
        return None
    least = np.maximum.accumulate(np.log(np.maximum(found[: enough[0] + 1], _NOTHING)))
    rising = least + 1e-9 * np.arange(len(least))  # what does not rise would not be a curve
    between = PchipInterpolator(rising, GAINS_DB[: len(rising)])(np.log(wanted))
    return float(np.clip(between, GAINS_DB[enough[0] - 1], GAINS_DB[enough[0]]))


def _carried_on(curve: np.ndarray) -> np.ndarray:
    """Return a curve that goes on beyond its last fader as it did."""
    out = curve.astype(np.float64)
    unknown = np.flatnonzero(np.isnan(out[:, 0]))
    if len(unknown):
        last = int(unknown[0]) - 1
        # Loudness is close to a power of power: about a factor of two for 10 dB.
        further_db = np.array(GAINS_DB)[last:] - GAINS_DB[last - 1]
        out[unknown] = out[last] * 2.0 ** (further_db / 10.0)[:, None]
    return out
