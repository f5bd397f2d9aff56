# SPDX-License-Identifier: Apache-2.0
"""The song as data: what `song.toml` holds."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Annotated, Literal, Protocol, TypeVar

import msgspec
from msgspec import Meta

from mixwright.errors import SettingError
from mixwright.model.ledger import Finding, FindingKind
from mixwright.model.ranges import OTHERS
from mixwright.model.record import Id, Record
from mixwright.model.strip import Compressor, Db, Master, Reverb, Strip
from mixwright.model.words import Ask, MoveKind, MoveState, Place, Role

SCHEMA = 2
#: What a level move names to move the whole mix.
MASTER = "master"
#: No track, source, group or send is called so, and what each stands for.
RESERVED = {MASTER: "the whole mix", OTHERS: "layers that are told together"}
#: What moves set, and from where to where.
LEVEL_SETTINGS = {"gain_db": (-24.0, 24.0)}
POSITION_SETTINGS = {"pan": (-1.0, 1.0), "left": (-1.0, 1.0), "right": (-1.0, 1.0)}

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


class Source(Record, frozen=True, kw_only=True):
    """Tracks that read as one layer: one row of the ledger."""

    id: Id
    name: str


class Group(Record, frozen=True, kw_only=True):
    """Tracks that are summed and shaped together before the master."""

    id: Id
    name: str
    mute: bool = False
    strip: Strip = Strip()
    compressor: Compressor | None = None
    sends: dict[str, Db] = {}


class Send(Record, frozen=True, kw_only=True):
    """A bus fed by sends; its output returns to the master. The reverb comes after the filters of the strip."""

    id: Id
    name: str
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
    """

    id: Id
    file: str
    sha256: str = ""
    use_for: tuple[str, ...] = ()
    voice: str = ""


class Lock(Record, frozen=True, kw_only=True):
    """A decision that a plan may not touch: `parameter` of `target` (a track, source or group)."""

    target: str
    parameter: MoveKind
    reason: str = ""


class Move(Record, frozen=True, kw_only=True):
    """One change a person could make by hand; applied as an overlay on the hand settings.

    `settings` of a `level` move: ``gain_db``; of a `pan` move: ``pan`` (mono tracks) or ``left`` and
    ``right`` (stereo): where the layer shall stand at full strength. `sections` empty: whole song.
    """

    id: str
    kind: MoveKind
    target: str
    sections: tuple[str, ...] = ()
    settings: dict[str, float]
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
    artist's brief or the engineer ask `measure` to look at, which nobody would want to hear of otherwise.
    """

    schema: int = SCHEMA
    title: str
    artist: str = ""
    rate_hz: Annotated[int, Meta(ge=8000, le=384000)]
    tracks_are: Literal["raw", "as mixed"] = "raw"
    tempo_bpm: Annotated[float, Meta(ge=20.0, le=400.0)] | None = None
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
    moves: tuple[Move, ...] = ()
    left_as_is: tuple[LeftAsIs, ...] = ()
    notes: tuple[Note, ...] = ()
    versions: tuple[Version, ...] = ()


def used_tracks(song: Song) -> tuple[Track, ...]:
    """Return the tracks that take part in the mix, in the song's order."""
    return tuple(track for track in song.tracks if track.use)


def source_of(track: Track) -> str:
    """Return the id of the layer that a track reads as part of."""
    return track.source or track.id


def targets_of(song: Song, target: str) -> tuple[Track, ...]:
    """Return the used tracks that a target names: a track, a source or a group."""
    return tuple(t for t in used_tracks(song) if target in (t.id, source_of(t), t.group))


def check_song(song: Song) -> None:
    """Check what no single field can: ids that must differ, names that must exist, order of sections.

    Raises
    ------
    SettingError
        `where` is the path of the offending key, like ``tracks[3].group``.
    """
    _check_schema(song)
    _check_ids(song)
    _check_sections(song)
    _check_names(song)
    for i, move in enumerate(song.moves):
        check_move(move, f"moves[{i}]")
    _check_reverbs(song)


def _check_names(song: Song) -> None:
    groups = {group.id for group in song.groups}
    sends = {send.id for send in song.sends}
    sections = {section.name for section in song.sections}
    targets = {t.id for t in song.tracks} | {source_of(t) for t in song.tracks} | groups
    for i, track in enumerate(song.tracks):
        if track.group:
            _require([track.group], groups, f"tracks[{i}].group", "group")
        _require(track.sends, sends, f"tracks[{i}].sends", "send")
        _require(track.place_in, sections, f"tracks[{i}].place_in", "section")
    for i, group in enumerate(song.groups):
        _require(group.sends, sends, f"groups[{i}].sends", "send")
    _require(song.lead, targets, "lead", "track, source or group")
    for i, lock in enumerate(song.locks):
        _require([lock.target], targets | {MASTER}, f"locks[{i}].target", "track, source or group")
    for i, move in enumerate(song.moves):
        whole = {MASTER} if move.kind == "level" else set()
        _require([move.target], targets | whole, f"moves[{i}].target", "track, source or group")
        _require(move.sections, sections, f"moves[{i}].sections", "section")


def check_move(move: Move, place: str) -> None:
    """Check what a move of each kind sets: `level` the gain, `pan` any of the positions.

    Raises
    ------
    SettingError
        `where` is `place` and the path of the offending key from there
    """
    known = LEVEL_SETTINGS if move.kind == "level" else POSITION_SETTINGS
    hint = "allowed: " + ", ".join(f"{key} ({low:g} to {high:g})" for key, (low, high) in known.items())
    if not move.settings:
        raise SettingError(f"this {move.kind} move sets nothing", where=f"{place}.settings", hint=hint)
    for key, value in move.settings.items():
        if key not in known:
            raise SettingError(f"a {move.kind} move has no setting {key!r}", where=f"{place}.settings", hint=hint)
        low, high = known[key]
        if not low <= value <= high:
            raise SettingError(f"{value:g} does not fit", where=f"{place}.settings.{key}", hint=hint)


def _check_reverbs(song: Song) -> None:
    for i, send in enumerate(song.sends):
        if send.reverb is not None and send.reverb.low_hz >= send.reverb.high_hz:
            raise SettingError(
                f"a tail from {send.reverb.low_hz:g} to {send.reverb.high_hz:g} Hz keeps nothing",
                where=f"sends[{i}].reverb.low_hz",
                hint="set it below high_hz",
            )


def _check_schema(song: Song) -> None:
    if song.schema > SCHEMA:
        raise SettingError(
            f"written by a newer version (schema {song.schema}, this program knows {SCHEMA})",
            where="schema",
            hint="update mixwright",
        )


def _check_ids(song: Song) -> None:
    named: tuple[tuple[str, Sequence[Named]], ...] = (
        ("tracks", song.tracks),
        ("sources", song.sources),
        ("groups", song.groups),
        ("sends", song.sends),
        ("references", song.references),
        ("moves", song.moves),
    )
    for field, records in named:
        seen: set[str] = set()
        for i, record in enumerate(records):
            if record.id in RESERVED:
                raise SettingError(
                    f"the id {record.id!r} is that of {RESERVED[record.id]}",
                    where=f"{field}[{i}].id",
                    hint="give it another",
                )
            if record.id in seen:
                raise SettingError(
                    f"the id {record.id!r} is used twice",
                    where=f"{field}[{i}].id",
                    hint="give each its own id",
                )
            seen.add(record.id)
            if not getattr(record, "file", True):
                raise SettingError(
                    "no file is named", where=f"{field}[{i}].file", hint="give its path, as seen from the song folder"
                )


def _check_sections(song: Song) -> None:
    end = 0.0
    seen: set[str] = set()
    for i, section in enumerate(song.sections):
        if section.name in seen:
            raise SettingError(f"two sections are named {section.name!r}", where=f"sections[{i}].name")
        seen.add(section.name)
        if section.end_s <= section.start_s:
            raise SettingError("a section must end after it starts", where=f"sections[{i}].end_s")
        if section.start_s < end:
            raise SettingError(
                f"section {section.name!r} starts before the one above it ends",
                where=f"sections[{i}].start_s",
                hint="sections stand in order and do not overlap",
            )
        end = section.end_s


def _require(names: Iterable[str], known: set[str], where: str, what: str) -> None:
    for name in names:
        if name not in known:
            raise SettingError(f"no {what} is called {name!r}", where=where, hint=_known(known, what))


def _known(known: set[str], what: str) -> str:
    return f"known: {', '.join(sorted(known))}" if known else f"the song has no {what} yet"


def replace_in(records: tuple[N, ...], new: N) -> tuple[N, ...]:
    """Return the records with the one of the same id replaced, or the new one added at the end."""
    if all(record.id != new.id for record in records):
        return (*records, new)
    return tuple(new if record.id == new.id else record for record in records)


def changed(record: R, **fields: object) -> R:
    """Return a copy of a record with some fields replaced."""
    return msgspec.structs.replace(record, **fields)
