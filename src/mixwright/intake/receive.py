# SPDX-License-Identifier: Apache-2.0
"""A delivery of files becomes a song: the one way through intake."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixwright.errors import InputError, printable
from mixwright.intake.faults import common_rate_hz, delivery_faults, header_faults, own_faults, stamp_faults
from mixwright.intake.grid import BEATS_PER_BAR, Grid, find_grid
from mixwright.intake.ids import Ids, slug
from mixwright.intake.likeness import Trace
from mixwright.intake.listening import Listening
from mixwright.intake.names import NameReading, read_names
from mixwright.intake.polarity import polarity_faults
from mixwright.intake.questions import Understood, questions
from mixwright.intake.roles import GROUP_NAMES, UNKNOWN, Reading, group_of, guess_lead, place_of, roles
from mixwright.intake.sections import find_sections, marked_sections
from mixwright.intake.sends import default_sends
from mixwright.intake.sources import Layer, read_sources
from mixwright.jobs.progress import Cancel
from mixwright.model.audio import AudioInfo, Fault
from mixwright.model.results import SourceIntake, TrackIntake
from mixwright.model.song import RESERVED, Group, Section, Song, Source, Track
from mixwright.model.words import DRUM_ROLES, FAULT_WORDS, FaultKind, Role

_LEFT_OUT = {
    "print": "reads as a mix, not a track",
    "guide": "reads as a guide, not a track",
    "click": "reads as a click track",
}
_STRUCK: frozenset[Role] = DRUM_ROLES | {"percussion", "loop"}


@dataclass(frozen=True, eq=False)
class ReceivedFile:
    """One file of a delivery.

    `file`: how the song names it; `label`: how it is shown, relative to the delivery. `problem`: why it
    cannot be read (`heard` is None then), and `problem_kind` of which kind that is. `audio` (frames, channels) is only
    read to find bleed of drums.
    """

    file: str
    label: str
    sha256: str = ""
    info: AudioInfo | None = None
    heard: Listening | None = None
    audio: npt.NDArray[np.float32] | None = None
    problem: str = ""
    problem_kind: FaultKind = "unreadable"


@dataclass(frozen=True)
class Intake:
    """What a delivery was understood to be.

    `prints`: indices of files that read as a mix of the song. `marked`: the file whose marks name the sections, as it
    is shown; empty where they are guesses.
    """

    song: Song
    tracks: tuple[TrackIntake, ...]
    sources: tuple[SourceIntake, ...]
    duration_s: float
    lead_guess: str | None
    prints: tuple[int, ...]
    questions: tuple[str, ...]
    marked: str = ""


@dataclass(eq=False)
class _Row:
    """One file on its way through intake."""

    received: ReceivedFile
    id: str
    name: NameReading
    faults: tuple[Fault, ...] = ()
    why: str = ""
    reading: Reading = UNKNOWN
    source: str = ""
    group: str = ""

    @property
    def heard(self) -> Listening:
        assert self.received.heard is not None
        return self.received.heard


def receive(
    files: Sequence[ReceivedFile],
    *,
    title: str,
    rate_hz: int | None = None,
    tempo_bpm: float | None = None,
    as_mixed: bool = False,
    cancel: Cancel | None = None,
) -> Intake:
    """Understand a delivery: faults, names, roles, sources, groups, sections, and what to ask.

    Every file starts at frame 0: differences are reported, nothing is moved.

    Parameters
    ----------
    files : sequence of ReceivedFile
        In the order in which they shall stand.
    title : str
        Of the song.
    rate_hz : int, optional
        Rate of the song; that of most track time if not given.
    tempo_bpm : float, optional
        If known; else it is estimated from the onsets.
    as_mixed : bool
        The tracks are layers of a finished mix: positions and faders stay as they are.
    cancel : Cancel, optional
        The user's switch to stop.

    Raises
    ------
    InputError
        when no file can be used
    """
    rows = _read(files)
    kept = [row for row in rows if not row.why]
    if not kept:
        raise _nothing_usable(rows)
    rate = rate_hz or common_rate_hz([row.heard for row in kept])
    _compare(kept, rate)
    kept = [row for row in rows if not row.why]
    traces = [Trace(row.heard) for row in kept]
    names = [row.name for row in kept]
    readings = roles(names, traces)
    for row, reading in zip(kept, readings, strict=True):
        row.reading = reading
    lead = guess_lead(names, traces, readings)
    ids = Ids({*RESERVED, *(row.id for row in rows)})
    sources = _sources(kept, traces, ids, cancel)
    groups = _groups(kept, ids)
    duration_s = max(row.heard.frames / row.heard.rate_hz for row in kept)
    grid = find_grid(traces, [row.reading.role in _STRUCK for row in kept], tempo_bpm)
    marked, sections = _marked(rows, duration_s)
    sections = sections or _sections(kept, traces, grid, duration_s, lead)
    song = Song(
        title=title,
        rate_hz=rate,
        tracks_are="as mixed" if as_mixed else "raw",
        tempo_bpm=grid.tempo_bpm,
        beats_per_bar=BEATS_PER_BAR,
        first_bar_s=round(grid.first_s, 4),
        pan_law_db=0.0 if as_mixed else 3.0,
        tracks=tuple(_track(row) for row in rows),
        sources=tuple(Source(id=source.id, name=source.name) for source in sources),
        groups=groups,
        sends=() if as_mixed else default_sends(grid.tempo_bpm),
        sections=tuple(sections),
    )
    understood = Understood(
        labels=[printable(row.received.label) for row in rows],
        names=[row.name for row in rows],
        roles=[row.reading.role for row in rows],
        faults=[row.faults for row in rows],
        heard=[row.received.heard for row in rows],
        infos=[row.received.info for row in rows],
        used=[not row.why for row in rows],
    )
    return Intake(
        song=song,
        tracks=tuple(_intake(row) for row in rows),
        sources=tuple(sources),
        duration_s=duration_s,
        lead_guess=None if lead is None else kept[lead].source or kept[lead].id,
        prints=tuple(i for i, row in enumerate(rows) if row.name.kind == "print" and row.received.heard is not None),
        questions=questions(understood),
        marked=marked,
    )


def _read(files: Sequence[ReceivedFile]) -> list[_Row]:
    """Give every file its id, name and own faults, and say which are left out."""
    names = read_names([_stem(file.label) for file in files])
    ids = Ids(set(RESERVED))
    rows = []
    for file, name in zip(files, names, strict=True):
        row = _Row(file, ids.new(slug(_stem(file.label)) or "track"), name)
        row.reading = Reading(*name.candidates[0]) if name.candidates else row.reading
        row.faults = _own_faults(file)
        unusable = [fault for fault in row.faults if fault.severity == "unusable"]
        if unusable:
            row.why = f"{FAULT_WORDS[unusable[0].kind]}: {unusable[0].detail}"
        elif name.kind != "track":
            row.why = _LEFT_OUT[name.kind]
        rows.append(row)
    return rows


def _own_faults(file: ReceivedFile) -> tuple[Fault, ...]:
    if file.heard is None:
        return (Fault(kind=file.problem_kind, severity="unusable", detail=file.problem or "cannot be read"),)
    if file.info is None:
        return own_faults(file.heard)
    return own_faults(file.heard, file.info.speakers) + header_faults(file.info)


def _compare(kept: Sequence[_Row], rate_hz: int) -> None:
    labels = [printable(row.received.label) for row in kept]
    stamped = stamp_faults([row.received.info for row in kept])
    telling = [max((sure for _, sure in row.name.candidates), default=0.0) for row in kept]
    beside = delivery_faults([row.heard for row in kept], labels, rate_hz, telling)
    for row, faults, late in zip(kept, beside, stamped, strict=True):
        # Where a time stamp tells that a file starts late, and by how much, its length need not be asked.
        row.faults += tuple(fault for fault in faults if not late or fault.kind != "starts_late") + late
        row.why = next((fault.detail for fault in faults if fault.kind == "exact_duplicate"), "")


def _nothing_usable(rows: Sequence[_Row]) -> InputError:
    if not rows:
        return InputError("no audio files are here", hint="name the folder that holds the tracks")
    reasons = Counter(row.why.split(":")[0] for row in rows)
    told = ", ".join(f"{many} {reason}" for reason, many in reasons.most_common(3))
    if len(reasons) == 1:
        told = f"{rows[0].received.label}: {rows[0].why}"
    what = "the only file cannot" if len(rows) == 1 else f"none of the {len(rows)} files can"
    return InputError(f"{what} be used ({printable(told)})", hint="ask for the tracks as WAV, mono or stereo")


def _sources(kept: Sequence[_Row], traces: Sequence[Trace], ids: Ids, cancel: Cancel | None) -> list[SourceIntake]:
    layers = {
        row.id: Layer(row.id, row.name, row.reading.role, trace, row.received.audio)
        for row, trace in zip(kept, traces, strict=True)
    }
    rows = {row.id: row for row in kept}
    found = []
    readings = read_sources(list(layers.values()), cancel)
    labels = {row.id: printable(row.received.label) for row in kept}
    inverted = polarity_faults([[layers[id_] for id_ in reading.members] for reading in readings], labels, cancel)
    for id_, fault in inverted.items():
        rows[id_].faults += (fault,)
    for reading in readings:
        source = ids.new(slug(reading.stem) or "source")
        for member in reading.members:
            rows[member].source = source
        name = reading.stem.capitalize()
        found.append(SourceIntake(id=source, name=name, tracks=reading.members, reasons=reading.reasons))
    return found


def _groups(kept: Sequence[_Row], ids: Ids) -> tuple[Group, ...]:
    wanted = {row.id: group_of(row.reading.role, row.name) for row in kept}
    groups = []
    for group, name in GROUP_NAMES.items():
        members = [row for row in kept if wanted[row.id] == group]
        if members:
            # A track "bass" and a group "bass" would be one target to a move: the group gives way.
            taken = ids.new(group, otherwise=f"{group}-group")
            groups.append(Group(id=taken, name=name))
            for row in members:
                row.group = taken
    return tuple(groups)


def _marked(rows: Sequence[_Row], duration_s: float) -> tuple[str, list[Section]]:
    """Return the file whose marks name most sections, and these; a file that starts late would put them too early."""
    found: tuple[str, list[Section]] = ("", [])
    for row in rows:
        info = row.received.info
        if info is None or any(fault.kind == "starts_late" for fault in row.faults):
            continue
        sections = marked_sections(info, duration_s)
        if len(sections) > len(found[1]):
            found = printable(row.received.label), sections
    return found


def _sections(
    kept: Sequence[_Row], traces: Sequence[Trace], grid: Grid, duration_s: float, lead: int | None
) -> list[Section]:
    members: dict[str, list[Trace]] = {}
    for row, trace in zip(kept, traces, strict=True):
        members.setdefault(row.source or row.id, []).append(trace)
    sung = None
    if lead is not None and kept[lead].reading.role == "lead vocal":
        sung = list(members).index(kept[lead].source or kept[lead].id)
    return find_sections(list(members.values()), grid, duration_s, sung)


def _stem(label: str) -> str:
    name = label.rsplit("/", 1)[-1]
    return name.rsplit(".", 1)[0] if "." in name.lstrip(".") else name


def _track(row: _Row) -> Track:
    return Track(
        id=row.id,
        name=printable(_stem(row.received.label)),
        file=row.received.file,
        sha256=row.received.sha256,
        role=row.reading.role,
        role_confidence=row.reading.confidence,
        place=place_of(row.reading.role),
        source=row.source,
        group=row.group,
        use=not row.why,
        why=row.why,
    )


def _intake(row: _Row) -> TrackIntake:
    info, heard = row.received.info, row.received.heard
    return TrackIntake(
        id=row.id,
        file=printable(row.received.label),
        role=row.reading.role,
        role_confidence=row.reading.confidence,
        place=place_of(row.reading.role),
        source=row.source or row.id,
        group=row.group,
        use=not row.why,
        start_s=0.0,
        sample_rate_hz=info.sample_rate_hz if info else heard.rate_hz if heard else None,
        channels=info.channels if info else heard.channels if heard else None,
        duration_s=heard.frames / heard.rate_hz if heard else None,
        faults=row.faults,
        why=row.why,
    )
