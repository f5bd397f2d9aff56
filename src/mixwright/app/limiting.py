# SPDX-License-Identifier: Apache-2.0
"""What limiting changes between lead, drums and backing, section by section, and which levels before it restore that.

A limiter is a gain over time (decision 10): what it does to a part is that part times the gain, measured. What changes
when parts are moved is measured as well, by mastering the moved mix.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from mixwright.app.mastering import Master, Mastering
from mixwright.app.session import Session
from mixwright.engine.temp_master import mastered
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.meter.loudness import Loudness, change_lu
from mixwright.meter.measure import Meter
from mixwright.meter.true_peak import true_peak_16x
from mixwright.model.preview import LimitedSection
from mixwright.model.results import PlannedMove
from mixwright.model.song import Song, sounding_tracks, targets_of
from mixwright.model.words import DRUM_ROLES
from mixwright.planning.restoring import (
    LEAST_LU,
    MOST_DB,
    MOVED,
    Part,
    against,
    lost,
    restoring_moves,
    trims_of,
)
from mixwright.units import db_from_ratio, frames_from_s, ratio_from_db

#: A part that lies so far below the mix in a section is none of it there.
_UNHEARD_LU = 30.0
_MOST_ROUNDS = 5
#: A part that gets back less than this share of what it is raised by is not raised in larger steps.
_LEAST_GIVEN_BACK = 0.3
_RESTORED_LU = 0.05
_BLOCK_FRAMES = 65536

_BACKING: Part = "backing"
_Changes = dict[Part, float | None]
#: By how much parts are raised, one mapping each section.
_Raised = Sequence[Mapping[Part, float]]


class Limiting(NamedTuple):
    """What limiting changed, the whole song first; the moves that restore it; and the same with them.

    `in_vain`: parts that no level restores, each with the names of the sections.
    """

    limited: tuple[LimitedSection, ...] = ()
    moves: tuple[PlannedMove, ...] = ()
    restored: tuple[LimitedSection, ...] = ()
    in_vain: tuple[tuple[Part, tuple[str, ...]], ...] = ()


def tracks_of_parts(song: Song) -> dict[Part, frozenset[str]]:
    """Return the sounding tracks of lead and drums; all others are the backing.

    Without a confirmed lead, lead vocals are it.
    """
    sounding = sounding_tracks(song)
    ids = {track.id for track in sounding}
    lead = {track.id for name in song.lead for track in targets_of(song, name)} & ids
    lead = lead or {track.id for track in sounding if track.role == "lead vocal"}
    drums = {track.id for track in sounding if track.role in DRUM_ROLES} - lead
    return {"lead": frozenset(lead), "drums": frozenset(drums)}


def limiting(
    session: Session,
    mix: np.ndarray,
    master: Master,
    mastering: Mastering,
    *,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> Limiting:
    """Measure what a master changes between the parts of a mix, and find what restores it.

    Parameters
    ----------
    session : Session
    mix : ndarray
        The rendered mix, float32 ``(frames, 2)``.
    master : Master
        Of that mix.
    mastering : Mastering
        What found it: where parts are raised that are its peaks, it finds other settings.
    report, cancel
        Progress and stop switch.
    """
    parts = _Parts(session, mix, report, cancel)
    if not parts.moved:
        return Limiting()
    spans = [(section.start_s, section.end_s) for section in session.song.sections] or [(0.0, parts.end_s)]
    work = _Work(parts, spans, session.measured(cancel=cancel)[1], master, mastering, report, cancel)
    after = work.heard(master.gain_blocks())
    limited = work.changes(after)
    wanted = [{part: db for part, db in lost(one).items() if abs(db) >= LEAST_LU} for one in limited]
    raised = work.restoring(wanted)
    trims = trims_of(raised)
    told = work.told(session.song, after)
    in_vain = _in_vain(session.song, wanted, raised)
    if not trims:
        return Limiting(told, in_vain=in_vain)
    raised = [{trim.part: trim.gain_db for trim in trims if k in trim.sections} for k in range(len(spans))]
    restored = work.moved(raised)
    moves = restoring_moves(session.song, parts.tracks, trims, limited, work.changes(restored))
    return Limiting(told, moves, work.told(session.song, restored), in_vain)


def _in_vain(song: Song, wanted: _Raised, raised: _Raised) -> tuple[tuple[Part, tuple[str, ...]], ...]:
    """Return the parts that were to be restored and are not, with the names of the sections."""
    found = []
    for part in MOVED:
        places = [k for k, one in enumerate(wanted) if part in one and part not in raised[k]]
        if places:
            found.append((part, tuple(song.sections[k].name for k in places if song.sections)))
    return tuple(found)


class _Parts:
    """Lead, drums and backing of a mix, as they stand in it."""

    def __init__(self, session: Session, mix: np.ndarray, report: Report, cancel: Cancel | None) -> None:
        self._mix = mix
        self.rate_hz = session.song.rate_hz
        self.frames = len(mix)
        self.end_s = self.frames / self.rate_hz
        self.tracks = tracks_of_parts(session.song)
        self.moved = {
            part: session.rendered(self.tracks[part], report=report, cancel=cancel)
            for part in MOVED
            if self.tracks[part]
        }

    def stretch(self, frame: int, frames: int) -> dict[Part, np.ndarray]:
        """Return float64 ``(frames, 2)`` of every part; together they are the mix."""
        piece = slice(frame, frame + frames)
        found = {part: audio[piece].astype(np.float64) for part, audio in self.moved.items()}
        return {**found, "backing": self._mix[piece] - sum(found.values(), np.zeros(1))}


@dataclass(frozen=True, eq=False)
class _Work:
    parts: _Parts
    spans: Sequence[tuple[float, float]]
    mix: Loudness
    master: Master
    mastering: Mastering
    report: Report
    cancel: Cancel | None

    @functools.cached_property
    def before(self) -> dict[Part, Loudness]:
        """The parts without any master."""
        return self.heard(np.ones(1) for _ in range(0, self.parts.frames, _BLOCK_FRAMES))

    def heard(self, gains: Iterable[np.ndarray], raised: _Raised = ()) -> dict[Part, Loudness]:
        """Measure the parts through a gain, given in blocks that are as long as the song together, or of one value.

        A block of one value holds for the usual length of one.
        """
        names = (*self.parts.moved, _BACKING)
        meters = {part: Meter(self.parts.rate_hz, 2, spectrum=False, true_peak=False) for part in names}
        job = Job("measuring what limiting changes", max(1, self.parts.frames), self.report, self.cancel)
        frame = 0
        for gain in gains:
            count = min(_BLOCK_FRAMES if len(gain) == 1 else len(gain), self.parts.frames - frame)
            for part, audio in self.parts.stretch(frame, count).items():
                meters[part].push(audio * (gain * self._factor(part, raised, frame, count))[:, np.newaxis])
            frame += count
            job.step(count)
        return {part: meter.loudness() for part, meter in meters.items()}

    def moved(self, raised: _Raised) -> dict[Part, Loudness]:
        """Measure the parts, raised, through the gains that are made of them: by the same master within its bound."""

        def mix() -> Iterator[np.ndarray]:
            for frame in range(0, self.parts.frames, _BLOCK_FRAMES):
                count = min(_BLOCK_FRAMES, self.parts.frames - frame)
                stretch = self.parts.stretch(frame, count)
                moved = (
                    audio * self._factor(part, raised, frame, count)[:, np.newaxis] for part, audio in stretch.items()
                )
                yield sum(moved, np.zeros((count, 2)))

        settings = self.master.settings
        assert settings.ceiling_dbtp is not None
        unlimited = mastered(mix(), self.parts.rate_hz, settings._replace(gain_db=0.0, ceiling_dbtp=None))
        peak_dbtp = db_from_ratio(true_peak_16x(one.audio for one in unlimited))
        bound_db = settings.ceiling_dbtp + self.mastering.most_reduction_db
        if peak_dbtp is not None and settings.gain_db + peak_dbtp > bound_db:
            # With its bound in the way the next preview is softer, or a compressor comes in.
            settings = self.mastering.of_another(mix, settings.ceiling_dbtp)
        stretches = mastered(mix(), self.parts.rate_hz, settings)
        return self.heard((one.compressed.astype(np.float64) * one.limited for one in stretches), raised)

    def restoring(self, wanted: _Raised) -> list[dict[Part, float]]:
        """Return by how much parts have to be raised in each section, so that limited they stand as they did.

        Where a part is what is limited, the limiter takes what it is given: there it is left as it is.
        """
        raised = [{part: _bounded(db) for part, db in one.items()} for one in wanted]
        rounds = 0
        before: dict[tuple[Part, int], tuple[float, float]] = {}
        while any(raised):
            left = [lost(one) for one in self.changes(self.moved(raised))]
            rest = {(part, k): left[k].get(part, 0.0) for k, one in enumerate(raised) for part in one}
            rounds += 1
            if max(map(abs, rest.values())) <= _RESTORED_LU:
                break
            if rounds % _MOST_ROUNDS == 0:
                in_vain = [(part, k) for (part, k), db in rest.items() if abs(db) > LEAST_LU]
                if not in_vain:
                    break
                for k in {k for _, k in in_vain}:
                    worst = max((one for one in in_vain if one[1] == k), key=lambda one: abs(rest[one]))
                    del raised[k][worst[0]]
                    raised[k] = {part: _bounded(wanted[k][part]) for part in raised[k]}
                before.clear()
                continue
            for (part, k), db in rest.items():
                at = raised[k][part]
                was_at, was_left = before.get((part, k), (0.0, wanted[k][part]))
                gives_back = (was_left - db) / (at - was_at) if at != was_at else 1.0
                before[part, k] = (at, db)
                raised[k][part] = _bounded(at + db / max(_LEAST_GIVEN_BACK, gives_back))
        return raised

    def changes(self, after: Mapping[Part, Loudness]) -> list[_Changes]:
        """Return what became of the parts in every section."""
        return [self._change(after, start_s, end_s) for start_s, end_s in self.spans]

    def told(self, song: Song, after: Mapping[Part, Loudness]) -> tuple[LimitedSection, ...]:
        """Return what became of the parts in the whole song, and in every section."""
        places = [("", 0.0, self.parts.end_s)]
        places += [(section.name, section.start_s, section.end_s) for section in song.sections]
        return tuple(
            _section(name, start_s, end_s, self._change(after, start_s, end_s)) for name, start_s, end_s in places
        )

    def _change(self, after: Mapping[Part, Loudness], start_s: float, end_s: float) -> _Changes:
        whole = self.mix.integrated_lufs(start_s, end_s)
        found: _Changes = {}
        for part, loudness in self.before.items():
            own = loudness.integrated_lufs(start_s, end_s)
            sounds = own is not None and whole is not None and own > whole - _UNHEARD_LU
            found[part] = change_lu(loudness, after[part], start_s, end_s) if sounds else None
        return found

    def _factor(self, part: Part, raised: _Raised, frame: int, frames: int) -> np.ndarray:
        """Return by how much a part is raised in some frames: all of a section alike."""
        factor = np.ones(frames)
        for (start_s, end_s), one in zip(self.spans, raised, strict=False):
            first, end = (max(0, frames_from_s(at, self.parts.rate_hz) - frame) for at in (start_s, end_s))
            factor[first:end] = ratio_from_db(one.get(part, 0.0))
        return factor


def _bounded(db: float) -> float:
    return max(-MOST_DB, min(MOST_DB, db))


def _section(name: str, start_s: float, end_s: float, change: _Changes) -> LimitedSection:
    return LimitedSection(
        name=name,
        start_s=start_s,
        end_s=end_s,
        lead_lu=change.get("lead"),
        backing_lu=change.get("backing"),
        drums_lu=change.get("drums"),
        lead_to_backing_lu=against(change, "lead", "backing"),
        lead_to_drums_lu=against(change, "lead", "drums"),
        drums_to_backing_lu=against(change, "drums", "backing"),
    )
