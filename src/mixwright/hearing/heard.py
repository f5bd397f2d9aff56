# SPDX-License-Identifier: Apache-2.0
"""What was heard of layers: stretch by stretch, and of the whole song."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from mixwright.hearing.attribution import Taken
from mixwright.hearing.components import RATE_HZ
from mixwright.hearing.fader import Sketch, joined
from mixwright.hearing.kernels import FRAME
from mixwright.hearing.lyric import Lyric
from mixwright.hearing.moments import Moments, joined_moments

#: A cell is the mean over 16 ms; bands are kept for every four cells.
CELL_FRAMES = 4
CELL_S = CELL_FRAMES * FRAME / RATE_HZ
BAND_CELLS = 4
#: A rise of loudness is that over 48 ms, about as long as it takes short-term loudness to follow a strike.
RISE_CELLS = 3
#: A layer sounds where its loudness alone is above this, in sone.
ACTIVE_SONE = 0.05
#: Rows of `Heard.total`, of `Heard.bands` and of `HeardStretch.patterns`; the last two of patterns alone.
ALONE, STRICT, CUED, LAYER, REST = range(5)
#: The loudest that is kept, in sone.
LOUDEST_SONE = 6e4
#: Longer stretches are cut in parts of about this length, in seconds.
STRETCH_S = 30.0
#: So many cells of bands before an edge of a section and after it are stretches of their own, where that leaves as much
#: again: what changes up to an edge is heard beyond it, and shall not have all of its neighbours heard again. Before it
#: that is as far as margins and ramps reach, after it the run-in and its margin too; with the run-in, whole chunks.
BEFORE_EDGE, AFTER_EDGE = 8, 24


@dataclass(frozen=True)
class Stretch:
    """Cells `first` to `end` of the song, of which each number is a multiple of BAND_CELLS but the song's last.

    `edge`: it is cut off another one, beside the edge of a section, and sketched by its length alone.
    """

    first: int
    end: int
    edge: bool = False

    @property
    def start_s(self) -> float:
        """Where it starts, seconds from the start of the song."""
        return self.first * CELL_S

    @property
    def end_s(self) -> float:
        """Where it ends."""
        return self.end * CELL_S

    @property
    def length_s(self) -> float:
        """How long it is."""
        return (self.end - self.first) * CELL_S


@dataclass(frozen=True, eq=False)
class HeardStretch:
    """One layer in one stretch of the song.

    `total`: float32 (3, cells), sone, both ears: short-term loudness alone, strict and cued in the mix, means over
    CELL_S. `bands`: float32 (3, cells / BAND_CELLS, BANDS), means over four cells. `rise`: float32 (cells,), how far
    the loudness alone of its bands rose within RISE_CELLS, what fell left out: a new note counts though it is no
    louder. `active_s`: how long it sounds.
    `patterns`: float32 (5, FILTERS), means over the cells in which it sounds, zero where it never does: specific
    loudness ALONE, STRICT and CUED in sone per Cam, both ears together after each inhibited the other, so that
    ``STEP_CAM * patterns[ALONE].sum()`` is the loudness; then the excitation by the LAYER and by the REST of the mix
    through filters that the mix sets, linear, re that of 1 kHz at 0 dB SPL, mean of both ears. `moments`:
    those of all layers of the stretch, of which this one is number `row`; `dense`: a sketch of its own, of a layer of
    which phrases are asked. `lyric`: of a voice.
    """

    total: np.ndarray
    bands: np.ndarray
    rise: np.ndarray
    active_s: float
    patterns: np.ndarray
    moments: Moments
    row: int
    dense: Sketch | None = None
    lyric: Lyric | None = None

    @property
    def sketch(self) -> Sketch:
        """Frames in which it sounds, made anew each time."""
        return self.moments.sketch(self.row) if self.dense is None else self.dense

    @property
    def sketched_s(self) -> np.ndarray:
        """Where these frames lie in the song: the `at_s` of the sketch."""
        return self.moments.sounding_s(self.row) if self.dense is None else self.dense.at_s


@dataclass(frozen=True, eq=False)
class Alone:
    """One layer alone in one stretch of the song, as far as nothing else matters to it: part of a HeardStretch.

    `total` and `rise`: float32 (cells,); `bands`: float32 (cells / BAND_CELLS, BANDS); `pattern`: float32 (FILTERS,).
    """

    total: np.ndarray
    bands: np.ndarray
    rise: np.ndarray
    pattern: np.ndarray


def halved(sone: np.ndarray) -> np.ndarray:
    """Return loudness as it is kept: float16."""
    return np.asarray(np.minimum(sone, LOUDEST_SONE), dtype=np.float16)


def shortened(pattern: np.ndarray) -> np.ndarray:
    """Return patterns as they are kept: float32 to eight bits of their mantissa, within 0.2 %."""
    bits = np.ascontiguousarray(pattern, dtype=np.float32).view(np.uint32)
    return np.asarray(((bits + np.uint32(0x8000)) & np.uint32(0xFFFF0000)).view(np.float32))


@dataclass(frozen=True, eq=False)
class Heard:
    """One layer as heard: short-term loudness in sone, both ears, alone, strict and cued in the mix.

    `total`: float32 (3, cells), means over CELL_S; `bands`: float32 (3, cells / BAND_CELLS, BANDS), means over four;
    `rise`: float32 (cells,), as in HeardStretch. `stretches`: the same stretch by stretch, with more of each, in the
    order of `Hearing.stretches`. `lyric`: how audible its words are, where asked for.
    """

    total: np.ndarray
    bands: np.ndarray
    rise: np.ndarray
    stretches: tuple[HeardStretch, ...] = field(default=())
    lyric: Lyric | None = None

    @functools.cached_property
    def sketch(self) -> Sketch:
        """Frames in which it sounds, spread over the song, for questions about other faders."""
        return joined([part.sketch for part in self.stretches])


@dataclass(frozen=True, eq=False)
class Hearing:
    """All layers as heard; for every stretch of the song who takes what from whom.

    `stretches` lie end to end and are the song; `taken` has one entry for each of them.
    """

    layers: Mapping[str, Heard]
    stretches: tuple[Stretch, ...]
    taken: tuple[Taken, ...]

    def inside(self, start_s: float, end_s: float) -> list[int]:
        """Return which stretches make up a part of the song, by their middles."""
        middles = ((part.start_s + part.end_s) / 2.0 for part in self.stretches)
        return [k for k, middle_s in enumerate(middles) if start_s <= middle_s < end_s]

    def moments(self, start_s: float, end_s: float) -> Moments:
        """Return the moments of all layers in a part of the song, from the stretches that make it up."""
        inside = self.inside(start_s, end_s)
        every = next(iter(self.layers.values()), None)
        return joined_moments(tuple(self.layers), [] if every is None else [every.stretches[k].moments for k in inside])


def heard_of(stretches: Sequence[HeardStretch]) -> Heard:
    """Return a layer as heard over the whole song from all of its stretches."""
    lyrics = [part.lyric for part in stretches if part.lyric is not None]
    return Heard(
        total=np.concatenate([part.total for part in stretches], axis=1),
        bands=np.concatenate([part.bands for part in stretches], axis=1),
        rise=np.concatenate([part.rise for part in stretches]),
        stretches=tuple(stretches),
        lyric=Lyric(*(np.concatenate(rows) for rows in zip(*(one.rows for one in lyrics), strict=True)))
        if lyrics
        else None,
    )


def stretches_of(cells: int, edges_s: Sequence[float], *, kept: bool = False) -> tuple[Stretch, ...]:
    """Return the stretches of a song: cut at the edges, each at the nearest 64 ms, and long ones into equal parts.

    Where they are to be `kept`, what lies just before and after an edge within the song is a stretch of its own.
    """
    last = -(-cells // BAND_CELLS)
    blocks = {min(max(round(edge_s / (BAND_CELLS * CELL_S)), 0), last) for edge_s in edges_s} | {0, last}
    found: list[Stretch] = []
    ordered = sorted(blocks) if last else [0, 0]  # a song of no length is one stretch
    for first, end in itertools.pairwise(ordered):
        after, before = AFTER_EDGE if first > 0 else 0, BEFORE_EDGE if end < last else 0
        if not kept or end - first < 2 * (AFTER_EDGE + BEFORE_EDGE):
            after = before = 0
        inner, outer = first + after, end - before
        parts = max(1, round((outer - inner) * BAND_CELLS * CELL_S / STRETCH_S))
        cuts = [inner + (outer - inner) * k // parts for k in range(parts + 1)]
        spans = [(first, inner, True), *((*cut, False) for cut in itertools.pairwise(cuts)), (outer, end, True)]
        found += [
            Stretch(start * BAND_CELLS, min(stop * BAND_CELLS, cells), edge)
            for start, stop, edge in spans
            if start < stop or not edge
        ]
    return tuple(found)
