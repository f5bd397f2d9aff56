# SPDX-License-Identifier: Apache-2.0
"""By how many dB a layer must rise to be heard as loud as it is alone, from few faders.

The loudness of a sketched layer is worked out once at each of some faders, and kept for every stretch of the song; what
lies between two faders is interpolated. Stretches are added up by the time for which the layer sounds.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from mixwright.hearing.fader import Sketch, loudness
from mixwright.jobs.progress import Cancel

#: The faders, in dB above that of the mix.
GAINS_DB = (0.0, 1.5, 3.0, 5.0, 7.0, 10.0, 13.0, 17.0, 21.0, 26.0, 32.0, 40.0)
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
    missing = np.log(np.maximum(mean[0], _NOTHING)) - np.log(np.maximum(mean[1:], _NOTHING))
    reached = missing <= 0.0
    at = reached.argmax(axis=0)
    before = np.maximum(at - 1, 0)
    short, over = (np.take_along_axis(missing, k[None], axis=0)[0] for k in (before, at))
    gains = np.array(GAINS_DB)
    between = gains[before] + (gains[at] - gains[before]) * short / np.maximum(short - over, _NOTHING)
    rises = np.where(reached.any(axis=0), np.where(at == 0, 0.0, between), np.inf)
    return np.where(mean[0] > _NOTHING, rises, np.nan)


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
