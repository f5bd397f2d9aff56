# SPDX-License-Identifier: Apache-2.0
"""Which layer a move is made for, and in which stretches of the song that is heard."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.app.listening import Row
from mixwright.app.session import Session
from mixwright.engine.graph import bus
from mixwright.engine.returns import feeding_tracks
from mixwright.hearing.heard import BAND_CELLS, CELL_S, Stretch
from mixwright.hearing.heard_from import cells_of
from mixwright.ledger.findings import whole_song
from mixwright.model.hearing import HeardLayer
from mixwright.model.ledger import Finding
from mixwright.model.receipts import SpanLeftOut
from mixwright.model.results import MeasureResult, PlannedMove, PlanResult
from mixwright.model.song import MASTER, Move, Section, Song, source_of, targets_of

#: So long a stretch of each section is heard.
SPAN_S = 20.0
#: A stretch that was chosen for another move does as well where it holds this part of what the worst one holds.
_AS_BAD = 0.9
#: So many stretches are heard at most over all moves, and of each move at least so many.
MOST_SPANS, LEAST_SPANS = 96, 3


@dataclass(frozen=True)
class Purpose:
    """What a move is about: the rows that it moves, the one that it is for, and findings of that one."""

    moved: tuple[str, ...]
    victim: str | None
    findings: tuple[Finding, ...] = ()
    answers: Finding | None = None


@dataclass(frozen=True)
class Span:
    """A stretch of a section."""

    section: str
    stretch: Stretch


def purpose_of(
    song: Song,
    move: Move,
    rows: Sequence[Row],
    follows: Collection[str],
    plan: PlanResult | None,
    measured: MeasureResult | None,
) -> Purpose:
    """Return what a move is about.

    The layer that it is for is that of the finding which the plan made it for; of a raise the layer that is raised;
    else the one that loses most to the layers moved, by the findings of the last plan or measure; else the lead.
    """
    moved = moved_rows(song, move, rows)
    heard = measured.hearing.findings if measured is not None and measured.hearing is not None else ()
    planned = _planned(plan, move)
    known = {one.id: one for one in (*heard, *(plan.findings if plan is not None else ()))}
    answers = known.get(planned.finding) if planned is not None else None
    sounding = {row.id for row in rows}

    def about(track: str) -> tuple[Finding, ...]:
        ours = (one for one in known.values() if one.track == track and one.kind not in ("brighter", "only_covered"))
        return tuple(one for one in ours if one.taker is None or one.taker in moved or track in moved)

    if answers is not None and answers.track in sounding:
        return Purpose(moved, answers.track, about(answers.track), answers)
    if move.kind == "level" and move.settings.get("gain_db", 0.0) > 0.0 and moved:
        return Purpose(moved, moved[0], about(moved[0]))
    parts = set(move.sections) or {part.name for part in song.sections} | {""}
    losing = [
        one
        for one in known.values()
        if one.section in parts
        and one.track in sounding
        and one.track not in moved
        and (one.taker in moved if one.taker is not None else bool(one.caused_by) and one.caused_by[0].track in moved)
    ]
    if losing:
        worst = max(losing, key=lambda one: (one.excess_db, one.id))
        return Purpose(moved, worst.track, about(worst.track))
    lead = next((row.id for row in rows if row.id in follows), None)
    return Purpose(moved, lead, about(lead) if lead is not None else ())


def _planned(plan: PlanResult | None, move: Move) -> PlannedMove | None:
    return next((one for one in plan.moves if one.id == move.id), None) if plan is not None else None


def moved_rows(song: Song, move: Move, rows: Sequence[Row]) -> tuple[str, ...]:
    """Return the rows that a move moves, in their order; none of a move of the whole mix."""
    if move.target == MASTER:
        return ()
    if move.send:
        wanted = {bus(move.send, "send")}
    else:
        wanted = {move.target, *(source_of(track) for track in targets_of(song, move.target))}
    return tuple(row.id for row in rows if row.id in wanted)


class Worst:
    """Chooses the stretches in which moves are heard: of each section where most is at stake.

    That is where the victim loses most, as far as the last measure knows it, else where the moved layers sound most.
    Moves share a stretch where it is nearly as bad for both.
    """

    def __init__(self, session: Session, rows: Sequence[Row], measured: MeasureResult | None) -> None:
        self._session = session
        self._rows = {row.id: row for row in rows}
        hearing = measured.hearing if measured is not None else None
        self._layers: Mapping[str, HeardLayer] = {one.id: one for one in hearing.layers} if hearing else {}
        self._chosen: dict[str, list[Span]] = {}
        self._cells = cells_of(session.graph.frames, session.graph.rate_hz)
        self._loud: dict[str, np.ndarray] = {}

    def sections(self) -> tuple[Section, ...]:
        """Return the sections of the song, or the whole of it as one without a name."""
        return self._session.song.sections or whole_song(self._cells * CELL_S)

    def spans(self, move: Move, purpose: Purpose, most: int) -> tuple[list[Span], list[SpanLeftOut]]:
        """Return the stretches in which a move is heard, and the sections in which it is not, in order of the song.

        Where not all can be heard the section of the finding that it answers comes first, then those of other findings
        that it bears on.
        """
        found: list[tuple[float, Span]] = []
        left_out: list[SpanLeftOut] = []
        for section in self.sections():
            if move.sections and section.name not in move.sections:
                continue
            sounds = self._sum([self._sounding(id_) for id_ in purpose.moved or self._rows])
            if not sounds[self._seconds(section)].sum() > 0.0:
                what = "what it moves is silent there" if purpose.moved else "nothing sounds there"
                left_out.append(SpanLeftOut(section=section.name, why=what))
                continue
            stake = self._loss(purpose.victim) if purpose.victim is not None else None
            profile = sounds if stake is None or not stake[self._seconds(section)].sum() > 0.0 else stake
            span = self._worst(section, profile)
            if span is None:
                left_out.append(SpanLeftOut(section=section.name, why="it lies beyond the end of the song"))
            else:
                found.append((float(profile[self._seconds(section)].sum()), span))
        answers = purpose.answers.section if purpose.answers is not None else None
        asked = {one.section for one in purpose.findings if one.verdict != "left as is"}

        def urgent(k: int) -> tuple[bool, bool, float]:
            stake, span = found[k]
            return span.section != answers, span.section not in asked, -stake

        order = sorted(range(len(found)), key=urgent)
        taken = set(order[:most])
        why = f"of {len(found)} sections the worst {most} were heard"
        left_out += [
            SpanLeftOut(section=found[k][1].section, why=why, for_time=True)
            for k in range(len(found))
            if k not in taken
        ]
        return [found[k][1] for k in sorted(taken)], left_out

    def _seconds(self, section: Section) -> slice:
        return slice(int(section.start_s), max(int(section.start_s) + 1, int(np.ceil(section.end_s))))

    def _worst(self, section: Section, profile: np.ndarray) -> Span | None:
        """Return the stretch of a section with most of a profile by seconds."""
        block_s = BAND_CELLS * CELL_S
        first, end = (min(round(at / block_s) * BAND_CELLS, self._cells) for at in (section.start_s, section.end_s))
        length = round(SPAN_S / block_s) * BAND_CELLS
        if end <= first:
            return None
        if end - first <= length:
            return self._choose(Span(section.name, Stretch(first, end)))
        starts = range(first, end - length + 1, BAND_CELLS)
        totals = [self._held(profile, start, start + length) for start in starts]
        best = int(np.argmax(np.round(totals, 9)))
        for span in self._chosen.get(section.name, ()):
            if self._held(profile, span.stretch.first, span.stretch.end) >= _AS_BAD * totals[best]:
                return span
        return self._choose(Span(section.name, Stretch(starts[best], starts[best] + length)))

    def _choose(self, span: Span) -> Span:
        here = self._chosen.setdefault(span.section, [])
        if span not in here:
            here.append(span)
        return span

    def _held(self, profile: np.ndarray, first: int, end: int) -> float:
        """Return how much of a profile by seconds lies between two cells."""
        total = np.concatenate([[0.0], np.cumsum(profile)])
        a, b = np.interp([first * CELL_S, end * CELL_S], np.arange(len(total)), total)
        return float(b - a)

    def _length(self) -> int:
        return int(np.ceil(self._cells * CELL_S)) + 1

    def _sum(self, profiles: Sequence[np.ndarray]) -> np.ndarray:
        return np.asarray(np.sum([np.zeros(self._length()), *profiles], axis=0))

    def _loss(self, id_: str) -> np.ndarray | None:
        """Return what a layer loses by seconds, None where the last measure does not know it."""
        layer = self._layers.get(id_)
        if layer is None or not layer.kept:
            return None
        lost = np.array([0.0 if kept is None else 100.0 - kept for kept in layer.kept])
        return self._fitted(lost)

    def _fitted(self, values: np.ndarray) -> np.ndarray:
        return np.pad(values[: self._length()], (0, max(0, self._length() - len(values))))

    def _sounding(self, id_: str) -> np.ndarray:
        """Return how loud a layer's tracks are as received, by seconds of the song."""
        if id_ not in self._loud:
            row, graph = self._rows[id_], self._session.graph
            rate = graph.rate_hz
            found = np.zeros(self._length())
            for name in sorted(row.tracks or feeding_tracks(graph, id_)):
                audio = self._session.audio[name]
                first = max(0, graph.nodes[name].first_frame)  # type: ignore[attr-defined]
                for second in range(len(found)):
                    piece = audio[max(0, second * rate - first) : max(0, (second + 1) * rate - first)]
                    if len(piece):
                        found[second] += float(np.einsum("ij,ij->", piece, piece, dtype=np.float64)) / rate
            self._loud[id_] = np.where(found > 1e-9, found**0.3, 0.0)
        return self._loud[id_]
