# SPDX-License-Identifier: Apache-2.0
"""What placing, narrowing and feeding a send less do to the power at both ears, in dB, with derivatives."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from mixwright.planning.filter_gains import DB, Gain

_LEAST = 1e-20
#: What stands wholly on one side is taken to be this far down on the other: 60 dB.
_FAR_SIDE = 1e-6


def placed(names: Sequence[str], was: Sequence[float], now: Sequence[float], law: float, own: np.ndarray) -> Gain:
    """Return what moving channels does to a layer at each ear, each ear hearing its own side.

    Parameters
    ----------
    names : sequence of str
        the settings that say where: ``pan`` (mono), or ``left`` and ``right`` (stereo)
    was, now : sequence of float
        where each channel stood and stands, -1 to 1
    law : float
        nominal centre attenuation over 3 dB, as `native.place.pan_gains`
    own : array (2, frames, PLACES)
        excitation by the layer as it stands; its channels count as uncorrelated
    """
    before, _ = _powers(was, law)
    after, slopes = _powers(now, law)
    channels = _channels(before, own)
    heard_before, heard = (np.maximum(np.tensordot(one, channels, 1), _LEAST) for one in (before, after))
    moved = {name: DB * slopes[:, k, None, None] * channels[k] / heard for k, name in enumerate(names)}
    return Gain(DB * np.log(heard / heard_before), moved)


def narrowed(width: float, correlation: float, own: np.ndarray) -> Gain:
    """Return what a layer loses at each ear with a side signal `width` times what it was.

    `correlation`: of its two sides, -1 to 1; `own`: as of :func:`placed`.
    """
    same, other = 0.5 * (1.0 + width), 0.5 * (1.0 - width)
    power = np.maximum(own.astype(np.float64), _LEAST)
    far = power[::-1]
    common = correlation * np.sqrt(power * far)
    heard = np.maximum(same * same * power + other * other * far + 2.0 * same * other * common, _FAR_SIDE * power)
    # d(same)/d(width) = 1/2 = -d(other)/d(width)
    slope = same * power - other * far + (other - same) * common
    return Gain(DB * np.log(heard / power), {"width": DB * slope / heard})


def fed(gain_db: float, feeds: Sequence[tuple[float, np.ndarray]], target: int) -> Gain:
    """Return what a return loses where one of those who feed it is sent less.

    Parameters
    ----------
    gain_db : float
        by how much more the target feeds it
    feeds : sequence of pairs
        of each who feeds it the gain of its send in dB, and the excitation by it (2, frames, PLACES)
    target : int
        which of them is meant
    """
    powers = np.array([10.0 ** (db / 10.0) * own.sum(axis=(0, 1), dtype=np.float64) for db, own in feeds])
    share = powers[target] / np.maximum(powers.sum(axis=0), _LEAST)
    more = share * 10.0 ** (gain_db / 10.0)
    return Gain(DB * np.log1p(more - share), {"gain_db": more / (1.0 + more - share)})


def even(gain_db: float) -> Gain:
    """Return a gain of everything."""
    return Gain(np.array(gain_db), {"gain_db": np.array(1.0)})


def _powers(positions: Sequence[float], law: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the power of each channel at each ear, (2, channels), and its derivatives by the channel's position."""
    angle = (np.asarray(positions, dtype=np.float64) + 1.0) * (math.pi / 4.0)
    gain = np.stack([np.cos(angle), np.sin(angle)])
    turn = np.stack([-np.sin(angle), np.cos(angle)]) * (math.pi / 4.0)
    least = math.sqrt(_FAR_SIDE)
    power = np.maximum(gain, least) ** (2.0 * law)
    return power, np.where(gain > least, 2.0 * law * power / np.maximum(gain, least) * turn, 0.0)


def _channels(before: np.ndarray, own: np.ndarray) -> np.ndarray:
    """Return the power of each channel, (channels, frames, PLACES), of which both ears hear what they do."""
    both = own.astype(np.float64)
    if before.shape[1] == 1:
        return np.asarray(both.sum(axis=0) / before.sum())[None]
    if abs(np.linalg.det(before)) < 0.01:  # both in one place: nothing tells them apart
        return np.repeat(both.sum(axis=0)[None] / before.sum(), 2, axis=0)
    return np.asarray(np.maximum(np.tensordot(np.linalg.inv(before), both, 1), 0.0))
