# SPDX-License-Identifier: Apache-2.0
"""An invented song and invented results of every command, for tests of what is shown; no figure is measured."""

from __future__ import annotations

import math

from invented_hearing import SECTIONS as SECTIONS
from invented_hearing import hearing_result, name_of
from mixwright.model.audio import Fault
from mixwright.model.chain import ChainResult, ChainStage
from mixwright.model.colour_inserts import Saturation
from mixwright.model.filter_inserts import Filters
from mixwright.model.filters import EqBand
from mixwright.model.levels import Levels
from mixwright.model.prints import DeliverResult, PrintedFile
from mixwright.model.results import (
    CheckedFile,
    CheckLine,
    CheckResult,
    CleanResult,
    DecideResult,
    MeasureResult,
    MissingFile,
    MixResult,
    MovedFile,
    PlannedMove,
    PlanResult,
    RefreshResult,
    RelinkResult,
    SectionLevel,
    SourceIntake,
    SpectrumSpread,
    Spread,
    StartResult,
    TourResult,
    TrackFile,
    TrackIntake,
    TrackLevels,
)
from mixwright.model.song import Group, Move, Reference, Song, Track
from mixwright.model.undone import RedoResult, UndoResult

RATE_HZ = 48000
#: id, role, place, group, loudness beside the mix, interval, sections in which it sounds.
LAYERS = (
    ("lead-vox", "lead vocal", "lead", "voices", -5.3, (-4.0, -1.3), "1 2 3 4 5 6"),
    ("lead-double", "double", "support", "voices", -17.9, (-20.0, -12.0), "2 4 6"),
    ("choir-high", "backing vocal", "bed", "voices", -14.2, (-21.0, -13.0), "2 4 6"),
    ("choir-low", "backing vocal", "bed", "voices", -16.0, (-21.0, -13.0), "2 4 6"),
    ("whisper", "backing vocal", "bed", "voices", -27.4, (-30.0, -18.0), "1 5"),
    ("kick-in", "kick", "support", "drums", -12.1, (-17.0, -9.3), "1 2 3 4 6"),
    ("snare-top", "snare", "support", "drums", -15.0, (-21.4, -12.2), "1 2 3 4 6"),
    ("overheads", "overheads", "support", "drums", -13.6, (-15.5, -9.9), "1 2 3 4 5 6 7"),
    ("shaker", "percussion", "bed", "drums", -31.0, None, "2 4 6"),
    ("bass-di", "bass", "support", "bass", -4.2, (-12.4, -6.6), "0 1 2 3 4 5 6"),
    ("bass-amp", "bass", "support", "bass", -13.0, (-16.0, -8.0), "2 4 6"),
    ("sub-synth", "bass", "bed", "bass", -20.3, (-24.0, -14.0), "4 6"),
    ("guitar-left", "electric guitar", "support", "guitars", -14.8, (-18.0, -10.0), "2 4 6"),
    ("guitar-right", "electric guitar", "support", "guitars", -15.1, (-18.0, -10.0), "2 4 6"),
    ("guitar-clean", "electric guitar", "support", "guitars", -19.5, (-22.0, -13.0), "0 1 3"),
    ("acoustic", "acoustic guitar", "bed", "guitars", -22.2, (-24.0, -14.0), "1 3 5 7"),
    ("organ", "organ", "bed", "keys", -23.8, (-26.0, -16.0), "2 4 5 6"),
    ("piano", "keys", "support", "keys", -18.1, (-22.0, -13.0), "0 1 3 5 7"),
    ("warm-pad", "pad", "bed", "keys", -11.0, (-26.0, -16.0), "0 1 2 3 4 5 6 7"),
    ("pluck", "synth", "support", "keys", -20.9, (-23.0, -13.0), "2 3 4 6"),
    ("riser", "effects", "bed", "effects", -29.6, None, "1 3 5"),
    ("found-voices", "effects", "bed", "effects", None, None, ""),
)
LEVELS = Levels(
    duration_s=202.0,
    integrated_lufs=-16.24,
    momentary_max_lufs=-11.9,
    short_term_max_lufs=-13.3,
    loudness_range_lu=8.1,
    true_peak_dbtp=-1.73,
    sample_peak_dbfs=-1.95,
    plr_db=14.51,
    psr_min_db=10.2,
    rms_dbfs=-18.9,
    crest_db=16.9,
    dc_dbfs=None,
    correlation=0.62,
    side_to_mid_db=-8.4,
    third_octave_hz=tuple(1000.0 * 10 ** (n / 10) for n in range(-17, 14)),
    third_octave_db=tuple(-28.0 - 0.028 * n * n - (4.0 if n == 6 else 0.0) + (3.6 if n == -6 else 0.0) - (
        12.0 if n < -13 else 0.0) for n in range(-17, 14)),
)  # fmt: skip


def song(*, moves: tuple[Move, ...] | None = None, lead: tuple[str, ...] = ("lead-vox",), title: str = "") -> Song:
    """Return the invented song."""
    tracks = tuple(
        Track(id=id_, name=name_of(id_), file=f"../from-artist/{id_}.wav", role=role, place=place, group=group)
        for id_, role, place, group, _, _, _ in LAYERS
    )
    groups = tuple(Group(id=g, name=name_of(g)) for g in ("voices", "drums", "bass", "guitars", "keys", "effects"))
    return Song(
        title=title or "Night Bus to Harrow Hill",
        artist="The Invented Lanterns",
        rate_hz=RATE_HZ,
        tempo_bpm=120.0,
        lead=lead,
        tracks=tracks,
        groups=groups,
        sections=SECTIONS,
        references=(Reference(id="one", file="../records/one.flac"), Reference(id="two", file="../records/two.flac")),
        moves=_moves() if moves is None else moves,
    )


def start_result(*, title: str = "Night Bus to Harrow Hill") -> StartResult:
    """Return what intake found: three faulty files and some questions."""
    faults = {
        "bass-amp": (Fault(kind="clipped", severity="look", detail="214 clipped samples in 31 places", at_s=51.2),),
        "piano": (Fault(kind="mono_as_stereo", severity="note", detail="both sides are equal"),),
        "found-voices": (Fault(kind="unreadable", severity="unusable", detail="the file ends within its header"),),
        "guitar-right": (Fault(kind="exact_duplicate", severity="look", detail="same audio as guitar-left.wav"),),
    }
    tracks = tuple(
        TrackIntake(
            id=id_,
            file=f"{id_}.wav",
            role=role,
            role_confidence=0.95 if "vox" in id_ else 0.7,
            place=place,
            source=id_,
            group=group,
            use=id_ != "found-voices",
            start_s=0.0,
            sample_rate_hz=RATE_HZ,
            channels=2,
            duration_s=None if id_ == "found-voices" else 202.0,
            faults=faults.get(id_, ()),
        )
        for id_, role, place, group, _, _, _ in LAYERS
    )
    return StartResult(
        folder="night-bus",
        title=title,
        rate_hz=RATE_HZ,
        duration_s=202.0,
        tempo_bpm=120.0,
        lead_guess="lead-vox",
        tracks=tracks,
        sections=SECTIONS,
        references=("records/one.flac", "records/two.flac"),
        rough="rough.wav",
        questions=("Is guitar-right.wav meant to equal guitar-left.wav?", "Can found-voices.wav be sent again?"),
        ignored_files=2,
        sources=(
            SourceIntake(
                id="bass", name="Bass", tracks=("bass-di", "bass-amp"), reasons=("one name", "like each other 0.9")
            ),
        ),
    )  # fmt: skip


def measure_result(moves: tuple[str, ...] = ("level-warm-pad-7d10c2",)) -> MeasureResult:
    """Return levels in which the bass and the pad are too loud and the lead too soft."""
    tracks = []
    for id_, role, place, group, level, held, sounds in LAYERS:
        parts = [SECTIONS[int(n)] for n in sounds.split()]
        tracks.append(
            TrackLevels(
                id=id_,
                name=name_of(id_),
                role=role,
                place=place,
                source=id_,
                group=group,
                integrated_lufs=None if level is None else level - 16.2,
                re_mix_lu=level,
                active_s=sum(part.end_s - part.start_s for part in parts),
                levels=LEVELS,
                sections=tuple(
                    SectionLevel(
                        name=s.name,
                        integrated_lufs=level - 16.0 if s in parts else None,
                        re_mix_lu=level + 2 * math.sin(i) if s in parts else None,
                    )
                    for i, s in enumerate(SECTIONS)
                ),
                sounds=tuple((p.start_s + (0.4 if place == "lead" else 0.0), p.end_s) for p in parts),
                spread=held and Spread(low=held[0], high=held[1], unit="lu_re_mix", source="8 engineers on 8 songs"),
            )
        )
    middle = [-11.8 - 0.03 * n * n - (12.0 if n < -13 else 0.0) for n in range(-17, 14)]
    return MeasureResult(
        mix=LEVELS,
        tracks=tuple(tracks),
        sections=SECTIONS,
        moves=moves,
        hearing=hearing_result(),
        reference_spectrum=SpectrumSpread(
            third_octave_hz=LEVELS.third_octave_hz,
            low_db=tuple(m - 2.0 - 0.06 * abs(n - 15) for n, m in enumerate(middle)),
            high_db=tuple(m + 1.6 + 0.06 * abs(n - 15) for n, m in enumerate(middle)),
            references=("one", "two"),
        ),
    )


def plan_result() -> PlanResult:
    """Return a plan of five moves."""
    return PlanResult(
        lead=("lead-vox",),
        moves=tuple(_planned(*move) for move in _PLANNED),
        left_as_is=("Kick in: -12.1 LU, inside -17.0 to -9.3 LU.", "Overheads: -13.6 LU, inside -15.5 to -9.9 LU."),
        notes=("Measured against two references and the intervals of engineers.",),
    )


def decide_result() -> DecideResult:
    """Return two accepted moves."""
    moves = tuple(_planned(*move) for move in _PLANNED[:2])
    return DecideResult(moves=moves, song_moves={"proposed": 3, "accepted": 2, "refused": 0})


def chain_result() -> ChainResult:
    """Return a chain of two inserts, the first of which is too loud for the second."""
    cut = Filters(bands=(EqBand(hz=300.0, gain_db=-3.0),), sections=("chorus",))
    bend = Saturation(drive_db=9.0, mix=0.5)
    return ChainResult(
        target="lead-vox",
        kind="track",
        name="Lead Vox",
        in_lufs=-20.04,
        true_peak_in_dbtp=-3.1,
        stages=(
            ChainStage(
                at="inserts[0]", insert=cut, in_lufs=-19.0, out_lufs=-17.2, gain_db=4.5, held=False,
                true_peak_dbtp=1.3, overloads="saturation",
            ),
            ChainStage(
                at="inserts[1]", insert=bend, in_lufs=-17.9, out_lufs=-17.87, gain_db=-0.5, held=True,
                true_peak_dbtp=-0.4,
            ),
        ),
        saved="voice.toml",
    )  # fmt: skip


def undo_result() -> UndoResult:
    """Return one step taken back."""
    return UndoResult(undone="accept 2 moves", remaining=1)


def redo_result() -> RedoResult:
    """Return one step made again."""
    return RedoResult(redone="accept 2 moves", remaining=0)


def clean_result() -> CleanResult:
    """Return a cache brought to its budget while a command runs."""
    return CleanResult(
        folder="bus/cache",
        freed_bytes=12_300_000_000,
        remaining_bytes=640_000_000,
        in_use_bytes=120_000_000,
        budget_bytes=40 << 30,
        left_alone=1,
    )


def relink_result() -> RelinkResult:
    """Return one file found and one still missing."""
    return RelinkResult(
        folder="/archive",
        found=(MovedFile(use="track", id="bass-di", was="../tracks/Bass DI.wav", file="../../archive/bass.wav"),),
        missing=(MissingFile(use="rough", id="rough", file="../rough.wav", why="nothing there holds the same"),),
    )


def refresh_result() -> RefreshResult:
    """Return a new track with a fault, a changed one, a missing one, and a copy."""
    return RefreshResult(
        added=(start_result().tracks[0],),
        changed=(TrackFile(id="bass-di", file="../tracks/Bass DI.wav"),),
        missing=(TrackFile(id="shaker", file="../tracks/Shaker.wav"),),
        copies=(TrackFile(id="kick-in", file="../tracks/Kick In copy.wav"),),
        questions=("Is the new take meant to replace the old one?",),
        notes=("lead-2 may read as one layer with lead-vox: give them one source in song.toml if so.",),
    )


def mix_result() -> MixResult:
    """Return a rendered mix."""
    return MixResult(
        file="mixes/night-bus.wav",
        sample_format="pcm24",
        rate_hz=RATE_HZ,
        frames=202 * RATE_HZ,
        sha256="5f" * 32,
        levels=LEVELS,
        moves=("level-warm-pad-7d10c2",),
    )


def deliver_result(*, passed: bool = True) -> DeliverResult:
    """Return a delivery whose null test holds or fails."""
    kinds = ("main", "instrumental", "a_cappella", "stem", "stem", "stem")
    names = ("Mix", "Instrumental", "A_Cappella", "Stem_Voices", "Stem_Drums", "Stem_Bass")
    return DeliverResult(
        folder="prints/001",
        manifest="prints/001/manifest.json",
        files=tuple(
            PrintedFile(
                file=f"Invented-Lanterns_Night-Bus_{name}_48k24.wav",
                kind=kind,
                sha256="ab" * 32,
                sample_format="pcm24",
                rate_hz=RATE_HZ,
                frames=202 * RATE_HZ,
                integrated_lufs=-16.2 - i,
                true_peak_dbtp=-1.7 - i,
            )
            for i, (kind, name) in enumerate(zip(kinds, names, strict=True))
        ),
        checks=(
            CheckLine(name="stems sum to the mix", passed=passed, detail="difference -101.3 dBFS; limit -90 dBFS"),
            CheckLine(name="equal length", passed=True, detail="6 files of 9,696,000 frames"),
        ),
    )


def check_result(*, passed: bool = True, fault: bool = False) -> CheckResult:
    """Return one checked file."""
    found = (Fault(kind="dc_offset", severity="look", detail="-48 dBFS on the left side"),) if fault else ()
    return CheckResult(
        files=(
            CheckedFile(
                file="prints/001/Mix.wav",
                container="WAV",
                encoding="PCM_24",
                sample_rate_hz=RATE_HZ,
                channels=2,
                duration_s=202.0,
                levels=LEVELS,
                faults=found,
                checks=(CheckLine(name="true peak at most 0 dBTP", passed=passed, detail="-1.7 dBTP"),),
            ),
        )
    )


def tour_result() -> TourResult:
    """Return where an invented tour left its results."""
    return TourResult(
        song="t/song", page="t/song/page.html", mix="t/song/mixes/m.wav", prints="t/p", files=(), seconds=12.3
    )


_PLANNED = (
    ("level-bass-di-3f9a1c", "level", "bass-di", {"gain_db": -2.9}, "proposed", -4.2, -7.0, (-12.4, -6.6)),
    ("level-lead-vox-b0441e", "level", "lead-vox", {"gain_db": 2.1}, "proposed", -5.3, -3.4, (-4.0, -1.3)),
    ("pan-choir-high-90aa31", "pan", "choir-high", {"left": -1.0, "right": -0.3}, "proposed", None, None, (-1.0, -0.2)),
    ("level-warm-pad-7d10c2", "level", "warm-pad", {"gain_db": -5.0}, "accepted", -11.0, -16.0, (-26.0, -16.0)),
    ("pan-shaker-07be42", "pan", "shaker", {"pan": 0.4}, "refused", None, None, (0.2, 0.8)),
)


def _planned(id_, kind, target, settings, state, now, then, held) -> PlannedMove:
    level = kind == "level"
    return PlannedMove(
        id=id_,
        kind=kind,
        target=target,
        sections=(),
        settings=settings,
        state=state,
        strength=1.0,
        by="plan",
        reason=f"{name_of(target)} stands outside what engineers do." if level else "Doubles start wide.",
        spread=Spread(low=held[0], high=held[1], unit="lu_re_mix" if level else "position", source="8 engineers"),
        measured={"re_mix_lu": now} if level else {},
        predicted={"re_mix_lu": then} if level else {},
        without_it=f"{name_of(target)} stays {abs(then - now):.1f} LU from its interval." if level else "",
        costs=("Lead vox loses 0.4 LU beside it.",) if target == "bass-di" else (),
    )  # fmt: skip


def _moves() -> tuple[Move, ...]:
    planned = (_planned(*move) for move in _PLANNED)
    return tuple(
        Move(id=p.id, kind=p.kind, target=p.target, settings=p.settings, state=p.state, reason=p.reason)
        for p in planned
    )
