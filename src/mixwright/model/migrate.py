# SPDX-License-Identifier: Apache-2.0
"""Bring what an older version wrote to the schema of today."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from mixwright.errors import SettingError
from mixwright.model.song import SCHEMA

Migration = Callable[[dict[str, Any]], dict[str, Any]]


def _without_printed_with(song: dict[str, Any]) -> dict[str, Any]:
    """Which version printed last stands with the prints: in the song it was a change of its own, in the way of undo."""
    song.pop("printed_with", None)
    return song


def _inserts(song: dict[str, Any]) -> dict[str, Any]:
    """Make the compressor of a group or the master one of the inserts of its strip, the last of them."""
    master = song.get("master")
    if isinstance(master, dict) and isinstance(master.get("compressor"), dict):
        song["master"] = _with_insert(master, master["compressor"])
    groups = song.get("groups")
    if isinstance(groups, list):
        song["groups"] = [_with_inserted(group) if isinstance(group, dict) else group for group in groups]
    return song


def _with_inserted(group: dict[str, Any]) -> dict[str, Any]:
    strip = group.get("strip", {})
    if not isinstance(group.get("compressor"), dict) or not isinstance(strip, dict):
        return group
    rest = {name: value for name, value in group.items() if name != "compressor"}
    return {**rest, "strip": _with_insert(strip, group["compressor"])}


def _with_insert(strip: dict[str, Any], compressor: dict[str, Any]) -> dict[str, Any]:
    rest = {name: value for name, value in strip.items() if name != "compressor"}
    inserts = strip.get("inserts", [])
    before = inserts if isinstance(inserts, list) else []
    return {**rest, "inserts": [*before, {"processor": "compressor", **compressor}]}


#: Schema -> function to the next one. It gets a copy of the top level and leaves what lies below unchanged.
MIGRATIONS: Mapping[int, Migration] = {1: _without_printed_with, 2: _inserts}


def migrated(
    data: Mapping[str, Any], *, schema: int = SCHEMA, migrations: Mapping[int, Migration] = MIGRATIONS
) -> dict[str, Any]:
    """Return the plain data of a song at the schema of today.

    Parameters
    ----------
    data : mapping
        What a `song.toml` says. Without ``schema`` it is of the first.
    schema : int
        The schema wanted.
    migrations : mapping
        From each older schema the function to the next.

    Raises
    ------
    SettingError
        for a schema that is not a whole number from 1, or is newer than this program
    """
    written = data.get("schema", 1)
    if type(written) is not int or written < 1:
        raise SettingError(f"{written!r} is not a schema", where="schema", hint=f"allowed: 1 to {schema}")
    if written > schema:
        raise SettingError(
            f"written by a newer version (schema {written}, this program knows up to {schema})",
            where="schema",
            hint="update mixwright",
        )
    song = dict(data)
    for older in range(written, schema):
        song = {**migrations[older](song), "schema": older + 1}
    return song
