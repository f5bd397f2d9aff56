# SPDX-License-Identifier: Apache-2.0
"""A song in a folder of its own, and what the product hears in it: harmed, planned, mended. See recovery.py."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args
from unittest import mock

import numpy as np
from recovery_regions import Asked
from recovery_songs import Excerpt, group_id, write_layer, write_song

from mixwright.app import room
from mixwright.app.decide import accept
from mixwright.app.hearing import heard
from mixwright.app.leave import left_as_is
from mixwright.app.plan import plan
from mixwright.app.prove import prove
from mixwright.app.session import open_song
from mixwright.hearing.bands import PLACES
from mixwright.io.song_file import edit_song, load_song
from mixwright.ledger.findings import LEAST_S, LedgerRow
from mixwright.model.ledger import Finding
from mixwright.model.receipts import Receipt
from mixwright.model.song import LeftAsIs, Move, changed
from mixwright.model.words import MoveKind
from mixwright.planning.candidate import Candidate
from mixwright.planning.candidates import candidates_for
from mixwright.planning.essentials import essential
from mixwright.planning.excited import Excited
from mixwright.planning.known import KnownSong
from mixwright.planning.objective import Objective
from mixwright.planning.search import Found, Pick, Search

MOVE_KINDS: tuple[MoveKind, ...] = get_args(MoveKind)
LEVELS: frozenset[MoveKind] = frozenset({"level"})
SHAPES: frozenset[MoveKind] = frozenset({"shape", "band_limit", "tilt"})


@dataclass(frozen=True)
class Stage:
    """What was heard in the section, at equal loudness of the mix: cued loudness by layer, in phon, and findings."""

    phon: Mapping[str, float]
    findings: tuple[Finding, ...]

    def outside(self, layer: str) -> bool:
        """Tell whether a layer lies outside its tolerance."""
        return any(finding.track == layer for finding in self.findings)


class Desk:
    """An excerpt as a song folder, whose layers are replaced and whose moves come and go; its cache stays."""

    def __init__(self, folder: Path, excerpt: Excerpt) -> None:
        self.excerpt = excerpt
        self.folder = write_song(folder, excerpt)
        self._tracks = folder / "tracks"
        self._takes = 0
        self._left: tuple[LeftAsIs, ...] = ()
        self.plain = self.stage()
        self._content = tuple(left_as_is(finding) for finding in self._found)

    def inside(self) -> tuple[str, ...]:
        """Return who is inside its tolerance as the song is."""
        return tuple(id_ for id_ in self.excerpt.judged if id_ in self.plain.phon and not self.plain.outside(id_))

    def set(self, layers: Mapping[str, str], moves: Sequence[Move] = ()) -> None:
        """Let tracks play other files, and set all moves."""
        edit_song(
            self.folder,
            "a trial",
            lambda song: changed(
                song,
                tracks=tuple(
                    changed(track, file=f"../tracks/{layers.get(track.id, track.id)}.wav", sha256="")
                    for track in song.tracks
                ),
                moves=tuple(moves),
                left_as_is=self._left,
            ),
        )

    def moved(self, moves: Sequence[Move]) -> Stage:
        """Return what is heard with these moves alone."""
        self.move(moves)
        return self.stage()

    def moves(self) -> tuple[Move, ...]:
        """Return all moves of the song."""
        return load_song(self.folder).moves

    def move(self, moves: Sequence[Move]) -> None:
        """Let these be all moves of the song."""
        edit_song(self.folder, "moves of a trial", lambda song: changed(song, moves=tuple(moves)))

    def play(self, excerpt: Excerpt, ids: Sequence[str]) -> None:
        """Let some tracks play what an excerpt holds of them; beside them all is left as it was found unharmed."""
        self._takes += 1
        self._left = self._content if ids else ()
        names = {id_: f"{id_}-{self._takes}" for id_ in ids}
        for id_, name in names.items():
            write_layer(self._tracks / f"{name}.wav", excerpt.layers[id_])
        self.set(names)

    def stage(self) -> Stage:
        """Return what is heard of the song as it stands."""
        # Heard at its own loudness, not at that of the last time.
        (self.folder / "kept" / "calibration.json").unlink(missing_ok=True)
        with open_song(self.folder) as session:
            found = heard(session)
        name = self.excerpt.section.name
        at = [section.name for section in self.excerpt.sections].index(name)
        phon = {}
        for layer in found.layers:
            if not layer.sections or layer.sections[at].in_mix_phon is None:
                continue
            cued = layer.sections[at].in_mix_phon.cued
            if cued is not None and layer.active_s >= LEAST_S:
                phon[layer.id] = cued
        self._found = found.findings
        asked = (finding for finding in found.findings if finding.verdict != "left as is")
        return Stage(phon, tuple(finding for finding in asked if finding.section in (name, "")))


@dataclass(frozen=True)
class Proposed:
    """Moves that a plan proposed and that were accepted.

    `essential_db`: the most that static shapes take together from what is essential to a lead or support, beside the
    whole of it; 0 where nothing is taken. `asked`: what the search was given.
    """

    moves: tuple[Move, ...]
    essential_db: float
    asked: Asked


def proposed(folder: Path, kinds: Collection[MoveKind] = MOVE_KINDS) -> Proposed:
    """Let the product plan with moves of these kinds alone, and accept all of it."""
    taken = [0.0]
    asked = Asked()

    def some(findings: Iterable[Finding], known: KnownSong, sections: Sequence[Excited]) -> list[Candidate]:
        asked.findings, asked.known, asked.sections = tuple(findings), known, sections
        return [one for one in candidates_for(asked.findings, known, sections) if one.kind in kinds]

    def objective(sections: Sequence[Excited], rows: Sequence[LedgerRow], *about: Any, **named: Any) -> Objective:
        asked.rows, asked.named = rows, named
        return Objective(sections, rows, *about, **named)

    def search(*about: Any, **named: Any) -> Search:
        one = Search(*about, **named)
        every = one.found

        def found() -> Found:
            made = every()
            assert asked.known is not None
            taken.append(_most_taken(asked.known, asked.sections, made.picks))
            return made

        one.found = found  # type: ignore[method-assign]
        return one

    with mock.patch.multiple(room, candidates_for=some, Objective=objective, Search=search):
        plan(folder)
    if any(move.state == "proposed" for move in load_song(folder).moves):
        accept(folder, everything=True)
    moves = tuple(move for move in load_song(folder).moves if move.state == "accepted")
    return Proposed(moves, taken[-1], asked)


def _most_taken(known: KnownSong, sections: Sequence[Excited], picks: Sequence[Pick]) -> float:
    """Return how much static shapes take from what is essential to any row but a bed, in dB beside the whole of it."""
    most = 0.0
    for excited in sections:
        gains: dict[int, np.ndarray] = {}
        for pick in picks:
            if pick.candidate.kind in SHAPES:
                for row, gain in pick.candidate.gains_db(pick.values, excited).items():
                    gains[row] = gains.get(row, np.zeros(PLACES)) + gain
        for row, gain in gains.items():
            if known.rows[row].place_at(excited.section.name) == "bed" or excited.active_s[row] < LEAST_S:
                continue
            own = (excited.own[row].sum(axis=0) * excited.seconds[row][:, None]).astype(np.float64)
            kept = np.where(essential(excited, row), own, 0.0)
            if kept.sum() > 0.0:
                power = 10.0 ** (np.broadcast_to(gain, own.shape) / 10.0)
                left = (kept * power).sum() / kept.sum() / ((own * power).sum() / own.sum())
                most = max(most, float(-10.0 * np.log10(left)))
    return most


def receipts(folder: Path) -> tuple[Receipt, ...]:
    """Return the receipts of the moves that are accepted."""
    return prove(folder).moves


def target_ids(excerpt: Excerpt, layer: str) -> set[str]:
    """Return what moves a layer by name: itself, and its group."""
    return {layer, group_id(excerpt.groups[layer])} - {""}
