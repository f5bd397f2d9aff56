# SPDX-License-Identifier: Apache-2.0
"""Settings of a record by their path in it, such as ``inserts[1].bands[0].hz``."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from typing import Any, TypeVar

import msgspec

from mixwright.errors import SettingError, printable
from mixwright.model.record import Record

R = TypeVar("R", bound=Record)

_STEP = re.compile(r"\.?([a-z_]\w*)|\[(\d{1,3})\]")
_LIMIT = re.compile(r"([<>]=) ([-+.\de]+)")
_LIMITS = {">=": "at least", "<=": "at most"}


def steps_of(path: str) -> list[str | int]:
    """Return the steps of a path.

    Raises
    ------
    SettingError
        where it is no path
    """
    steps = [int(step[2]) if step[2] else step[1] for step in _STEP.finditer(path)]
    if not steps or "".join(match[0] for match in _STEP.finditer(path)) != path:
        raise SettingError(f"{printable(path)!r} names no setting")
    return steps


def value_at(record: Record, path: str) -> Any:
    """Return the plain value at a path.

    Raises
    ------
    SettingError
        where there is none
    """
    *way, last = steps_of(path)
    return _step(_place(_plain(record), way, path), last, path)


def with_value(record: R, path: str, value: float | bool | str) -> R:
    """Return the record with another value at a path.

    Raises
    ------
    SettingError
        where there is no such setting, or the value does not fit
    """
    data = _plain(record)
    *way, last = steps_of(path)
    place = _place(data, way, path)
    old = _step(place, last, path)
    whole = type(old) is int and isinstance(value, float) and value.is_integer()
    place[last] = int(value) if whole else value
    try:
        return msgspec.convert(data, type(record))
    except msgspec.ValidationError as error:
        limit = _LIMIT.search(str(error))
        what = f": {_LIMITS[limit[1]]} {float(limit[2]):g} is allowed" if limit else ", which does not fit"
        shown = printable(value) if isinstance(value, str) else str(value).lower()
        shown = f"{value:g}" if isinstance(value, float) else shown
        raise SettingError(f"{path} is {shown}{what}") from error


def _plain(record: Record) -> Any:
    """Return a record as tables and lists that can be changed."""
    return msgspec.json.decode(msgspec.json.encode(record))


def _place(place: Any, way: list[str | int], path: str) -> Any:
    for step in way:
        place = _step(place, step, path)
    return place


def _step(place: Any, step: str | int, path: str) -> Any:
    if isinstance(place, Mapping) and isinstance(step, str):
        if step in place:
            return place[step]
        near = difflib.get_close_matches(step, place, n=1, cutoff=0.5)
        hint = f"did you mean {near[0]}?" if near else f"known: {', '.join(place)}"
        raise SettingError(f"it has no setting {path}", hint=hint)
    if isinstance(place, list) and isinstance(step, int) and step < len(place):
        return place[step]
    raise SettingError(f"it has no setting {path}")
