# SPDX-License-Identifier: Apache-2.0
"""What keyed moves and compression do at the moments of a section, with attack and release idealised."""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping, Sequence

import numpy as np

from mixwright.hearing.ear_filter import transmission_db
from mixwright.hearing.place_loudness import place_hz
from mixwright.planning.filter_gains import DB, Gain, lowered, lowered_beyond

#: How far below its loudest a key, and a band of it, still sounds: inserts have 14 and 24 dB below a recent maximum, go
#: on to 4 dB less (`engine.processors.keyed`), and a dip has then not yet let go.
_NEAR_DB, _DIP_NEAR_DB, _DIP_BAND_NEAR_DB = 18.0, 22.0, 32.0
#: A dip follows what rises in its way at once and lets go slowly, so it is as deep as if all stood by so much further
#: over the key than at any one moment; and what fluctuates meets a limit now and then, which rounds it. Fitted to
#: rendered dips between layers of the demo song (docs/plan.md). A pace holds on from HELD_MS.
_BEFORE_DB, _BEFORE_HELD_DB, _HELD_MS = 3.0, 4.0, 200.0
_ROUND_DB = 1.5
#: The knee of a compressor; and by how much what it follows, peaks that it lets go of slowly, stands over mean power:
#: 7.4 to 11.5 dB of groups of the demo song (docs/plan.md).
_KNEE_DB, _FOLLOWS_DB = 6.0, 9.4
#: A hit is told by what stands out of its ringing, above this; of the depth it has so much while that sounds. Roughly
#: so, by kicks and snares of an invented song (docs/plan.md).
_STRUCK_HZ, _HIT_NEAR_DB, _HIT_PART = 200.0, 14.0, 0.7
_LEAST = 1e-12


def dip(settings: Mapping[str, float], victim: np.ndarray, key: np.ndarray) -> Gain:
    """Return what a dip of form *excess* leaves.

    Parameters
    ----------
    settings : mapping
        ``hz``, ``q``, ``most_db``, ``margin_db`` (of levels as heard in the mix), ``hold_ms``
    victim, key : arrays (2, frames, PLACES)
        excitation by all that it stands on, and by its key

    Returns
    -------
    Gain
        (1, frames, PLACES), by ``most_db`` and ``margin_db``: by how much the victim stands over the key in the band,
        plus the margin, at most `most_db`, while the key sounds
    """
    hz, q, most_db = settings["hz"], settings["q"], settings["most_db"]
    x = place_hz() / hz
    band = (x / q) ** 2 / ((1.0 - x * x) ** 2 + (x / q) ** 2)
    key_band = _power(key, band)
    held = settings.get("hold_ms", 0.0) >= _HELD_MS
    margin_db = settings["margin_db"] + (_BEFORE_HELD_DB if held else _BEFORE_DB)
    over_db = _db(_power(victim, band)) - _db(key_band) + margin_db
    sounds = _sounds(_power(key, _above_80_hz()), _DIP_NEAR_DB) & _sounds(key_band, _DIP_BAND_NEAR_DB)
    depth, by_over, by_most = _between_0_and(most_db, over_db)
    db, by_depth = lowered(hz, q, np.where(sounds, depth, 0.0), place_hz())
    by_depth *= sounds[:, None]
    slopes = {"most_db": by_depth * by_most[:, None], "margin_db": by_depth * by_over[:, None]}
    return Gain(db[None], {name: slope[None] for name, slope in slopes.items()})


def duck(settings: Mapping[str, float], key: np.ndarray) -> Gain:
    """Return what a duck leaves: ``depth_db`` less from ``low_hz`` to ``high_hz`` (0: open) while its key sounds.

    With ``by_hits`` at each hit of the key.
    """
    if settings.get("by_hits"):
        power = _power(key, (place_hz() > _STRUCK_HZ).astype(np.float64))
        sounds = _HIT_PART * _sounds(power, _HIT_NEAR_DB)
    else:
        sounds = _sounds(_power(key, np.ones(len(place_hz()))), _NEAR_DB).astype(np.float64)
    db, by_depth = lowered_beyond(settings["low_hz"], settings["high_hz"], settings["depth_db"] * sounds, place_hz())
    return Gain(db[None], {"depth_db": (by_depth * sounds[:, None])[None]})


def even_out(settings: Mapping[str, float], victim: np.ndarray, seconds: np.ndarray, level_db: float) -> Gain:
    """Return what a compressor leaves: ``1 - 1/ratio`` dB less for every dB over the threshold, and ``gain_db`` on all.

    Parameters
    ----------
    settings : mapping
        ``threshold_db``, ``ratio``, ``gain_db``
    victim : array (2, frames, PLACES)
        excitation by all that it stands on
    seconds : array (frames,)
        for how much of the time in which that sounds each moment stands
    level_db : float
        its mean power over that time where the compressor stands, dBFS
    """
    power = _power(victim, np.ones(len(place_hz())))
    whole = float(seconds.sum())
    mean = float(power @ seconds) / whole if whole > 0.0 else float(power.mean())
    over_db = _db(power) - DB * math.log(max(mean, _LEAST)) + level_db + _FOLLOWS_DB - settings["threshold_db"]
    above, by_over = _above_0(over_db, _KNEE_DB / 4.0)
    part, ratio = 1.0 - 1.0 / settings["ratio"], settings["ratio"]
    slopes = {"threshold_db": part * by_over, "ratio": -above / (ratio * ratio), "gain_db": np.ones(len(above))}
    db = settings["gain_db"] - part * above
    return Gain(db[None, :, None], {name: slope[None, :, None] for name, slope in slopes.items()})


def key_share(key: np.ndarray, seconds: np.ndarray) -> float:
    """Return for which part of the moments that stand for `seconds` (frames,) a key sounds."""
    sounds = _sounds(_power(key, _above_80_hz()), _NEAR_DB)
    return float(seconds @ sounds) / max(float(seconds.sum()), _LEAST)


def together(own: np.ndarray, rows: Sequence[int]) -> np.ndarray:
    """Return the excitation by several rows, as their powers add up, ``(2, frames, PLACES)``."""
    return np.asarray(own[rows[0]] if len(rows) == 1 else own[list(rows)].sum(axis=0))


@functools.cache
def _weights() -> np.ndarray:
    """Return what makes of excitation the power of the sound: less what ear and transmission add."""
    return np.asarray(10.0 ** (-transmission_db(place_hz()) / 10.0))


@functools.cache
def _above_80_hz() -> np.ndarray:
    """Return the power that a high-pass of 12 dB an octave at 80 Hz lets through."""
    return np.asarray(1.0 / (1.0 + (80.0 / place_hz()) ** 4))


def _power(excitation: np.ndarray, passes: np.ndarray) -> np.ndarray:
    """Return the power over both sides at each moment of what a filter lets through."""
    return np.asarray(excitation.sum(axis=0, dtype=np.float64) @ (passes * _weights()))


def _db(power: np.ndarray) -> np.ndarray:
    return np.asarray(DB * np.log(np.maximum(power, _LEAST)))


def _sounds(power: np.ndarray, near_db: float) -> np.ndarray:
    """Tell when a key sounds: less than so far below its loudest moment."""
    return np.asarray(power > power.max(initial=_LEAST) * 10.0 ** (-near_db / 10.0))


def _above_0(value: np.ndarray, rounded: float) -> tuple[np.ndarray, np.ndarray]:
    """Return a value where it lies above 0, else 0, rounded; and its derivative."""
    scaled = value / rounded
    return rounded * np.logaddexp(0.0, scaled), 0.5 * (1.0 + np.tanh(0.5 * scaled))


def _between_0_and(most: float, value: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return a value between 0 and a limit, rounded at both; its derivatives by the value and by the limit."""
    low, by_low = _above_0(value, _ROUND_DB)
    high, by_high = _above_0(value - most, _ROUND_DB)
    return low - high, by_low - by_high, by_high
