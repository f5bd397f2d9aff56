# SPDX-License-Identifier: Apache-2.0
"""What the page shows of a song: as `song.toml` has it, and how it was last heard."""

from __future__ import annotations

from mixwright.model.ledger import FindingKind, Verdict, VoiceInterval
from mixwright.model.ranges import Range, TakenBy
from mixwright.model.record import Record
from mixwright.model.song import Section
from mixwright.model.words import Place, Role


class Walk(Record, frozen=True, kw_only=True):
    """The walk through the page of a song, kept with it; `waits`: nobody has ended it yet."""

    waits: bool


class ViewedTrack(Record, frozen=True, kw_only=True):
    """A track as the song has it; `look`: what intake found that needs a look, one sentence each."""

    id: str
    name: str
    file: str
    role: Role
    role_confidence: float
    place: Place
    place_in: dict[str, Place]
    source: str
    group: str
    use: bool
    why: str = ""
    mute: bool = False
    look: tuple[str, ...] = ()


class ViewedName(Record, frozen=True, kw_only=True):
    """A source, group, reference or layer by id and name."""

    id: str
    name: str


class ViewedPhrase(Record, frozen=True, kw_only=True):
    """A phrase as in `VoicePhrase`, in a sentence; `fix`: the smallest thing that would mend it, "" where none is due.

    `worst`: its rank among those that fall short, from 1, None of others.
    """

    start_s: float
    end_s: float
    section: str
    margin_db: Range
    rise_db: Range
    re_mix_lu: float | None
    taken_by: tuple[TakenBy, ...]
    told: str
    fix: str = ""
    worst: int | None = None


class ViewedLine(Record, frozen=True, kw_only=True):
    """The line of one layer that is followed.

    `told`: how many phrases fall short; `beside`: how loud it is beside the mix, "" where that is not known.
    """

    layer: str
    name: str
    told: str
    beside: str
    phrases: tuple[ViewedPhrase, ...]


class ViewedRow(Record, frozen=True, kw_only=True):
    """A row of the song map: a layer by its place as the song has it, ``return`` for that of a send.

    `kept`: for every second, the percentage of its loudness that the mix leaves, None where it does not sound; empty
    where it was not heard yet. `told`: the same in words. `findings`: ids of those outside its tolerance, furthest
    first.
    """

    id: str
    name: str
    place: str
    place_in: dict[str, Place]
    tracks: tuple[str, ...]
    kept: tuple[int | None, ...] = ()
    fader_equivalent_db: Range | None = None
    told: str = ""
    findings: tuple[str, ...] = ()


class ViewedFinding(Record, frozen=True, kw_only=True):
    """A finding as in `Finding`, by weight; `where` and `told`: its two halves in words."""

    id: str
    kind: FindingKind
    track: str
    section: str
    start_s: float
    end_s: float
    band_hz: tuple[float, float] | None
    excess_db: float
    caused_by: tuple[TakenBy, ...]
    verdict: Verdict
    where: str
    told: str


class Heard(Record, frozen=True, kw_only=True):
    """How the song was last heard.

    `outdated`: what was changed since, "" where nothing was. `circumstances`: at which level and how it was heard.
    `guessed`: the line is that of the lead that intake takes it for.
    """

    outdated: str
    circumstances: str
    integrated_lufs: float | None
    true_peak_dbtp: float | None
    guessed: bool
    lines: tuple[ViewedLine, ...]
    interval: VoiceInterval | None
    findings: tuple[ViewedFinding, ...]
    told: str


class Question(Record, frozen=True, kw_only=True):
    """A question to the engineer: what a track is; `guess`: what intake takes it for."""

    track: str
    told: str
    guess: Role


class SongView(Record, frozen=True, kw_only=True):
    """Everything that the first view of a song shows.

    `version`: of song.toml, given back with every change. `lead`: who is followed, confirmed; `lead_guess`: whom intake
    takes for it. `rows`: of the song map, by place. `moves`: how many there are by state. `planned`: a plan is kept.
    `undo`: what `undo` would take back, "" where nothing; `redo` likewise. `walk`: the walk through the page is due.
    `problems`: what could not be read, files that are missing.
    """

    version: str
    folder: str
    title: str
    artist: str
    rate_hz: int
    duration_s: float
    tempo_bpm: float | None
    beats_per_bar: int
    first_bar_s: float
    lead: tuple[str, ...]
    lead_guess: str | None
    tracks: tuple[ViewedTrack, ...]
    sources: tuple[ViewedName, ...]
    groups: tuple[ViewedName, ...]
    sections: tuple[Section, ...]
    rows: tuple[ViewedRow, ...]
    references: tuple[ViewedName, ...]
    rough: str
    moves: dict[str, int]
    questions: tuple[Question, ...]
    for_the_artist: tuple[str, ...]
    planned: bool
    undo: str
    redo: str
    walk: bool
    heard: Heard | None
    problems: tuple[str, ...]


class CoveredRow(Record, frozen=True, kw_only=True):
    """A layer in a band and section, in sone: loudness alone, and what the mix leaves of it; who takes the rest."""

    id: str
    name: str
    alone_sone: float
    in_mix_sone: Range
    taken_by: tuple[TakenBy, ...]


class FindingView(Record, frozen=True, kw_only=True):
    """Who covers whom where a finding lies: every layer that sounds there, the loudest alone first.

    `band_hz`: the bands that are told, which hold that of the finding. `takes`: what a layer takes of the one that the
    finding is about, by id. `fix`: moves of the plan that answer it, one sentence each.
    """

    finding: ViewedFinding
    band_hz: tuple[float, float]
    rows: tuple[CoveredRow, ...]
    takes: dict[str, float]
    fix: tuple[str, ...]
