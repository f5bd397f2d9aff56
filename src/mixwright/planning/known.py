# SPDX-License-Identifier: Apache-2.0
"""What is known of a song where moves are proposed: its rows, its groups, and what may not be touched."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from mixwright.model.words import MoveKind, Place, Role

#: Roles that stay in the centre: a lead vocal or snare beside it is criticised unasked (De Man & Reiss 2013); kick and
#: bass hardly ever leave it (De Man et al. 2014).
CENTRED: frozenset[Role] = frozenset({"kick", "snare", "bass", "lead vocal"})


@dataclass(frozen=True, kw_only=True)
class KnownStrip:
    """What rows and groups have alike.

    Attributes
    ----------
    left, right : float
        where its sides stand by hand and accepted moves, of one track
    side_share : float
        power of its side over that of middle and side, 0 to 1
    output_db : float
        from after the inserts of its strip to the mix, fader, place and groups: mean power over both sides of the mix
        over that of the strip; of a mono track in the centre with a law of 3 dB it is its fader less 3 dB
    level_db : float or None
        mean power after its inserts while it sounds, dBFS; None where that is not known
    bound : frozenset of MoveKind
        what is locked, or decided over the whole song
    """

    left: float = -1.0
    right: float = 1.0
    side_share: float = 0.0
    output_db: float = 0.0
    level_db: float | None = None
    bound: frozenset[MoveKind] = frozenset()


@dataclass(frozen=True)
class KnownRow(KnownStrip):
    """A layer of the ledger: a source, or the return of a send; beside what every strip has.

    Attributes
    ----------
    id, name : str
        what a move names, and what a sentence calls it
    role : Role
        of its loudest or only track
    place, place_in
        as of `ledger.findings.LedgerRow`
    tracks : tuple of str
        ids of its tracks; none of a return
    groups : tuple of str
        the groups that all of its tracks run through, from the inside out
    send : str
        of a return: the id of the send
    sends : mapping of str to float
        the sends that it feeds, and by how much, in dB: fader and feed
    channels : int
        1 where it is one mono track, else 2
    pan : float
        where it stands by hand and accepted moves, of one mono track
    """

    id: str
    name: str
    role: Role = "unknown"
    place: Place = "support"
    place_in: Mapping[str, Place] = field(default_factory=dict)
    tracks: tuple[str, ...] = ()
    groups: tuple[str, ...] = ()
    send: str = ""
    sends: Mapping[str, float] = field(default_factory=dict)
    channels: int = 2
    pan: float = 0.0

    @property
    def is_return(self) -> bool:
        """Whether it is the return of a send."""
        return bool(self.send)

    def place_at(self, section: str) -> Place:
        """Return its place in a section."""
        return self.place_in.get(section, self.place)


@dataclass(frozen=True)
class KnownGroup(KnownStrip):
    """A group. What is bound in it binds it too."""

    id: str
    name: str


@dataclass(frozen=True)
class KnownSong:
    """All of it.

    Attributes
    ----------
    rows : sequence of KnownRow
        in the order of the rows of `Excited`
    groups : sequence of KnownGroup
    decided : frozenset of str
        ids of moves that were accepted, refused or are the engineer's: not offered again
    law : float
        nominal centre attenuation over 3 dB
    split : frozenset of str
        ids of groups that carry a row in part: asked for nothing
    levels_only : bool
        nothing but levels can be told apart, as of songs of two files
    """

    rows: Sequence[KnownRow]
    groups: Sequence[KnownGroup] = ()
    decided: frozenset[str] = frozenset()
    law: float = 1.0
    split: frozenset[str] = frozenset()
    levels_only: bool = False

    def index(self, id_: str) -> int | None:
        """Return the number of a row; None where there is no such row."""
        return next((k for k, row in enumerate(self.rows) if row.id == id_), None)

    def members(self, group: str) -> tuple[int, ...]:
        """Return the numbers of the rows that run through a group as a whole."""
        return tuple(k for k, row in enumerate(self.rows) if group in row.groups)

    def name(self, target: str) -> str:
        """Return what a sentence calls the target of a move."""
        named = {**{row.id: row.name for row in self.rows}, **{group.id: group.name for group in self.groups}}
        return named.get(target, target)
