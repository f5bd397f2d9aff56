# SPDX-License-Identifier: Apache-2.0
"""Gains that bring layers inside their intervals re the sum they make: one fixed point for all at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixwright.meter.loudness import lufs_from_power
from mixwright.planning.sound import power_of

Array = npt.NDArray[np.float64]

#: A trim of a raw track beyond this is a fault of the file, not of the balance.
LARGEST_TRIM_DB = 24.0
#: So far outside its interval a member is left: the edges are no sharper.
SMALLEST_DB = 0.5
_SEARCH_DB = 80.0
_PASSES = 6


@dataclass(frozen=True, eq=False)
class Wanted:
    """What is known and wanted of every member, one entry each.

    Attributes
    ----------
    loudness : array, LUFS
        Gated loudness while it sounds.
    energy : array
        Mean K-weighted power over the blocks in which the sum is judged.
    centre, spread : array, LU re the sum
        Interval that engineers differ within: centre +- spread.
    free : array of bool
        May be moved.
    exact : array of bool
        When it must move, goes to the centre itself.
    """

    loudness: Array
    energy: Array
    centre: Array
    spread: Array
    free: npt.NDArray[np.bool_]
    exact: npt.NDArray[np.bool_]


def settle(wanted: Wanted) -> Array:
    """Return the gain of every member in dB, without limit; 0 for those left alone.

    Powers add (:func:`level_of_sum`). The level of the sum that the intervals refer to depends on the gains
    themselves: with every member clamped to its interval, the sum's level rises by less than the level assumed, so one
    assumed level agrees with itself; found by bisection. Members outside their interval then go to :func:`goal`.
    What turns out not to be needed is taken back. Where every member would move, the shift that needs the smallest
    moves is taken out of all: only relative levels matter.
    """
    if not wanted.free.any():
        return np.zeros(len(wanted.loudness))
    level = _consistent_level(wanted)
    moved = np.zeros(len(wanted.loudness), dtype=bool)
    gains = np.zeros(len(wanted.loudness))
    for _ in range(_PASSES):  # the goals shift the sum a little, which may leave one more member outside
        moved |= wanted.free & (np.abs(_clamped(wanted, level)) > SMALLEST_DB)
        gains = with_exact(wanted, np.where(moved, goal(wanted, level), 0.0))
        level = level_of_sum(wanted.energy, gains)
    gains = _without_needless(wanted, gains)
    if (gains != 0.0).all():
        gains -= np.median(gains)
    return gains


def level_of_sum(energy: Array, gains_db: Array) -> float:
    """Return the loudness of a sum whose members are uncorrelated: powers add, in LUFS."""
    return float(lufs_from_power(np.asarray(np.sum(energy * 10.0 ** (gains_db / 10.0)))))


def goal(wanted: Wanted, level: float) -> Array:
    """Return the gain that takes each member to its goal.

    The goal lies half a spread from the centre on the side the member comes from, and nearer to the centre the
    farther out it lies: at two spreads or more its level as received says nothing, and the goal is the centre.
    """
    out = (wanted.loudness - level - wanted.centre) / wanted.spread
    keep = np.where(wanted.exact, 0.0, 0.5 * np.clip(2.0 - np.abs(out), 0.0, 1.0))
    return np.asarray(level + wanted.centre + np.sign(out) * keep * wanted.spread - wanted.loudness)


def with_exact(wanted: Wanted, gains: Array) -> Array:
    """Return the gains with the moved exact members (leads) at their centre, given what the others settled at."""
    exact = wanted.exact & (gains != 0.0)
    if not exact.any():
        return gains
    power = wanted.energy * 10.0 ** (gains / 10.0)
    rest = float(power[~exact].sum())
    if rest <= 0.0:
        return gains
    share = 10.0 ** (wanted.centre[exact] / 10.0)
    # A member's loudness is gated over its own time, its energy over the time judged: their ratio turns a share
    # of the sum's loudness into a share of its energy.
    time = wanted.energy[exact] / power_of(wanted.loudness[exact])
    total = rest / max(1e-3, 1.0 - float((share * time).sum()))
    level = float(lufs_from_power(np.asarray(total)))
    new = gains.copy()
    new[exact] = level + wanted.centre[exact] - wanted.loudness[exact]
    return new


def _without_needless(wanted: Wanted, gains: Array) -> Array:
    """Take back, smallest first, every gain without which all that are left alone lie inside their intervals."""
    found, order = gains.copy(), np.argsort(np.abs(gains), kind="stable")
    taken_back = True
    while taken_back:  # each that is taken back may make others needless, smaller ones too
        taken_back = False
        for index in order:
            if found[index] == 0.0 or wanted.exact[index]:
                continue
            tried = found.copy()
            tried[index] = 0.0
            tried = with_exact(wanted, tried)
            away = wanted.loudness + tried - level_of_sum(wanted.energy, tried) - wanted.centre
            left = wanted.free & (tried == 0.0)
            if np.all(np.abs(away[left]) <= wanted.spread[left] + SMALLEST_DB):
                found, taken_back = tried, True
    return found


def _clamped(wanted: Wanted, level: float) -> Array:
    away = wanted.loudness - level - wanted.centre
    return np.where(wanted.free, np.clip(away, -wanted.spread, wanted.spread) - away, 0.0)


def _consistent_level(wanted: Wanted) -> float:
    low = float(wanted.loudness.min()) - _SEARCH_DB
    high = float(wanted.loudness.max()) + _SEARCH_DB
    for _ in range(60):
        middle = 0.5 * (low + high)
        if level_of_sum(wanted.energy, _clamped(wanted, middle)) > middle:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
