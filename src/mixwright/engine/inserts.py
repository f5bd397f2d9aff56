# SPDX-License-Identifier: Apache-2.0
"""Inserts of a strip as operations in the time of the song: heard in their sections, settings along their lanes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from mixwright.engine.lanes import FrameLane
from mixwright.engine.operation import Around, Operation, Stage
from mixwright.engine.processors.insert import Heard, along, made, movable, operations_of
from mixwright.engine.processors.keyed import paced
from mixwright.errors import SettingError, where
from mixwright.jobs.cache import Part
from mixwright.model.insert import Insert
from mixwright.model.keyed_inserts import Dip, Duck
from mixwright.model.loops import check_duck
from mixwright.model.setting_path import value_at, with_value
from mixwright.model.song import Song, targets_of
from mixwright.model.words import Role
from mixwright.native import chain as native
from mixwright.native.mathematics import ratio

I = TypeVar("I", bound=Insert)  # noqa: E741

#: How many values of a setting that moves are kept as coefficients.
_KEPT = 4096


@dataclass(frozen=True)
class Clock:
    """Where the frames of a chain lie in the song: frame 0, counted from reset, is song frame `first_frame`."""

    first_frame: int
    rate_hz: int

    def values(self, lane: FrameLane, strides: np.ndarray, late_frames: int) -> np.ndarray:
        """Return a lane at strides of a chain, where audio is `late_frames` behind the chain's input."""
        return lane.values(strides * native.STRIDE + (self.first_frame - late_frames))


def insert_operations(
    inserts: Sequence[Insert],
    clock: Clock,
    inside: Mapping[tuple[str, ...], FrameLane],
    lanes: Mapping[str, FrameLane],
    places: Sequence[str],
) -> tuple[tuple[Operation, ...], ...]:
    """Return the operations of the inserts of a strip, one after the other.

    Parameters
    ----------
    inserts : sequence of Insert
    clock : Clock
        of the chain that they are part of
    inside : mapping
        1 inside, 0 outside, for the sections that inserts name
    lanes : mapping
        of settings, by their path in the strip: ``inserts[1].threshold_db``
    places : sequence of str
        where each insert stands, for errors

    Raises
    ------
    SettingError
        for a setting that does not fit the rate, or cannot move as its lane says
    """
    found: list[tuple[Operation, ...]] = []
    late_frames = 0
    for k, insert in enumerate(inserts):
        own = {
            setting.removeprefix(f"inserts[{k}]."): lane
            for setting, lane in lanes.items()
            if setting.startswith(f"inserts[{k}].")
        }
        with where(places[k]):
            parts = _operations(insert, clock, inside.get(insert.sections), own, late_frames)
        late_frames += sum(operation.latency_frames for operation in parts)
        found.append(parts)
    return tuple(found)


def _operations(
    insert: Insert, clock: Clock, inside: FrameLane | None, lanes: Mapping[str, FrameLane], late_frames: int
) -> tuple[Operation, ...]:
    moving = {path: lane for path, lane in lanes.items() if path not in ("mix", "gain_db")}
    alone = made(insert, clock.rate_hz)
    if moving and insert.on:
        alone = _moved(insert, clock, moving, late_frames)
    after = late_frames + sum(operation.latency_frames for operation in alone)
    for path, lane in lanes.items():
        _check_range(insert, path, lane)

    def heard(lane: FrameLane | None, of: Callable[[np.ndarray], np.ndarray] = np.asarray) -> Heard | None:
        if lane is None:
            return None
        moving = lambda strides: of(clock.values(lane, strides, after))[:, np.newaxis]  # noqa: E731
        return Heard(moving, _identity([lane], clock, after))

    return operations_of(
        insert,
        clock.rate_hz,
        alone=alone,
        mix=heard(lanes.get("mix")),
        gain=heard(lanes.get("gain_db"), ratio),
        inside=heard(inside),
    )


def _moved(
    insert: Insert,
    clock: Clock,
    lanes: Mapping[str, FrameLane],
    late_frames: int,
) -> tuple[Operation, ...]:
    """Return the operations of a processor with coefficients that follow lanes of its settings."""
    operations = movable(insert, clock.rate_hz)
    stages = [_as_stage(operation, next(iter(lanes))) for operation in operations]
    kept: dict[tuple[float, ...], list[np.ndarray]] = {}

    def coefficients(values: tuple[float, ...]) -> list[np.ndarray]:
        if values not in kept:
            if len(kept) >= _KEPT:
                kept.clear()
            moved = insert
            for path, value in zip(lanes, values, strict=True):
                moved = with_setting(moved, path, value)
            others = [_as_stage(operation, next(iter(lanes))) for operation in movable(moved, clock.rate_hz)]
            if list(map(_shape, others)) != list(map(_shape, stages)):
                raise SettingError(
                    f"{' and '.join(lanes)} cannot move: latency or order would change with it",
                    hint="take its lane out, or use two inserts, each in its sections",
                )
            kept[values] = [stage.coefficients for stage in others]
        return kept[values]

    for values in _extremes(lanes):  # what cannot move is refused now, not in the middle of a mix
        coefficients(values)

    found: list[Operation] = []
    late = late_frames
    for k, stage in enumerate(stages):

        def moving(strides: np.ndarray, k: int = k, late: int = late) -> np.ndarray:
            values = np.stack([clock.values(lane, strides, late) for lane in lanes.values()], axis=1)
            quick = along(insert, clock.rate_hz, dict(zip(lanes, values.T, strict=True)))
            if quick is not None:
                return quick[k]
            return np.array([coefficients(tuple(row))[k] for row in values.tolist()])

        moves = tuple(lanes), _identity(list(lanes.values()), clock, late)
        found.append(_with_stage(operations[k], replace(stage, moving=moving, moves=moves)))
        late += stage.latency_frames
    return tuple(found)


def _extremes(lanes: Mapping[str, FrameLane]) -> list[tuple[float, ...]]:
    """Return each value that a lane names beside the first of the others."""
    return [
        tuple(value if one == path else other.points[0][1] for one, other in lanes.items())
        for path, lane in lanes.items()
        for value in {value for _, value in lane.points}
    ]


def _as_stage(operation: Operation, path: str) -> Stage:
    stage = operation.stage if isinstance(operation, Around) else operation
    if not isinstance(stage, Stage) or not 0 < len(stage.coefficients) <= native.MOST_MOVING:
        raise SettingError(f"{path} of this processor cannot move", hint="take its lane out")
    return stage


def _with_stage(operation: Operation, stage: Stage) -> Operation:
    return operation.moved(stage) if isinstance(operation, Around) else stage


def _shape(stage: Stage) -> tuple[object, ...]:
    size = len(stage.coefficients)
    return stage.kind, stage.count, size, stage.states, stage.latency_frames, stage.key, stage.gains, stage.on


def _identity(lanes: Sequence[FrameLane], clock: Clock, late_frames: int) -> Part:
    return tuple(lane.points for lane in lanes), clock.first_frame - late_frames


def _check_range(insert: Insert, path: str, lane: FrameLane) -> None:
    for _, value in lane.points:
        with_setting(insert, path, value)


def fitted(song: Song, kind: str, owner: str, insert: Insert) -> Insert:
    """Return an insert with what it leaves to the layer that it stands on.

    Raises
    ------
    SettingError
        for a duck on something that carries what ducks it
    """
    if isinstance(insert, Duck) and insert.key:
        check_duck(song, owner, insert.key)
    return paced(insert, _role(song, kind, owner)) if isinstance(insert, Dip) else insert


def _role(song: Song, kind: str, owner: str) -> Role:
    """Return the role of a layer; a group has that of its tracks where all have one."""
    if kind == "send":
        return "return"
    roles = {track.role for track in targets_of(song, owner)}
    return roles.pop() if len(roles) == 1 else "unknown"


def with_setting(insert: I, path: str, value: float) -> I:
    """Return an insert with the number that a path names, like ``bands[2].gain_db``, set to a value.

    Raises
    ------
    SettingError
        where there is no such number, or the value is out of its range
    """
    if not isinstance(value_at(insert, path), float):
        raise SettingError(f"{path} is no number that can move")
    try:
        return with_value(insert, path, value)
    except SettingError as error:
        raise SettingError(error.message, hint="correct its lane") from error
