# SPDX-License-Identifier: Apache-2.0
"""The one JSON document of a command: the same on standard output and in the page."""

from __future__ import annotations

import math
from collections.abc import Collection
from typing import Any

import msgspec

from mixwright.errors import MixwrightError

SCHEMA = 1

#: Keys of a document that hold a figure for every band, or for every second.
BANDS = frozenset({"bands", "kept", "third_octave_hz", "third_octave_db", "reference_spectrum"})


def document(
    command: str,
    song: str | None,
    warnings: tuple[str, ...] = (),
    *,
    left_out: Collection[str] = (),
    **body: object,
) -> dict[str, Any]:
    """Return the document of a command as plain data that JSON can hold.

    Parameters
    ----------
    command, song : str
        what was asked, of which folder
    warnings : tuple of str
    left_out : collection of str
        keys of the body that are not told, such as BANDS
    **body
        `result`, or `error` of :func:`error_told`
    """
    envelope = {"schema": SCHEMA, "command": command, "song": song, "warnings": warnings, **body}
    found: dict[str, Any] = plain(envelope, left_out)
    return found


def error_told(error: MixwrightError) -> dict[str, str | None]:
    """Return an error as documents tell it; what there is nothing to say of is None."""
    told = {"kind": error.kind, "message": error.message, "where": error.where, "hint": error.hint}
    return {key: value or None for key, value in told.items()}


def plain(value: object, left_out: Collection[str] = ()) -> Any:
    """Return what JSON can hold: no infinities, no unpaired surrogates of undecodable file names; without some keys."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, str):
        return value.encode("utf-8", "backslashreplace").decode()
    if isinstance(value, dict):
        return {plain(key, left_out): plain(item, left_out) for key, item in value.items() if key not in left_out}
    if isinstance(value, list | tuple):
        return [plain(item, left_out) for item in value]
    if isinstance(value, msgspec.Struct):
        config, kind = value.__struct_config__, {}
        if config.tag_field is not None:  # an insert, whose settings are all told
            kind, left_out = {config.tag_field: config.tag}, ()
        fields = ((name, getattr(value, name)) for name in value.__struct_fields__)
        return plain({**kind, **{name: item for name, item in fields if item is not msgspec.UNSET}}, left_out)
    return value
