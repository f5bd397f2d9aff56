# SPDX-License-Identifier: Apache-2.0
"""Hear layers in a mix: how loud each is alone, how much of it is left, and who takes the rest; streamed.

Loudness of time-varying sounds by ISO 532-3:2023, partial loudness by Moore, Glasberg and Baer 1997 and Glasberg and
Moore 2005, with the masked threshold as published (strict) and 10 dB lower (cued).
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.hearing.attribution import Attribution, Taken
from mixwright.hearing.bands import BANDS, band_edges
from mixwright.hearing.components import RATE_HZ, components
from mixwright.hearing.excitation import SharedFilters, excitation, levels_per_erb
from mixwright.hearing.fader import Sketch, Sketcher
from mixwright.hearing.feed import CHUNK, CHUNK_FRAMES, Feed
from mixwright.hearing.kernels import FRAME, loudness_table, spread_table
from mixwright.hearing.lyric import Lyric, LyricLine
from mixwright.hearing.places import at_ears
from mixwright.hearing.scale import STEP_CAM
from mixwright.hearing.spectrum import RunningSpectrum
from mixwright.jobs.pool import Team, in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent, until_stopped
from mixwright.model.hearing import Listening
from mixwright.native import ear
from mixwright.native.ear import PADDED_FILTERS, PATTERNS

#: A cell is the mean over 16 ms; bands are kept for every four cells.
CELL_FRAMES = 4
CELL_S = CELL_FRAMES * FRAME / RATE_HZ
BAND_CELLS = 4
#: A layer sounds where its loudness alone is above this, in sone.
ACTIVE_SONE = 0.05
#: Short-term loudness rises and falls with these coefficients per ms (ISO 532-3:2023).
ATTACK_PER_MS, RELEASE_PER_MS = 0.045, 0.033
_ATTACK, _RELEASE = (1.0 - (1.0 - k) ** (1000.0 * FRAME / RATE_HZ) for k in (ATTACK_PER_MS, RELEASE_PER_MS))
_CHUNK_CELLS = CHUNK_FRAMES // CELL_FRAMES
#: Rows of `Heard.total` and `Heard.bands`.
ALONE, STRICT, CUED = range(3)


@dataclass(frozen=True, eq=False)
class Heard:
    """One layer as heard: short-term loudness in sone, both ears, alone, strict and cued in the mix.

    `total`: float32 (3, cells), means over CELL_S; `bands`: float32 (3, cells / BAND_CELLS, BANDS), means over four.
    `sketch`: frames in which it sounds, spread over the song, for questions about other faders.
    `lyric`: how audible its words are, where asked for.
    """

    total: np.ndarray
    bands: np.ndarray
    sketch: Sketch
    lyric: Lyric | None = None


@dataclass(frozen=True, eq=False)
class Hearing:
    """All layers as heard, and for every stretch asked for who takes what from whom."""

    layers: Mapping[str, Heard]
    taken: tuple[Taken, ...]


def hear(
    layers: Mapping[str, Iterable[np.ndarray]],
    mix: Iterable[np.ndarray],
    *,
    rate_hz: int,
    frames: int,
    offset_db: float,
    listening: Listening = "headphones",
    stretches: Sequence[tuple[float, float]] = (),
    leads: Collection[str] = (),
    workers: int | None = None,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> Hearing:
    """Hear every layer alone and in the mix.

    Parameters
    ----------
    layers : mapping of iterables of arrays (n, 2)
        the audio of each layer as it stands in the mix, in blocks of any length
    mix : iterable of arrays (n, 2)
    rate_hz, frames : int
        of all of them; the ear listens at 48 kHz
    offset_db : float
        from `places.calibration_db`
    listening : {"headphones", "loudspeakers"}
    stretches : sequence of (start_s, end_s)
        parts of the song, in order and apart, for which `taken` is worked out
    leads : collection of str
        layers for which `lyric` is worked out
    workers : int, optional
        threads; the result does not depend on it
    report, cancel
        progress and stop switch

    Notes
    -----
    The rest that masks a layer is the waveform of the mix without it, so what cancels counts as it sounds. All layers
    of an ear are heard through filters that the mix sets; a layer alone sets its own.
    """
    samples = -(-frames * RATE_HZ // rate_hz)
    chunks = max(1, -(-samples // CHUNK))
    cells = -(-samples // (FRAME * CELL_FRAMES))
    with Team(workers) as team:
        stop = cancel or Cancel()
        listener = _Listener(layers, mix, rate_hz, offset_db, listening, len(stretches), leads, team, stop)
        stretch = _stretch_of_cells(chunks * _CHUNK_CELLS, stretches)
        job = Job("hearing layers", max(1, chunks), report, cancel)
        for chunk in range(chunks):
            listener.chunk(chunk, stretch[chunk * _CHUNK_CELLS : (chunk + 1) * _CHUNK_CELLS])
            job.step()
        return listener.result(cells)


def _stretch_of_cells(cells: int, stretches: Sequence[tuple[float, float]]) -> np.ndarray:
    middle_s = (np.arange(cells) + 0.5) * CELL_S
    found = np.full(cells, -1)
    for k, (start_s, end_s) in enumerate(stretches):
        found[(middle_s >= start_s) & (middle_s < end_s)] = k
    return found


class _Room:
    """What one thread works with."""

    def __init__(self, offset_db: float) -> None:
        self.filters = SharedFilters()
        self._spectrum = RunningSpectrum(offset_db)
        self._bins: list[np.ndarray | None] = [None, None]

    def bins(self, feed: Feed) -> tuple[np.ndarray, np.ndarray]:
        """Return the bins of both channels, good until the next call."""
        self._bins[0] = first = self._spectrum.bins(feed.audio[0], self._bins[0])
        if feed.same:
            return first, first
        self._bins[1] = second = self._spectrum.bins(feed.audio[1], self._bins[1])
        return first, second

    def powers(
        self, bins: tuple[np.ndarray, np.ndarray], others: tuple[np.ndarray, np.ndarray] | None = None
    ) -> tuple[np.ndarray, np.ndarray]:
        """Return the power of both channels, or of `others` without them."""
        second = None if others is None else others[1]
        first = self._spectrum.power(bins[0], None if others is None else others[0])
        if bins[0] is bins[1] and (others is None or others[0] is others[1]):
            return first, first
        return first, self._spectrum.power(bins[1], second)


class _Layer:
    """One layer on its way: a chunk of it, and what was heard so far."""

    def __init__(self, blocks: Iterable[np.ndarray], rate_hz: int, lead: bool) -> None:
        self.feed = Feed(blocks, rate_hz)
        self.power = self.rest = (np.empty(0), np.empty(0))
        self.shared = np.empty((CHUNK_FRAMES, PADDED_FILTERS), dtype=np.float32)
        self.masking = np.empty((CHUNK_FRAMES, PADDED_FILTERS), dtype=np.float32)
        self.patterns = np.zeros((2, _CHUNK_CELLS, PATTERNS, PADDED_FILTERS), dtype=np.float32)
        self._own = np.empty((CHUNK_FRAMES, PADDED_FILTERS), dtype=np.float32)
        self._state = np.zeros((2, 3, PADDED_FILTERS), dtype=np.float32)
        self._total: list[np.ndarray] = []
        self._bands: list[np.ndarray] = []
        self._sketcher = Sketcher(len(components().hz))
        self._lyric = LyricLine() if lead else None

    @property
    def sounds(self) -> bool:
        """Whether the chunk holds anything but silence."""
        return self.feed.sounds

    def analyse(self, room: _Room, mix_bins: tuple[np.ndarray, np.ndarray], listening: Listening) -> None:
        """Take the chunk's spectra: of the layer, and of the mix without it."""
        bins = room.bins(self.feed)
        self.power = at_ears(room.powers(bins), listening)
        self.rest = at_ears(room.powers(bins, mix_bins), listening)

    def listen(self, room: _Room, side: int) -> None:  # noqa: ARG002
        """Work out one ear's specific loudness; where the layer is silent, what it was rings out."""
        if not self.sounds:
            if not self._state[side].any():
                self.patterns[side] = 0.0
                return
            self.shared[:] = self.masking[:] = self._own[:] = 0.0
        elif side == 0 or self.power[1] is not self.power[0]:
            excitation(self.power[side], out=self._own)
        constants, scale = loudness_table()
        ear.loudness(
            self._own, self.shared, self.masking, CELL_FRAMES, constants, scale, _ATTACK, _RELEASE, self._state[side],
            self.patterns[side],
        )  # fmt: skip

    def keep(self, chunk: int, mix: tuple[np.ndarray, np.ndarray]) -> None:
        """Keep the loudness of both ears together, and a sketch of where it sounds; `mix`: power of the mix."""
        out = np.zeros((_CHUNK_CELLS, 3, BANDS), dtype=np.float32)
        if self.patterns[:, :, :3].any():
            ear.bands(self.patterns[0], self.patterns[1], spread_table(), band_edges(), STEP_CAM, out)
        self._total.append(out.sum(axis=2))
        if self.sounds:
            sounding = np.repeat(self._total[-1][:, ALONE] > ACTIVE_SONE, CELL_FRAMES)
            self._sketcher.push(chunk, (self.power, self.rest, mix), sounding)
        self._bands.append(out.reshape(-1, BAND_CELLS, 3, BANDS).mean(axis=1))
        if self._lyric is not None and self.sounds:
            self._lyric.push(self.power, self.rest, self.patterns[:, :, 5], self.patterns[:, :, 6])
        elif self._lyric is not None:
            self._lyric.silence(_CHUNK_CELLS)

    def heard(self, cells: int) -> Heard:
        """Return what was heard of the first cells."""
        total, bands = np.concatenate(self._total)[:cells], np.concatenate(self._bands)[: -(-cells // BAND_CELLS)]
        both = np.ascontiguousarray(total.T), np.ascontiguousarray(bands.transpose(1, 0, 2))
        lyric = None if self._lyric is None else self._lyric.result(cells)
        return Heard(*both, self._sketcher.sketch(), lyric)


class _Listener:
    """Takes the layers of a mix chunk by chunk through both ears."""

    def __init__(
        self,
        layers: Mapping[str, Iterable[np.ndarray]],
        mix: Iterable[np.ndarray],
        rate_hz: int,
        offset_db: float,
        listening: Listening,
        stretches: int,
        leads: Collection[str],
        team: Team,
        cancel: Cancel,
    ) -> None:
        self._team = team
        self._cancel = cancel
        self._listening = listening
        self._mix = Feed(mix, rate_hz)
        # Each reads ahead what lies around its first chunk.
        started = in_order(lambda id_: _Layer(layers[id_], rate_hz, id_ in leads), layers, team.workers)
        self._layers = dict(zip(layers, started, strict=True))
        self._rooms = [_Room(offset_db) for _ in range(team.workers)]
        self._attribution = Attribution(tuple(layers), stretches)

    def chunk(self, number: int, stretch: np.ndarray) -> None:
        """Hear the chunk that the feeds stand at, and go on; `stretch`: to which part of the song each cell belongs."""
        layers = list(self._layers.values())
        sounding = [layer for layer in layers if layer.sounds]
        left, right = self._rooms[0].bins(self._mix)
        mix_bins = (left.copy(), right.copy()) if left is not right else (left.copy(),) * 2
        mix = at_ears(self._rooms[0].powers(mix_bins), self._listening)
        self._each(sounding, lambda layer, room: layer.analyse(room, mix_bins, self._listening))
        for side in range(2):
            self._mask(sounding, side, levels_per_erb(mix[side]))
            self._each(layers, functools.partial(_Layer.listen, side=side))
            self._attribute(side, stretch)
        self._attribution.count(stretch)
        self._each(layers, lambda layer, _: layer.keep(number, mix))
        self._team.do(feed.advance for feed in (self._mix, *(layer.feed for layer in layers)))

    def result(self, cells: int) -> Hearing:
        """Return what was heard of the first cells."""
        return Hearing({id_: layer.heard(cells) for id_, layer in self._layers.items()}, self._attribution.result())

    def _each(self, layers: Sequence[_Layer], function: Callable[[_Layer, _Room], None]) -> None:
        """Do something with every layer, each thread in a room of its own."""
        waiting = iter(layers)  # hands each layer to one thread only

        def take(room: _Room) -> None:
            for layer in until_stopped(waiting, self._cancel):
                function(layer, room)

        self._team.do(functools.partial(take, room) for room in self._rooms)

    def _mask(self, layers: Sequence[_Layer], side: int, levels: np.ndarray) -> None:
        """Excite the filters that the mix sets by every layer and by what is left without it."""
        if not layers:
            return
        powers = [layer.power[side] for layer in layers] + [layer.rest[side] for layer in layers]
        outs = [layer.shared for layer in layers] + [layer.masking for layer in layers]
        parts = np.array_split(np.arange(len(powers)), min(self._team.workers, -(-len(powers) // 4)))
        self._team.do(
            functools.partial(room.filters.excite, [powers[i] for i in part], levels, [outs[i] for i in part])
            for room, part in zip(self._rooms, parts, strict=False)
        )

    def _attribute(self, side: int, stretch: np.ndarray) -> None:
        """Share out what the layers lose at one ear, each thread some of the bands."""
        if not np.any(stretch >= 0) or not self._layers:
            return
        edges = band_edges()

        def share(bands: tuple[int, int]) -> None:
            inside = slice(edges[bands[0]], edges[bands[1]])
            found = np.stack([layer.patterns[side, :, 3:, inside] for layer in self._layers.values()])
            losses, excited, rests = found[:, :, :2].transpose(2, 0, 1, 3), found[:, :, 2], found[:, :, 3]
            self._attribution.push(losses, excited, rests, stretch, bands)

        parts = np.linspace(0, BANDS, min(self._team.workers, 8) + 1).round().astype(int).tolist()
        self._team.do(functools.partial(share, bands) for bands in itertools.pairwise(parts))
