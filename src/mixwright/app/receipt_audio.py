# SPDX-License-Identifier: Apache-2.0
"""The mix with its moves and without one of them, in excerpts: what did not change is rendered once."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from mixwright.app.listening import Row, layers_of
from mixwright.app.session import Session
from mixwright.engine.curves import Curves
from mixwright.engine.graph import MixGraph
from mixwright.engine.render import listened, render
from mixwright.engine.returns import feeding_tracks
from mixwright.engine.strip_audio import strip_key
from mixwright.hearing.feed import Source
from mixwright.jobs.cache import Part
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel
from mixwright.meter.measure import Meter
from mixwright.model.song import Song, changed


@dataclass(frozen=True, eq=False)
class Variant:
    """A song as a graph and its rows; strips of which the song `beside` has others run for excerpts alone."""

    session: Session
    beside: Session | None = None

    @functools.cached_property
    def new_strips(self) -> frozenset[str]:
        """Tracks that are otherwise before their faders than in the song beside."""
        if self.beside is None:
            return frozenset()
        ours, theirs = self.session.graph, self.beside.graph
        known = {node.id: node for node in theirs.tracks}
        found = set()
        for node in ours.tracks:
            shape = self.session.audio[node.id].shape
            if node.id not in known or strip_key(ours, node, shape) != strip_key(theirs, known[node.id], shape):
                found.add(node.id)
        return frozenset(found)

    @functools.cached_property
    def graph(self) -> MixGraph:
        """The mix; a strip whose file is not named is not looked for in the cache, whatever that holds by chance."""
        graph = self.session.graph
        if not self.new_strips:
            return graph
        tracks = (
            replace(node, track=changed(node.track, sha256="")) if node.id in self.new_strips else node
            for node in graph.tracks
        )
        return replace(graph, tracks=tuple(tracks))

    @functools.cached_property
    def rows(self) -> Mapping[str, Row]:
        """What is heard as one each, in order."""
        return {row.id: row for row in layers_of(self.session.song, self.graph)}

    @functools.cached_property
    def identities(self) -> Mapping[str, tuple[Part, ...]]:
        """All that can be heard of each row, gains of its buses included, as parts of a key."""
        found = {}
        for row in layers_of(self.session.song, self.session.graph):
            fed = row.tracks or feeding_tracks(self.session.graph, row.id)
            moved_by = self.session.graph.identity(fed) if row.graph.dynamics else ()
            found[row.id] = (*row.graph.identity(row.tracks or None), moved_by)
        return found

    @functools.cached_property
    def paths(self) -> Mapping[str, tuple[Part, ...]]:
        """What the strips do that each row runs through, whatever gains they make."""
        found = {}
        for row in layers_of(self.session.song, self.session.graph):
            tracks = row.tracks or tuple(sorted(feeding_tracks(row.graph, row.id)))
            passed = {*tracks, *row.graph.fed(tracks)}
            found[row.id] = tuple(row.graph.nodes[name].identity() for name in row.graph.nodes if name in passed)
        return found


def without_move(session: Session, id_: str) -> Session:
    """Return the song without one of its moves."""
    song: Song = session.song
    return replace(session, song=changed(song, moves=tuple(move for move in song.moves if move.id != id_)))


class Excerpt:
    """Rows of a variant, and their mix, between two frames of the song.

    Parameters
    ----------
    variant : Variant
    span : (first frame, end frame)
    like : Excerpt, optional
        the same of the song beside: rows that are alike are taken from it
    """

    def __init__(
        self, variant: Variant, span: tuple[int, int], like: Excerpt | None = None, cancel: Cancel | None = None
    ) -> None:
        self.variant, self.first = variant, max(0, span[0])
        self.end = max(self.first, min(span[1], variant.graph.frames))
        self._like, self._cancel = like, cancel
        self._rows: dict[str, np.ndarray] = {}

    @functools.cached_property
    def _listened(self) -> tuple[Curves, np.ndarray] | None:
        """The gains of its buses and its mix, None where it is linear."""
        session = self.variant.session
        if not self.variant.graph.dynamics:
            return None
        span = self.first, self.end
        curves, mix = listened(self.variant.graph, session.audio, span, cache=session.cache, cancel=self._cancel)
        return curves, mix.astype(np.float32)

    @functools.cached_property
    def mix(self) -> np.ndarray:
        """All of it, float32 (frames, 2)."""
        if self._listened is not None:
            return self._listened[1]
        if self._like is None:
            self.make(list(self.variant.rows))
            total = np.zeros((self.end - self.first, 2))
            for id_ in self.variant.rows:
                total += self.row(id_)
            return total.astype(np.float32)
        self.make(self.other_rows)
        total = self._like.mix.astype(np.float64)
        for id_ in self.other_rows:
            total += self.row(id_)
            total -= self._like.row(id_)
        return total.astype(np.float32)

    @functools.cached_property
    def other_rows(self) -> list[str]:
        """The rows that are not alike beside, by what their strips do or by the gains of buses."""
        theirs = self._like.variant.identities if self._like is not None else {}
        ours = self.variant.identities
        return [id_ for id_ in {**theirs, **ours} if theirs.get(id_) != ours.get(id_)]

    def make(self, ids: Sequence[str]) -> None:
        """Render rows that are not known yet, by several threads."""
        _ = self._listened  # before threads ask for it
        missing = [id_ for id_ in ids if id_ not in self._rows and not self._alike(id_)]
        for id_, audio in zip(missing, in_order(self._rendered, missing), strict=True):
            self._rows[id_] = audio

    def row(self, id_: str) -> np.ndarray:
        """Return a row, float32 (frames, 2), silence where the variant has none of that name."""
        if self._alike(id_) and self._like is not None:
            return self._like.row(id_)
        self.make([id_])
        return self._rows[id_]

    def roughly(self, id_: str) -> np.ndarray:
        """Return a row as it is but for gains of buses, for which another one need not be rendered."""
        paths = self.variant.paths
        if self._like is not None and paths.get(id_) == self._like.variant.paths.get(id_):
            return self._like.row(id_)
        return self.row(id_)

    def source(self, audio: np.ndarray) -> Source:
        """Return audio of the excerpt as a source of frames of the song."""
        return lambda start, end: [audio[max(0, start - self.first) : max(0, end - self.first)]]

    def lufs(self, start_frame: int, end_frame: int) -> float | None:
        """Return the integrated loudness of the mix between two frames of the song."""
        meter = Meter(self.variant.graph.rate_hz, 2, spectrum=False, true_peak=False)
        meter.push(self.mix[start_frame - self.first : end_frame - self.first])
        return meter.loudness().integrated_lufs()

    @property
    def is_excerpt(self) -> bool:
        """Whether anything of it ran for these frames alone."""
        return bool(self.variant.new_strips) or bool(self.variant.graph.dynamics)

    def _alike(self, id_: str) -> bool:
        return self._like is not None and id_ not in self.other_rows

    def _rendered(self, id_: str) -> np.ndarray:
        row, session = self.variant.rows.get(id_), self.variant.session
        if row is None:
            return np.zeros((self.end - self.first, 2), dtype=np.float32)
        parts = render(
            row.graph,
            session.audio,
            tracks=row.tracks or None,
            curves=None if self._listened is None else self._listened[0],
            span=(self.first, self.end),
            excerpt=bool(self.variant.new_strips),
            workers=1,
            cache=session.cache,
            cancel=self._cancel,
        )
        return np.concatenate([np.zeros((0, 2), dtype=np.float32), *(part.astype(np.float32) for part in parts)])
