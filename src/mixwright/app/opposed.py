# SPDX-License-Identifier: Apache-2.0
"""Moves of the engineer's own that work against each other."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from mixwright.errors import listed
from mixwright.model.move_settings import settings_of
from mixwright.model.song import Move, Song

#: Two bands are one where their middles lie nearer than this: a bell of Q 2 is about as wide.
_SAME_OCTAVES = 0.5


def opposed_notes(song: Song, move: Move) -> list[str]:
    """Say which accepted moves of the engineer's own a new one works against.

    Those are of the same kind on the same target, in a section that both have, in the same band, and go the other way.
    """
    return [
        f"It works against your own move {other.id} ({told(other)}){_where(song, both)}: {why}."
        for other, both, why in _opposed(song, move)
    ]


def told(move: Move) -> str:
    """Return the settings of a move as they are written."""
    return " ".join(f"{key}={value:g}" for key, value in move.settings.items())


def _opposed(song: Song, move: Move) -> Iterator[tuple[Move, frozenset[str], str]]:
    every = frozenset(section.name for section in song.sections)
    here = frozenset(move.sections) or every
    for other in song.moves:
        alike = (other.kind, other.target, other.send) == (move.kind, move.target, move.send)
        if other.id == move.id or not alike or other.by != "engineer" or other.state != "accepted":
            continue
        there = frozenset(other.sections) or every
        if move.sections and other.sections and here.isdisjoint(there):
            continue
        why = _why(move, settings_of(move), settings_of(other))
        if why:
            yield other, here & there, why


def _why(move: Move, one: Mapping[str, float], other: Mapping[str, float]) -> str:
    """Return how two moves of a kind work against each other; empty where they do not."""
    if move.kind in ("level", "send", "shape", "tilt"):
        near = "hz" not in one or abs(math.log2(one["hz"] / other["hz"])) < _SAME_OCTAVES
        if near and one["gain_db"] * other["gain_db"] < 0.0:
            return f"together {one['gain_db'] + other['gain_db']:+.1f} dB" + (" or so" if "hz" in one else "")
    if move.kind == "width" and (one["width"] - 1.0) * (other["width"] - 1.0) < 0.0:
        return f"together {one['width'] * other['width']:.2g} of what it was"
    if move.kind == "pan" and any(one[name] * other[name] < 0.0 for name in one.keys() & other.keys()):
        return "the later one holds where both apply"
    if move.kind == "band_limit":
        lows = [settings["low_hz"] for settings in (one, other) if "low_hz" in settings]
        highs = [settings["high_hz"] for settings in (one, other) if "high_hz" in settings]
        if lows and highs and max(lows) >= min(highs):
            return f"nothing lies above {max(lows):g} and below {min(highs):g} Hz"
    return ""


def _where(song: Song, sections: frozenset[str]) -> str:
    names = [section.name for section in song.sections if section.name in sections]
    return "" if len(names) == len(song.sections) else f" in {listed(names)}"
