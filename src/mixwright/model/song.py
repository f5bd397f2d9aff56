# SPDX-License-Identifier: Apache-2.0
"""The song as data: what `song.toml` holds."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Annotated, Literal, Protocol, TypeVar

import msgspec
from msgspec import Meta

from mixwright.model.agreement import Agreement
from mixwright.model.ledger import Finding, FindingKind
from mixwright.model.ranges import OTHERS
from mixwright.model.record import Id, Record
from mixwright.model.strip import Db, Master, Reverb, Strip
from mixwright.model.tags import Credit
from mixwright.model.words import Ask, MoveKind, MoveState, Place, Role

SCHEMA = 3
#: What a level move names to move the whole mix.
MASTER = "master"
#: No track, source, group or send is called so, and what each stands for.
RESERVED = {MASTER: "the whole mix", OTHERS: "layers that are told together"}

R = TypeVar("R", bound=Record)
N = TypeVar("N", bound="Named")

Seconds = Annotated[float, Meta(ge=0.0, le=86400.0)]
Fraction = Annotated[float, Meta(ge=0.0, le=1.0)]


class Named(Protocol):
    """Any record with an id."""

    @property
    def id(self) -> str:
        """Its id, unique among its kind."""


class Track(Record, frozen=True, kw_only=True):
    """One received file as a layer of the song.

    `file` is relative to the song folder, with forward slashes. `start_frame` is where its first
    frame lies, in frames of the song's rate. `source` names the tracks that read as one layer
    (empty: the track is a source of its own). `use = false` leaves it out and `why` says why.
    `sends` feed buses after the fader, `pre_sends` before it, where the track stands.
    """

    id: Id
    name: str
    file: str
    sha256: str = ""
    role: Role = "unknown"
    role_confidence: Fraction = 0.0
    place: Place = "support"
    place_in: dict[str, Place] = {}
    source: str = ""
    group: str = ""
    start_frame: Annotated[int, Meta(ge=0)] = 0
    use: bool = True
    why: str = ""
    mute: bool = False
    strip: Strip = Strip()
    sends: dict[str, Db] = {}
    pre_sends: dict[str, Db] = {}


class Source(Record, frozen=True, kw_only=True):
    """Tracks that read as one layer: one row of the ledger."""

    id: Id
    name: str


class Group(Record, frozen=True, kw_only=True):
    """Tracks and groups that are summed and shaped together before the master, or before the group named."""

    id: Id
    name: str
    group: str = ""
    mute: bool = False
    strip: Strip = Strip()
    sends: dict[str, Db] = {}
    pre_sends: dict[str, Db] = {}


class Send(Record, frozen=True, kw_only=True):
    """A bus fed by sends; its output returns to the master. Its reverb comes after the filters, before the inserts."""

    id: Id
    name: str
    mute: bool = False
    reverb: Reverb | None = None
    strip: Strip = Strip()


class Section(Record, frozen=True, kw_only=True):
    """A part of the song; sections do not overlap and stand in order."""

    name: str
    start_s: Seconds
    end_s: Seconds


class Reference(Record, frozen=True, kw_only=True):
    """A finished record, and the attributes it was chosen for (empty: all).

    `voice`: a print of its lead voice alone, at the level that it has in the record; "" where there is none.
    `sections`: its sections where they are marked by hand; else they are found. `beside`: which of its sections stands
    beside a section of the song, by their names, where that is said by hand.
    """

    id: Id
    file: str
    sha256: str = ""
    use_for: tuple[str, ...] = ()
    voice: str = ""
    sections: tuple[Section, ...] = ()
    beside: dict[str, str] = {}


class Lock(Record, frozen=True, kw_only=True):
    """A decision that a plan may not touch: `parameter` of `target` (a track, source or group)."""

    target: str
    parameter: MoveKind
    reason: str = ""


class Move(Record, frozen=True, kw_only=True):
    """One change a person could make by hand; applied as an overlay on the hand settings.

    `settings` are those of its kind (`model.move_settings`), as they are at full strength. `key`: whom a `dip` or
    `duck` listens to: a track, source, group or send. `send`: the send that a `send` move feeds more or less of.
    `target`: a track, source or group, the return of a send (:func:`return_of`), or ``master`` for a level. `sections`
    empty: whole song.
    """

    id: str
    kind: MoveKind
    target: str
    sections: tuple[str, ...] = ()
    settings: dict[str, float]
    key: str = ""
    send: str = ""
    state: MoveState = "proposed"
    strength: Fraction = 1.0
    by: Literal["plan", "engineer"] = "plan"
    reason: str = ""


class LeftAsIs(Record, frozen=True, kw_only=True):
    """A finding that the engineer leaves as it is: kept while it does not grow by more than a step.

    `track`, `section` and `band_hz` say where, `size_db` how large it was then (cued). `id` is that of the finding.
    """

    id: str
    kind: FindingKind
    track: str
    section: str = ""
    band_hz: tuple[float, float] | None = None
    size_db: Annotated[float, Meta(ge=0.0, le=100.0)]
    reason: str = ""

    def covers(self, finding: Finding) -> bool:
        """Tell whether a finding is the same: kind, track and section, and bands of which the larger part is shared."""
        if (self.kind, self.track, self.section) != (finding.kind, finding.track, finding.section):
            return False
        if self.band_hz is None or finding.band_hz is None:
            return self.band_hz is finding.band_hz
        (a, b), (c, d) = self.band_hz, finding.band_hz
        shared = math.log(min(b, d) / max(a, c))
        return shared >= 0.5 * min(math.log(b / a), math.log(d / c))


class MutedWords(Record, frozen=True, kw_only=True):
    """A stretch of the song in which no voice sounds in the clean print; `why` says which words these are."""

    start_s: Seconds
    end_s: Seconds
    why: str = ""


class Note(Record, frozen=True, kw_only=True):
    """A wish of the artist, and what became of it."""

    id: Id
    text: str
    at_s: Seconds | None = None
    state: Literal["open", "done", "declined"] = "open"


class Version(Record, frozen=True, kw_only=True):
    """A saved state of the song."""

    id: Id
    name: str
    engine: str
    sha256: str


class Song(Record, frozen=True, kw_only=True):
    """One song: everything that `song.toml` says.

    `lead` holds the tracks or sources that must be followed, confirmed by a person; empty until then. `asks`: what the
    artist's brief or the engineer ask `measure` to look at, which nobody would want to hear of otherwise. `album`,
    `date` (a year, month or day, ISO 8601), `key` (``F# minor``, ``Bb major``), `credits` and `isrc` go into tags;
    an ISRC names one recording, so each kind of print has its own. `automation` names the lanes:
    ``kept/lanes/NAME.json``, or ``kept/lanes.json`` where it is empty.
    """

    schema: int = SCHEMA
    title: str
    artist: str = ""
    album: str = ""
    date: str = ""
    isrc: dict[str, str] = {}
    rate_hz: Annotated[int, Meta(ge=8000, le=384000)]
    tracks_are: Literal["raw", "as mixed"] = "raw"
    tempo_bpm: Annotated[float, Meta(ge=20.0, le=400.0)] | None = None
    key: str = ""
    beats_per_bar: Annotated[int, Meta(ge=1, le=32)] = 4
    first_bar_s: Seconds = 0.0
    pan_law_db: Annotated[float, Meta(ge=0.0, le=6.0)] = 3.0
    lead: tuple[str, ...] = ()
    asks: tuple[Ask, ...] = ()
    rough: str = ""
    rough_sha256: str = ""
    mix_print: str = ""
    mix_print_sha256: str = ""
    tracks: tuple[Track, ...] = ()
    sources: tuple[Source, ...] = ()
    groups: tuple[Group, ...] = ()
    sends: tuple[Send, ...] = ()
    master: Master = Master()
    sections: tuple[Section, ...] = ()
    references: tuple[Reference, ...] = ()
    locks: tuple[Lock, ...] = ()
    automation: Annotated[str, Meta(pattern="^([0-9a-f]{16})?$")] = ""
    moves: tuple[Move, ...] = ()
    left_as_is: tuple[LeftAsIs, ...] = ()
    muted_words: tuple[MutedWords, ...] = ()
    agreement: Agreement | None = None
    notes: tuple[Note, ...] = ()
    versions: tuple[Version, ...] = ()
    credits: tuple[Credit, ...] = ()


def used_tracks(song: Song) -> tuple[Track, ...]:
    """Return the tracks that take part in the mix, in the song's order."""
    return tuple(track for track in song.tracks if track.use)


def sounding_tracks(song: Song) -> tuple[Track, ...]:
    """Return the used tracks that are not muted, themselves or with a group that they run through."""
    muted = {group.id for group in song.groups if group.mute}
    silent = {group.id for group in song.groups if not muted.isdisjoint(homes_of(song, group.id))}
    return tuple(track for track in used_tracks(song) if not track.mute and track.group not in silent)


def source_of(track: Track) -> str:
    """Return the id of the layer that a track reads as part of."""
    return track.source or track.id


def homes_of(song: Song, group: str) -> tuple[str, ...]:
    """Return a group and the groups it runs through, from the inside out; none where it is empty."""
    above = {one.id: one.group for one in song.groups}
    homes: list[str] = []
    while group and group not in homes:
        homes.append(group)
        group = above.get(group, "")
    return tuple(homes)


def targets_of(song: Song, target: str) -> tuple[Track, ...]:
    """Return the used tracks that a target names: a track, a source or a group, with the groups inside it."""
    homes = {group.id: homes_of(song, group.id) for group in song.groups}
    return tuple(t for t in used_tracks(song) if target in (t.id, source_of(t), *homes.get(t.group, (t.group,))))


def return_of(send: Send) -> str:
    """Return what names the return of a send as a layer; the send may share its id with a track."""
    return f"send {send.id}"


def keyed_by(song: Song, key: str) -> tuple[tuple[str, str], ...]:
    """Return kind and id of what a key names: a track, else the tracks of a source, else a group, else a send."""
    if any(track.id == key for track in song.tracks):
        return (("track", key),)
    members = tuple(("track", track.id) for track in song.tracks if track.source == key)
    groups = tuple(("group", group.id) for group in song.groups if group.id == key)
    return members or groups or tuple(("send", send.id) for send in song.sends if send.id == key)


def kept_target(song: Song, id_: str, kind: str) -> str:
    """Return what kept lanes call a strip; an id that several have means the track, then the group: else nothing."""
    first = next((one for _, one, name, _ in strips_of(song) if name == id_), kind)
    return id_ if first == kind else ""


def strips_of(song: Song) -> Iterator[tuple[str, str, str, Strip]]:
    """Yield every strip: its path in the song, the kind and the id of its owner, and itself."""
    owners: tuple[tuple[str, Sequence[Track | Group | Send]], ...] = (
        ("track", song.tracks),
        ("group", song.groups),
        ("send", song.sends),
    )
    for kind, records in owners:
        for i, record in enumerate(records):
            yield f"{kind}s[{i}].strip", kind, record.id, record.strip
    yield MASTER, MASTER, MASTER, song.master


def with_strip(song: Song, kind: str, id_: str, strip: Strip) -> Song:
    """Return the song with another strip in the place of one of :func:`strips_of`."""
    if kind == MASTER:
        return changed(song, master=strip)
    records: tuple[Track | Group | Send, ...] = getattr(song, f"{kind}s")
    return changed(song, **{f"{kind}s": tuple(changed(r, strip=strip) if r.id == id_ else r for r in records)})


def replace_in(records: tuple[N, ...], new: N) -> tuple[N, ...]:
    """Return the records with the one of the same id replaced, or the new one added at the end."""
    if all(record.id != new.id for record in records):
        return (*records, new)
    return tuple(new if record.id == new.id else record for record in records)


def changed(record: R, **fields: object) -> R:
    """Return a copy of a record with some fields replaced."""
    return msgspec.structs.replace(record, **fields)
