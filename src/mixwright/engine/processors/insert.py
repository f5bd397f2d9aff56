# SPDX-License-Identifier: Apache-2.0
"""What all inserts have in common: what they make blended with what goes in, and the gain after it."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from mixwright.engine.operation import Blended, Delay, Gain, Moving, Operation, Stage
from mixwright.jobs.cache import Part
from mixwright.model.insert import Insert, WorksOn
from mixwright.native import chain as native
from mixwright.native.mathematics import ratio

_ON: dict[WorksOn, int] = {
    "both": native.BOTH,
    "middle": native.MIDDLE,
    "side": native.SIDE,
    "left": native.LEFT,
    "right": native.RIGHT,
}


@functools.singledispatch
def made(insert: Insert, rate_hz: int) -> tuple[Operation, ...]:
    """Return the operations of a processor alone; each family registers those of its inserts.

    Raises
    ------
    SettingError
        for a setting that does not fit the rate
    """
    raise NotImplementedError(f"{type(insert).__name__} at {rate_hz} Hz")


@functools.singledispatch
def movable(insert: Insert, rate_hz: int) -> tuple[Operation, ...]:
    """Return the operations of a processor alone in a form that stays as it is when its numbers move.

    As `made`, but for families in which what is needed depends on the numbers.

    Raises
    ------
    SettingError
        for a setting that does not fit the rate, or where it cannot move
    """
    return made(insert, rate_hz)


@functools.singledispatch
def along(insert: Insert, rate_hz: int, values: Mapping[str, np.ndarray]) -> list[np.ndarray] | None:  # noqa: ARG001
    """Return the coefficients ``(n, coefficients)`` of each operation of `movable`, at n values of each setting named.

    None where a family has no quicker way than to make it n times.
    """
    return None


class Heard(NamedTuple):
    """How a value moves over the strides of a chain; `moves` stands for it in the identity."""

    moving: Moving
    moves: Part


def operations_of(
    insert: Insert,
    rate_hz: int,
    *,
    alone: tuple[Operation, ...] | None = None,
    mix: Heard | None = None,
    gain: Heard | None = None,
    inside: Heard | None = None,
) -> tuple[Operation, ...]:
    """Return the operations of an insert: what it does, mixed with what goes in, its gain, and where both are heard.

    Parameters
    ----------
    insert : Insert
    rate_hz : int
    alone : tuple of Operation, optional
        what it does, where that moves; otherwise as `made`
    mix : Heard, optional
        its `mix`, as that moves
    gain : Heard, optional
        the factor after it, as that moves
    inside : Heard, optional
        1 in the sections that it is heard in, 0 outside

    Raises
    ------
    SettingError
        for a setting that does not fit the rate
    """
    operations = made(insert, rate_hz) if alone is None else alone
    if not insert.on:
        late = sum(operation.latency_frames for operation in operations)
        return (Delay(late, latency_frames=late),) if late else ()
    if insert.mix != 1.0 or mix is not None:
        operations = (Blended(operations, insert.mix, *(mix or ())),)
    if gain is not None:
        operations = (*operations, Stage(native.GAIN, np.ones(1), (0, 0), moving=gain.moving, moves=gain.moves))
    elif insert.gain_db != 0.0:
        operations = (*operations, Gain(float(ratio(insert.gain_db))))
    return operations if inside is None else (Blended(operations, 1.0, *inside),)


def on(insert: Insert) -> int:
    """Return what an insert works on, as the C core knows it."""
    return _ON[insert.works_on]
