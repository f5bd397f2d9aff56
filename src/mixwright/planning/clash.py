# SPDX-License-Identifier: Apache-2.0
"""A finding as a plan sees it: who loses, who takes, in which bands, and which targets could make room."""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.hearing.place_loudness import place_hz
from mixwright.ledger.findings import cued_db
from mixwright.model.ledger import Finding
from mixwright.model.words import MoveKind
from mixwright.planning.candidate import Candidate, Setting
from mixwright.planning.excited import Excited
from mixwright.planning.keyed_gains import together
from mixwright.planning.known import CENTRED, KnownGroup, KnownRow, KnownSong

#: Who takes less than this part of a loss is not asked for room, and of a group no more than so many one by one.
_LEAST_PART, _MOST_TAKERS = 0.1, 3
#: A group is asked as one where it holds more than this part of what takes, by more than one of its rows.
_GROUP_PART = 0.5
#: Where bands are looked for, in Hz, and how wide they are, in octaves.
_FROM_HZ, _TO_HZ, _WIDE_OCT = 60.0, 9000.0, 1.0
#: A second band holds at least this part of what is lost.
_WORTH = 0.1
#: What lies lower than this stays in the centre (Mansbridge et al. 2012).
_CENTRE_BELOW_HZ = 200.0
#: From which share of side power a layer is wide.
_WIDE = 0.1
#: What stands nearer to the centre than this may go to either side.
_NEAR_CENTRE = 0.2


@dataclass(frozen=True)
class Target:
    """What a move may name: a row or a group, with the rows in it."""

    id: str
    rows: tuple[int, ...]
    of: KnownRow | KnownGroup

    @property
    def row(self) -> KnownRow | None:
        """The row, where it is no group."""
        return self.of if isinstance(self.of, KnownRow) else None

    @property
    def is_wide(self) -> bool:
        """Tell whether its width may be seen to: it is wide, and no layer that stays in the centre or has no sides."""
        row = self.row
        if row is not None and (row.channels != 2 or len(row.tracks) > 1 or row.role in CENTRED):
            return False
        return self.of.side_share >= _WIDE

    def placeable(self, excited: Excited) -> KnownRow | None:
        """Return the row, where it is a layer of one channel that may leave the centre; None where it is none."""
        row = self.row
        if row is None or row.role in CENTRED or row.channels != 1 or len(row.tracks) != 1:
            return None
        return row if middle_hz(excited, self.rows) > _CENTRE_BELOW_HZ else None


@dataclass(frozen=True, eq=False)
class Clash:
    """One finding in a song that is known.

    Attributes
    ----------
    finding : Finding
    song : KnownSong
    sections : mapping of str to Excited
        by name
    victim : int
        the row that loses; of `brighter` the one that is too bright
    """

    finding: Finding
    song: KnownSong
    sections: Mapping[str, Excited]
    victim: int

    @functools.cached_property
    def excited(self) -> Excited:
        """The section that it is found in; where it is one of the song, that in which the victim sounds longest."""
        if self.finding.section in self.sections:
            return self.sections[self.finding.section]
        return max(self.sections.values(), key=lambda one: float(one.active_s[self.victim]))

    @functools.cached_property
    def where(self) -> tuple[tuple[str, ...], ...]:
        """The sections that a move could be made in: the whole song, or that of `excited` alone."""
        return ((),) if len(self.sections) < 2 else ((), (self.excited.section.name,))

    @property
    def row(self) -> KnownRow:
        """Who loses."""
        return self.song.rows[self.victim]

    @property
    def leads(self) -> bool:
        """Whether it is a lead that loses."""
        return self._leads(self.victim)

    @functools.cached_property
    def need_db(self) -> float:
        """By how much the victim would have to rise."""
        return cued_db(self.finding.size_db)

    @functools.cached_property
    def parts(self) -> Mapping[int, float]:
        """Which part of the loss each row takes, the most first."""
        found: dict[int, float] = {}
        for by in self.finding.caused_by:
            index = self.song.index(by.track)
            if index is not None and index != self.victim:
                found[index] = by.fraction
        taker = None if self.finding.taker is None else self.song.index(self.finding.taker)
        if taker is not None and taker != self.victim and not found.get(taker):
            found[taker] = 1.0
        return dict(sorted(found.items(), key=lambda one: (-one[1], one[0])))

    @functools.cached_property
    def takers(self) -> tuple[Target, ...]:
        """Who could make room one by one, who takes most first. No lead for what is none."""
        found = [
            Target(self.song.rows[k].id, (k,), self.song.rows[k])
            for k, part in self.parts.items()
            if part >= _LEAST_PART and (self.leads or not self._leads(k))
        ]
        return tuple(found[:_MOST_TAKERS])

    @functools.cached_property
    def groups(self) -> tuple[Target, ...]:
        """The smallest group that holds most of what takes, in which neither the victim nor a lead is; or none."""
        for one in self._free_groups:
            taking = [k for k in one.rows if self.parts.get(k, 0.0) >= 0.5 * _LEAST_PART]
            part = sum(self.parts.get(k, 0.0) for k in one.rows)
            if len(taking) > 1 and part > _GROUP_PART * sum(self.parts.values()):
                return (one,)
        return ()

    @property
    def targets(self) -> tuple[Target, ...]:
        """Groups before single layers."""
        return (*self.groups, *self.takers)

    @functools.cached_property
    def strips(self) -> tuple[Target, ...]:
        """Who could make room through one strip, where it is heard as a whole: of several tracks, the group around."""
        found = {one.id: one for one in self.groups}
        for one in self.takers:
            assert one.row is not None
            if one.row.is_return or len(one.row.tracks) == 1:
                found.setdefault(one.id, one)
            else:
                around = next((group for group in self._free_groups if one.rows[0] in group.rows), None)
                if around is not None:
                    found.setdefault(around.id, around)
        return tuple(found.values())

    @functools.cached_property
    def _free_groups(self) -> tuple[Target, ...]:
        """The groups in which neither the victim nor a lead is, and no row in part; the smallest first."""
        fitting = []
        for group in self.song.groups:
            rows = self.song.members(group.id)
            free = rows and self.victim not in rows and not any(self._leads(k) for k in rows)
            if free and group.id not in self.song.split:
                fitting.append(Target(group.id, rows, group))
        return tuple(sorted(fitting, key=lambda one: (len(one.rows), one.id)))

    @functools.cached_property
    def bands(self) -> tuple[tuple[float, float], ...]:
        """The band of the finding; of a layer as a whole the two in which it loses most."""
        if self.finding.band_hz is not None and self.finding.kind != "voice_filled":
            return (self.finding.band_hz,)
        takers = [row for target in self.takers for row in target.rows]
        return crowded(self.excited, self.victim, takers) if takers else ()

    def bound(self, target: Target, kind: MoveKind) -> bool:
        """Tell whether such a move is locked or decided, on the target or on anything in it."""
        return kind in target.of.bound or any(kind in self.song.rows[k].bound for k in target.rows)

    def itself(self) -> Target:
        """Return the victim as a target."""
        return Target(self.row.id, (self.victim,), self.row)

    def candidate(
        self,
        kind: MoveKind,
        target: Target,
        sections: tuple[str, ...],
        settings: tuple[Setting, ...],
        fixed: Mapping[str, float] | None = None,
        *,
        known: Mapping[str, float] | None = None,
        pair: str = "",
        why: str,
    ) -> Candidate:
        """Return a candidate that answers the finding."""
        return Candidate(
            kind=kind,
            target=target.id,
            sections=sections,
            rows=target.rows,
            settings=settings,
            fixed=fixed or {},
            finding=self.finding.id,
            pair=pair,
            known=known or {},
            why=why,
        )

    def _leads(self, row: int) -> bool:
        return self.song.rows[row].place_at(self.finding.section) == "lead"


def crowded(excited: Excited, victim: int, takers: Sequence[int], count: int = 2) -> tuple[tuple[float, float], ...]:
    """Return the octaves in which a row loses most to others, apart from each other, the worst first.

    What is lost is told by the excitation of the victim to the power of its loudness, times the share of the others.
    """
    mine = excited.own[victim].sum(axis=0, dtype=np.float64)
    theirs = together(excited.own, takers).sum(axis=0, dtype=np.float64)
    lost = mine**0.25 * theirs / np.maximum(theirs + mine, 1e-12)
    weight = excited.seconds[victim] @ lost
    hz = place_hz()
    octaves = np.log2(hz)
    found: list[tuple[float, float]] = []
    inside = np.abs(octaves[:, None] - octaves[None]) <= 0.5 * _WIDE_OCT
    sums = (inside * weight).sum(axis=1) * ((hz >= _FROM_HZ) & (hz <= _TO_HZ))
    for _ in range(count):
        best = int(np.argmax(sums))
        if sums[best] <= 0.0 or (found and sums[best] < _WORTH * weight.sum()):
            break
        wide = 2.0 ** (0.5 * _WIDE_OCT)
        found.append((float(hz[best] / wide), float(hz[best] * wide)))
        sums = np.where(np.abs(octaves - octaves[best]) < _WIDE_OCT, 0.0, sums)
    return tuple(found)


def middle_hz(excited: Excited, rows: Sequence[int], up_to_hz: float = math.inf) -> float:
    """Return the middle of the energy of rows on a scale of octaves, up to a frequency; the lowest place in silence."""
    energy = together(excited.own, rows).sum(axis=(0, 1), dtype=np.float64) * (place_hz() <= up_to_hz)
    whole = float(energy.sum())
    return math.exp(float(energy @ np.log(place_hz())) / whole) if whole > 0.0 else float(place_hz()[0])


def lighter_side(excited: Excited, apart_from: Sequence[int]) -> int:
    """Return the side on which less sounds, without some rows: -1 left, 1 right (where both are alike)."""
    left, right = np.delete(excited.own, list(apart_from), axis=0).sum(axis=(0, 2, 3), dtype=np.float64)
    return -1 if left < right else 1


def side_of(pan: float, side: int) -> int:
    """Return to which side a layer goes: what stands on one stays on it, else to the side that is asked for."""
    return side if abs(pan) < _NEAR_CENTRE else (1 if pan > 0.0 else -1)
