# SPDX-License-Identifier: Apache-2.0
"""What each command returns: the `result` of its JSON document."""

from __future__ import annotations

from typing import Literal

from mixwright.model.audio import Fault
from mixwright.model.bounces import Bounce
from mixwright.model.dynamics import Dynamics
from mixwright.model.hearing import HeardBand, HearingResult, LayerLoudness, TakenBy
from mixwright.model.ledger import Finding, Growth, VoicePhrase
from mixwright.model.levels import Levels
from mixwright.model.record import Record
from mixwright.model.song import Reference, Section
from mixwright.model.words import FileUse, MoveKind, MoveState, Place, Role


class TrackIntake(Record, frozen=True, kw_only=True):
    """One received file as intake understood it; header facts are None where it cannot be read.

    `source` is the layer it reads as part of (its own id if it is one). `why` says why `use` is false.
    """

    id: str
    file: str
    role: Role
    role_confidence: float
    place: Place
    source: str
    group: str
    use: bool
    start_s: float
    sample_rate_hz: int | None
    channels: int | None
    duration_s: float | None
    faults: tuple[Fault, ...] = ()
    why: str = ""


class SourceIntake(Record, frozen=True, kw_only=True):
    """Tracks that read as one layer, and why."""

    id: str
    name: str
    tracks: tuple[str, ...]
    reasons: tuple[str, ...]


class StartResult(Record, frozen=True, kw_only=True):
    """Intake of a folder of tracks. `questions` are what to ask the artist, in plain sentences.

    `ignored_files`: how many files there were left aside, `system_files` of them written by an operating system.
    `notes`: what else lies there and may be meant.
    """

    folder: str
    title: str
    rate_hz: int
    duration_s: float
    tempo_bpm: float | None
    lead_guess: str | None
    tracks: tuple[TrackIntake, ...]
    sections: tuple[Section, ...]
    references: tuple[str, ...]
    rough: str | None
    questions: tuple[str, ...]
    ignored_files: int = 0
    system_files: int = 0
    notes: tuple[str, ...] = ()
    sources: tuple[SourceIntake, ...] = ()


class Spread(Record, frozen=True, kw_only=True):
    """The interval within which engineers or references differ, and where it comes from."""

    low: float
    high: float
    unit: Literal["lu_re_mix", "db", "dbtp", "position"]
    source: str


class SpectrumSpread(Record, frozen=True, kw_only=True):
    """What the references span, band by band: third-octave level minus the record's integrated loudness."""

    third_octave_hz: tuple[float, ...]
    low_db: tuple[float | None, ...]
    high_db: tuple[float | None, ...]
    references: tuple[str, ...]


class SectionLevel(LayerLoudness, frozen=True, kw_only=True):
    """Loudness of one layer in one section, by itself and as heard; None where it does not sound."""

    name: str
    integrated_lufs: float | None
    re_mix_lu: float | None


class TrackLevels(LayerLoudness, frozen=True, kw_only=True):
    """One layer as it stands in the mix: after strip, fader, pan and group.

    `re_mix_lu`: loudness minus the loudness of the mix, both integrated over the song.
    `active_s`: how long it sounds. `sounds`: when, as (start, end) in seconds, in order. `spread`:
    where engineers or the references hold such a layer, None where nothing is known. What is heard of it is that of the
    `source` that it reads as; `not_heard` says why there is none. `bands` and `taken_by` stand once, in `hearing`: here
    only documents have them, see mixwright.app.told.
    """

    id: str
    name: str
    role: Role
    place: Place
    source: str
    group: str
    integrated_lufs: float | None
    re_mix_lu: float | None
    active_s: float
    levels: Levels
    sections: tuple[SectionLevel, ...]
    sounds: tuple[tuple[float, float], ...] = ()
    spread: Spread | None = None
    taken_by: tuple[TakenBy, ...] = ()
    bands: tuple[HeardBand, ...] = ()
    not_heard: str = ""


class PrintFit(Record, frozen=True, kw_only=True):
    """How far the layers of a song *as mixed* sum to the given print of the mix.

    `residual_db`: power of the difference over the power of the print (of the layers, where they hold more), after one
    common gain and lag; -150 where nothing is left, None where one of them is silent while the other sounds.
    `polarity`: of the print beside the layers.
    """

    file: str
    residual_db: float | None
    gain_db: float
    polarity: Literal["normal", "inverted"] = "normal"
    lag_frames: int


class SendSection(Record, frozen=True, kw_only=True):
    """A send in one section; None where what feeds it is silent."""

    name: str
    wet_to_dry_lu: float | None


class SendLevel(Record, frozen=True, kw_only=True):
    """A send that something feeds: its return beside what feeds it (tracks and groups by id), dry.

    `reverb`: its kind, None where the send has none. `wet_to_dry_lu`: mean difference of their momentary loudness, None
    where one of them is silent.
    """

    id: str
    name: str
    reverb: Literal["voice", "instruments"] | None
    wet_to_dry_lu: float | None
    fed_by: tuple[str, ...]
    sections: tuple[SendSection, ...] = ()


class MeasureResult(Record, frozen=True, kw_only=True):
    """Levels of the mix as it stands and of every layer in it; `moves`: ids of the accepted moves in it.

    `hearing`: every layer as it is heard, returns of sends too. `dynamics`: what compressors and the limiter do to it,
    None where there are none. `sounding`: hash of every setting and file that was heard; another one means that it is
    out of date. `notes`: which references are not used, and why.

    `voice_line`, `findings` and `grew` stand once, in `hearing`: documents alone have them here, not
    there.
    """

    voice_line: tuple[VoicePhrase, ...] = ()
    findings: tuple[Finding, ...] = ()
    grew: tuple[Growth, ...] = ()
    mix: Levels
    tracks: tuple[TrackLevels, ...]
    sections: tuple[Section, ...]
    print_fit: PrintFit | None = None
    moves: tuple[str, ...] = ()
    sends: tuple[SendLevel, ...] = ()
    hearing: HearingResult | None = None
    reference_spectrum: SpectrumSpread | None = None
    dynamics: Dynamics | None = None
    notes: tuple[str, ...] = ()
    sounding: str = ""


class PlannedMove(Record, frozen=True, kw_only=True):
    """A move with its evidence.

    `settings`: what a person would set. `predicted`: keys with units, what it will measure.
    `without_it`: one sentence, what stays wrong. `costs`: one sentence for each layer it costs. `finding`: id of the
    finding that it answers, among `PlanResult.findings`; empty where it answers none. `towards`: the figure that it
    brings nearer to the records, as `compare` names it; empty where it is made for the song alone.
    """

    id: str
    kind: MoveKind
    target: str
    sections: tuple[str, ...]
    settings: dict[str, float]
    key: str = ""
    send: str = ""
    state: MoveState
    strength: float
    by: Literal["plan", "engineer"]
    reason: str
    evidence: str = ""
    spread: Spread | None = None
    measured: dict[str, float | None] = {}
    predicted: dict[str, float | None] = {}
    without_it: str = ""
    costs: tuple[str, ...] = ()
    finding: str = ""
    towards: str = ""


class PlanResult(Record, frozen=True, kw_only=True):
    """Moves proposed, and the layers that were looked at and left as they are, each with its reason.

    `notes`: what was seen and moves cannot mend. `sounding`: as in MeasureResult, of the mix before the moves.
    `findings`: what the moves answer, as it stood before them; `names`: of their layers, by id.
    """

    lead: tuple[str, ...]
    moves: tuple[PlannedMove, ...]
    left_as_is: tuple[str, ...]
    notes: tuple[str, ...] = ()
    sounding: str = ""
    findings: tuple[Finding, ...] = ()
    names: dict[str, str] = {}


class DecideResult(Record, frozen=True, kw_only=True):
    """Moves with their new state; `song_moves` counts all moves of the song by state."""

    moves: tuple[PlannedMove, ...]
    song_moves: dict[str, int]
    notes: tuple[str, ...] = ()


class MixResult(Record, frozen=True, kw_only=True):
    """A rendered mix; `dynamics` and `sounding` as in MeasureResult, `engine`: the version that rendered it.

    `solo` and `mute`: the layers that sound alone, or do not.
    """

    file: str
    sample_format: Literal["pcm16", "pcm24", "float32"]
    rate_hz: int
    frames: int
    sha256: str
    levels: Levels
    moves: tuple[str, ...]
    notes: tuple[str, ...] = ()
    dynamics: Dynamics | None = None
    sounding: str = ""
    engine: str = ""
    solo: tuple[str, ...] = ()
    mute: tuple[str, ...] = ()


class CheckLine(Record, frozen=True, kw_only=True):
    """One check: what was looked at, what was found, whether it holds."""

    name: str
    passed: bool
    detail: str


class PlayedLevel(Record, frozen=True, kw_only=True):
    """At which level playback that normalises loudness plays a file.

    `normaliser`: the class of playback, in words. `short_of_target_lu`: what the file's peak keeps it below the target.
    """

    normaliser: str
    target_lufs: float
    gain_db: float
    played_lufs: float
    played_dbtp: float
    short_of_target_lu: float


class CheckedFile(Record, frozen=True, kw_only=True):
    """One finished file and what was found; `levels` None where it cannot be read.

    `kind`: which print it is, by its tags, "" where they do not say. `played`: what playback does to its level.
    """

    file: str
    container: str
    encoding: str
    sample_rate_hz: int | None
    channels: int | None
    duration_s: float | None
    levels: Levels | None
    faults: tuple[Fault, ...]
    checks: tuple[CheckLine, ...]
    kind: str = ""
    played: tuple[PlayedLevel, ...] = ()


class CheckResult(Record, frozen=True, kw_only=True):
    """Checks of any finished files, and `checks` of what only shows of all of them together."""

    files: tuple[CheckedFile, ...]
    checks: tuple[CheckLine, ...] = ()


class CleanResult(Record, frozen=True, kw_only=True):
    """What the cache of a song was freed of, and what remains.

    `in_use_bytes`: of what remains, that of commands that are running. `left_alone`: files in the cache folder that are
    no sound entries of ours and were not touched. `released_bytes`: of what bounces superseded.
    """

    folder: str
    freed_bytes: int
    remaining_bytes: int
    in_use_bytes: int
    budget_bytes: int
    left_alone: int
    released_bytes: int = 0


class MovedFile(Record, frozen=True, kw_only=True):
    """A file found by its content, and what the song says now; paths relative to the song."""

    use: FileUse
    id: str
    was: str
    file: str


class MissingFile(Record, frozen=True, kw_only=True):
    """A file that the song names and that is not there, and why it was not found."""

    use: FileUse
    id: str
    file: str
    why: str


class RelinkResult(Record, frozen=True, kw_only=True):
    """Which moved files were found under `folder`, and which are still missing."""

    folder: str
    found: tuple[MovedFile, ...]
    missing: tuple[MissingFile, ...]


class TrackFile(Record, frozen=True, kw_only=True):
    """A file, relative to the song, and the track that it is of."""

    id: str
    file: str


class RefreshResult(Record, frozen=True, kw_only=True):
    """What is new where the tracks lie.

    `added`: new tracks, as intake understood them. `changed`: tracks whose file now holds something else; it is not
    taken. `missing`: tracks whose file is not there. `copies`: new files that hold what a track holds; they are not
    added. `questions`: what to ask the artist about the new ones. `notes`: what is left to a person to decide. `taken`:
    bounces, tracks whose file was written anew, where these were to be taken.
    """

    added: tuple[TrackIntake, ...]
    changed: tuple[TrackFile, ...]
    missing: tuple[TrackFile, ...]
    copies: tuple[TrackFile, ...]
    questions: tuple[str, ...]
    notes: tuple[str, ...] = ()
    taken: tuple[Bounce, ...] = ()


class ReferencesResult(Record, frozen=True, kw_only=True):
    """The references of a song, and what each stands for."""

    references: tuple[Reference, ...]


class TourResult(Record, frozen=True, kw_only=True):
    """Where the tour left its results; `proposed`: ids of the moves that wait to be decided."""

    song: str
    page: str
    mix: str
    prints: str
    files: tuple[str, ...]
    seconds: float
    proposed: tuple[str, ...] = ()
    previews: tuple[str, ...] = ()
