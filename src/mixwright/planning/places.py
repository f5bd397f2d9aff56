# SPDX-License-Identifier: Apache-2.0
"""Which tracks are placed together: pairs, doubles, stacks, and layers on their own."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from mixwright.model.sides import split_side
from mixwright.model.words import Place, Role
from mixwright.planning.sound import Array

#: How far from the centre a layer of its own starts: common practice, no source.
_DISTANCE: dict[Role, float] = {
    "hats": 0.3,
    "cymbals": 0.5,
    "toms": 0.4,
    "percussion": 0.5,
    "acoustic guitar": 0.5,
    "electric guitar": 0.6,
    "keys": 0.4,
    "organ": 0.4,
    "synth": 0.5,
    "strings": 0.5,
    "brass": 0.4,
    "pad": 0.4,
    "backing vocal": 0.4,
}
_OTHER_DISTANCE = 0.4
_DOUBLE_DISTANCE = 0.8
_STACK_DISTANCE = 0.7
#: Played or sung twice, not recorded with two microphones: wide, but not at the edge.
_PLAYED_TWICE: frozenset[Role] = frozenset({"acoustic guitar", "electric guitar", "double", "backing vocal"})
#: Recordings of a whole room or kit, and effects, keep the centre unless they come as a pair.
_CENTRE: frozenset[Role] = frozenset({"overheads", "room", "drums", "loop", "return", "effects"})

_TAKE = re.compile(r"^(?P<stem>.+?)[\s_.\-]*(?P<take>[0-9]+|(?<=[\s_.\-])[abAB])$")


@dataclass(frozen=True, eq=False)
class Placed:
    """A track as the placing of tracks sees it.

    Attributes
    ----------
    part : str
        ``lead``, ``double``, ``kick``... as in the elements of a balance.
    channels : int
        1 or 2, as received.
    pan : float
        Where the hand put it.
    bands : array
        Third-octave powers in the mix after the plan's level moves, mean of left and right.
    side_share : float
        Power of the side over that of mid and side together, in the mix as it stands.
    bound : str
        Why it may not be moved; empty: free.
    """

    id: str
    name: str
    role: Role
    place: Place
    part: str
    source: str
    channels: int
    pan: float
    bands: Array
    side_share: float
    bound: str = ""


@dataclass(frozen=True)
class Unit:
    """Tracks placed as one: each with its position before scaling, and the reason.

    `hard`: halves of a stereo recording, never drawn in. `free`: the whole unit may be mirrored.
    """

    ids: tuple[str, ...]
    positions: tuple[float, ...]
    reason: str
    hard: bool = False
    free: bool = False

    def places(self, scale: float, widest: float) -> Iterator[tuple[str, float]]:
        """Return the positions after a common factor; a negative one mirrors."""
        for id_, position in zip(self.ids, self.positions, strict=True):
            scaled = position * scale
            yield id_, position if self.hard else max(-widest, min(widest, scaled))


def units_of(tracks: Sequence[Placed]) -> list[Unit]:
    """Sort mono tracks into units, strongest first among the free ones."""
    left = {track.id: track for track in tracks}
    units: list[Unit] = []

    def take(
        ids: Sequence[str], positions: Sequence[float], reason: str, *, hard: bool = False, free: bool = False
    ) -> None:
        units.append(Unit(tuple(ids), tuple(positions), reason, hard, free))
        for id_ in ids:
            del left[id_]

    for one, other in _pairs(tracks):
        distance = _DOUBLE_DISTANCE if left[one].role in _PLAYED_TWICE else 1.0
        take((one, other), (-distance, distance), "it is one side of a pair", hard=distance == 1.0)
    doubles = [id_ for id_, track in left.items() if track.part == "double"]
    doubles = doubles[: len(doubles) // 2 * 2]
    if doubles:
        take(doubles, _spread(len(doubles), _DOUBLE_DISTANCE), "doubles start wide, opposite each other")
    for id_ in [id_ for id_, track in left.items() if track.role in _CENTRE or track.part == "double"]:
        del left[id_]
    for one, other in _takes(list(left.values())):
        take((one, other), (-_DOUBLE_DISTANCE, _DOUBLE_DISTANCE), "two takes of one part start wide")
    voices = [id_ for id_, track in left.items() if track.role == "backing vocal"]
    if len(voices) > 1:
        take(voices, _spread(len(voices), _STACK_DISTANCE), "the stack of backing voices spreads around the lead")
    sources: dict[str, list[str]] = {}
    for id_, track in left.items():
        sources.setdefault(track.source, []).append(id_)
    for ids in sorted(sources.values(), key=lambda ids: (-sum(float(left[id_].bands.sum()) for id_ in ids), ids)):
        distance = _DISTANCE.get(left[ids[0]].role, _OTHER_DISTANCE)
        reason = "it leaves the centre to the lead, on the side that lacks power in its range"
        take(ids, [distance] * len(ids), reason, free=True)
    return units


def _spread(count: int, widest: float) -> list[float]:
    """Return positions in opposite pairs, widest first; an odd one stays in the centre."""
    positions = []
    pairs = count // 2
    for k in range(pairs):
        distance = widest * (pairs - k) / pairs
        positions += [-distance, distance]
    return positions + [0.0] * (count - len(positions))


def _pairs(tracks: Sequence[Placed]) -> list[tuple[str, str]]:
    """Return (left, right) of tracks whose names differ only by their side."""
    sides: dict[tuple[str, Role], dict[str, str]] = {}
    for track in tracks:
        if found := split_side(track.name):
            stem, side = found
            sides.setdefault((stem, track.role), {}).setdefault(side, track.id)
    return [(both["l"], both["r"]) for both in sides.values() if len(both) == 2]


def _takes(tracks: Sequence[Placed]) -> list[tuple[str, str]]:
    """Return pairs of guitar takes: same part, names that differ only by a number or letter, exactly two."""
    takes: dict[str, list[str]] = {}
    for track in tracks:
        found = _TAKE.match(track.name.strip())
        if found and track.role in ("acoustic guitar", "electric guitar"):
            takes.setdefault(found["stem"].lower(), []).append(track.id)
    return [(ids[0], ids[1]) for ids in takes.values() if len(ids) == 2]
