# SPDX-License-Identifier: Apache-2.0
"""Hear layers in a mix: how loud each is alone, how much of it is left, and who takes the rest; streamed.

Loudness of time-varying sounds by ISO 532-3:2023, partial loudness by Moore, Glasberg and Baer 1997 and Glasberg and
Moore 2005, with the masked threshold as published (strict) and 10 dB lower (cued).
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.hearing.attribution import Attribution, Taken
from mixwright.hearing.bands import BANDS, PLACES, bands_of_filters, filter_edges
from mixwright.hearing.excitation import SharedFilters, excitation, levels_per_erb
from mixwright.hearing.fader import Sketcher
from mixwright.hearing.feed import CHUNK_FRAMES, Feed, Source, Sum
from mixwright.hearing.heard import (
    ACTIVE_SONE,
    ALONE,
    BAND_CELLS,
    CELL_FRAMES,
    CELL_S,
    LAYER,
    RISE_CELLS,
    Alone,
    HeardStretch,
    Hearing,
    Stretch,
    halved,
    heard_of,
    shortened,
    stretches_of,
)
from mixwright.hearing.heard_from import CHUNK_CELLS, cells_of, chunks_of, run_in, samples, wanted_moments
from mixwright.hearing.kernels import fine_steps, loudness_table, spread_table
from mixwright.hearing.lyric import LyricLine
from mixwright.hearing.moments import Draw, Drawn
from mixwright.hearing.places import at_ears
from mixwright.hearing.scale import FILTERS, STEP_CAM
from mixwright.hearing.spectrum import RunningSpectrum
from mixwright.jobs.pool import Team, in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent, until_stopped
from mixwright.model.hearing import Listening
from mixwright.native import ear
from mixwright.native.ear import PADDED_FILTERS, PATTERNS

#: Short-term loudness rises and falls with these coefficients per ms (ISO 532-3:2023).
ATTACK_PER_MS, RELEASE_PER_MS = 0.045, 0.033
_Both = tuple[np.ndarray, np.ndarray]  # of both channels, or of both ears
_NOTHING_FOUND = np.zeros((CHUNK_CELLS, 3, FILTERS), dtype=np.float32)
_NOTHING_IN_BANDS = np.zeros((CHUNK_CELLS, 3, BANDS), dtype=np.float32)


def hear(
    layers: Mapping[str, Source],
    mix: Source | None = None,
    *,
    rate_hz: int,
    frames: int,
    offset_db: float,
    listening: Listening = "headphones",
    edges_s: Sequence[float] = (),
    voices: Collection[str] = (),
    leads: Collection[str] = (),
    workers: int | None = None,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> Hearing:
    """Hear every layer alone and in the mix, stretch by stretch.

    Parameters
    ----------
    layers : mapping of sources
        the audio of each layer as it stands in the mix
    mix : Source, optional
        by default the layers add up to it
    rate_hz, frames : int
        of all of them; the ear listens at 48 kHz
    offset_db : float
        from `places.calibration_db`
    listening : {"headphones", "loudspeakers"}
    edges_s : sequence of float
        where the song is cut besides every half minute: starts and ends of sections
    voices, leads : collections of str
        layers for which `lyric` is worked out; layers whose sketch is dense, so that it answers for phrases
    workers : int, optional
        threads; the result does not depend on it
    report, cancel
        progress and stop switch

    Notes
    -----
    The rest that masks a layer is the waveform of the mix without it, so what cancels counts as it sounds. All layers
    of an ear are heard through filters that the mix sets; a layer alone sets its own.
    """
    stretches = stretches_of(cells_of(frames, rate_hz), edges_s)
    with Team(workers) as team:
        job = Job("hearing layers", sum(map(chunks_of, stretches)), report, cancel)
        settings = Ear(rate_hz, offset_db, listening, team, job, cancel or Cancel())
        parts = [hear_stretch(layers, mix, stretch, settings, voices, leads) for stretch in stretches]
    return Hearing(
        layers={id_: heard_of([part[0][id_] for part in parts]) for id_ in layers},
        stretches=stretches,
        taken=tuple(taken for _, taken in parts),
    )


@dataclass(frozen=True, eq=False)
class Ear:
    """How stretches are heard: rate of the audio, level in dB SPL of a mean square of 1, and by which threads."""

    rate_hz: int
    offset_db: float
    listening: Listening
    team: Team
    job: Job
    cancel: Cancel


def hear_stretch(
    layers: Mapping[str, Source],
    mix: Source | None,
    stretch: Stretch,
    settings: Ear,
    voices: Collection[str] = (),
    leads: Collection[str] = (),
    known: Mapping[str, Alone] | None = None,
) -> tuple[dict[str, HeardStretch], Taken]:
    """Hear one stretch of a song, from a little before it on: nothing but the audio from there to its end matters.

    Parameters are as for :func:`hear`; `known`: layers whose audio was heard before, alone, and is not heard so again.
    Returned are the layers as heard, and who takes what.
    """
    listener = _Listener(layers, mix, stretch, settings, voices, leads, known or {})
    for chunk in range(chunks_of(stretch)):
        listener.chunk(run_in(stretch) + chunk * CHUNK_CELLS)
        settings.job.step()
    return listener.result()


def _room_for_powers() -> np.ndarray:
    return np.empty((2, CHUNK_FRAMES, len(fine_steps().component)), dtype=np.float32)


class _Room:
    """What one thread works with."""

    def __init__(self, offset_db: float) -> None:
        self.filters = SharedFilters(fine_steps())
        self._spectrum = RunningSpectrum(offset_db)

    def powers(self, feed: Feed, mix: _Both, own: np.ndarray, rest: np.ndarray) -> tuple[_Both, _Both]:
        """Write the power of both channels of a layer, and of the mix without it, of which there are bins."""
        both = slice(0, 1 if feed.same and mix[0] is mix[1] else 2)
        self._spectrum.powers(
            list(feed.audio[both]), list(mix[both]), fine_steps(), (list(own[both]), list(rest[both]))
        )
        last = both.stop - 1
        return (own[0], own[0] if feed.same else own[1]), (rest[0], rest[last])


class _Layer:
    """One layer on its way: a chunk of it, and what was heard so far."""

    def __init__(self, feed: Feed, stretch: Stretch, known: Alone | None, *, voice: bool, lead: bool) -> None:
        self.feed = feed
        self._stretch, self._known = stretch, known
        self.power = self.rest = (np.empty(0), np.empty(0))
        self.rings = [False, False]  # whether there is anything of it in the chunk, at each ear
        self._powers = _room_for_powers(), _room_for_powers()
        rows = CHUNK_FRAMES, len(fine_steps().filters)
        self.shared, self.masking = (np.empty((2, *rows), dtype=np.float32) for _ in range(2))
        self._own = np.empty(rows, dtype=np.float32)
        self.patterns = np.zeros((2, CHUNK_CELLS, PATTERNS, PADDED_FILTERS), dtype=np.float32)
        self._state = np.zeros((2, 3, PADDED_FILTERS), dtype=np.float32)
        self._total: list[np.ndarray] = []
        self._bands: list[np.ndarray] = []
        self._rise: list[np.ndarray] = []
        self._before = np.zeros((RISE_CELLS, BANDS), dtype=np.float32)
        self._sums, self._active = np.zeros((5, FILTERS)), 0
        self.sone: np.ndarray | None = None  # where it sounds in the chunk
        self._sketcher = Sketcher() if lead else None
        self._lyric = LyricLine() if voice else None

    def analyse(self, room: _Room, mix_bins: _Both, listening: Listening) -> None:
        """Take the chunk's spectra: of the layer, and of the mix without it."""
        power, rest = room.powers(self.feed, mix_bins, *self._powers)
        self.power, self.rest = at_ears(power, listening), at_ears(rest, listening)

    def listen(self) -> None:
        """Work out the specific loudness at both ears; where the layer is silent, what it was rings out."""
        constants, scale = loudness_table(steps=fine_steps())
        rates = fine_steps().coefficients(ATTACK_PER_MS), fine_steps().coefficients(RELEASE_PER_MS)
        for side in range(2):
            self.rings[side] = self.feed.sounds or bool(self._state[side].any())
            if not self.rings[side]:
                self.patterns[side] = 0.0
                continue
            if not self.feed.sounds:
                self.shared[side] = self.masking[side] = self._own[:] = 0.0
            elif self._known is None and (side == 0 or self.power[1] is not self.power[0]):
                excitation(self.power[side], steps=fine_steps(), out=self._own)
            ear.loudness(
                None if self._known else self._own, self.shared[side], self.masking[side], CELL_FRAMES,
                fine_steps().parts, constants, scale, *rates, self._state[side], self.patterns[side],
            )  # fmt: skip

    def keep(self, first: int, kept: slice, mix: _Both) -> None:
        """Keep the loudness of both ears together, and a sketch of where it sounds.

        `first`: the chunk's first cell in the song; `kept`: which cells of the chunk are of the stretch; `mix`: power.
        """
        found, bands = _NOTHING_FOUND, _NOTHING_IN_BANDS
        if any(self.rings):
            found = np.empty(_NOTHING_FOUND.shape, dtype=np.float32)
            ear.bands(self.patterns[0], self.patterns[1], spread_table(), filter_edges(), STEP_CAM, found)
            bands = bands_of_filters(found)
        if self._known is None:
            alone = np.concatenate([self._before, bands[:, ALONE]])
            self._rise.append(np.maximum(alone[RISE_CELLS:] - alone[:-RISE_CELLS], 0.0).sum(axis=1)[kept])
            self._before = alone[-RISE_CELLS:]
        found, bands = found[kept], bands[kept]
        total = bands.sum(axis=2)
        if self._known is not None:
            at = first + kept.start - self._stretch.first
            total[:, ALONE] = self._known.total[at : at + len(total)]
        self._total.append(total.copy())
        self._bands.append(bands)
        total[:, ALONE] = halved(total[:, ALONE])  # as it is kept, so that what was kept leads to the same
        active = total[:, ALONE] > ACTIVE_SONE
        if active.any():
            self._active += int(active.sum())
            self._sums[:LAYER] += found[active].sum(axis=0, dtype=np.float64) / STEP_CAM
            excited = self.patterns[:, kept, 5:7, :FILTERS][:, active]
            self._sums[LAYER:] += excited.sum(axis=(0, 1), dtype=np.float64) / 2.0
        self.sone = None
        if self.feed.sounds and active.any():
            sone = np.zeros((3, CHUNK_CELLS, CELL_FRAMES), dtype=np.float32)
            sone[:, kept] = np.where(active, total.T, 0.0)[:, :, None]
            self.sone = sone.reshape(3, -1)
            if self._sketcher is not None:
                self._sketcher.push(first * CELL_FRAMES, (self.power, self.rest, mix), self.sone[ALONE] > 0.0)
        if self._lyric is not None and self.feed.sounds:
            self._lyric.push(self.power, self.rest, self.patterns[:, :, 5], self.patterns[:, :, 6])
        elif self._lyric is not None:
            self._lyric.silence(CHUNK_CELLS)

    def heard(self, drawn: Drawn, row: int) -> HeardStretch:
        """Return what was heard of the stretch, with the moments drawn, which it weighs as the layer of this number."""
        known = self._known
        total, bands = np.concatenate(self._total), np.concatenate(self._bands)
        blocks = -(-len(bands) // BAND_CELLS)
        filled = np.pad(bands, ((0, blocks * BAND_CELLS - len(bands)), (0, 0), (0, 0)))  # the song's last, with silence
        before = self._stretch.first - run_in(self._stretch)
        means = np.ascontiguousarray(filled.reshape(blocks, BAND_CELLS, 3, BANDS).mean(axis=1).transpose(1, 0, 2))
        active_s = self._active * CELL_S
        patterns = shortened(self._sums / max(self._active, 1))
        if known is not None:
            means[ALONE], patterns[ALONE] = known.bands, known.pattern
        sone = STEP_CAM * patterns[:LAYER].sum(axis=1, dtype=np.float64)
        drawn.weigh(row, active_s, sone)
        return HeardStretch(
            total=np.ascontiguousarray(total.T),
            bands=means,
            rise=np.concatenate(self._rise) if known is None else known.rise,
            active_s=active_s,
            patterns=patterns,
            moments=drawn.moments,
            row=row,
            dense=None if self._sketcher is None else self._sketcher.sketch(active_s, sone),
            lyric=None if self._lyric is None else self._lyric.result(slice(before, before + len(total))),
        )


class _Listener:
    """Takes the layers of a mix chunk by chunk through both ears."""

    def __init__(
        self,
        layers: Mapping[str, Source],
        mix: Source | None,
        stretch: Stretch,
        settings: Ear,
        voices: Collection[str],
        leads: Collection[str],
        known: Mapping[str, Alone],
    ) -> None:
        self._stretch = stretch
        self._team = settings.team
        self._cancel = settings.cancel
        self._listening = settings.listening
        start, end = samples(stretch)

        def started(id_: str) -> _Layer:
            feed = Feed(layers[id_], settings.rate_hz, start, end)
            return _Layer(feed, stretch, known.get(id_), voice=id_ in voices, lead=id_ in leads)

        # Each reads ahead what lies around its first chunk.
        self._layers = dict(zip(layers, in_order(started, layers, self._team.workers), strict=True))
        feeds = [layer.feed for layer in self._layers.values()]
        self._mix = Feed(mix, settings.rate_hz, start, end) if mix is not None else Sum(feeds)
        self._rooms = [_Room(settings.offset_db) for _ in range(self._team.workers)]
        self._mix_spectra = [RunningSpectrum(settings.offset_db) for _ in range(2)]
        self._mix_bins: list[np.ndarray | None] = [None, None]
        self._mix_powers = _room_for_powers()
        self._attribution = Attribution(tuple(layers))
        self._draw = Draw(tuple(layers), wanted_moments(stretch))

    def chunk(self, first: int) -> None:
        """Hear the chunk that the feeds stand at, and go on; `first`: its first cell in the song."""
        layers = list(self._layers.values())
        sounding = [layer for layer in layers if layer.feed.sounds]
        kept = slice(max(0, self._stretch.first - first), min(CHUNK_CELLS, self._stretch.end - first))
        mix_bins, mix = self._mixed()
        self._each(sounding, lambda layer, room: layer.analyse(room, mix_bins, self._listening), self._draw.thin)
        self._mask(sounding, mix)
        self._each(layers, lambda layer, _: layer.listen())
        self._attribute(kept)
        self._each(layers, lambda layer, _: layer.keep(first, kept, mix))
        of_rows = [None if one.sone is None else (one.power, one.rest, one.sone) for one in layers]
        drawn = self._draw.push(first * CELL_FRAMES, of_rows, mix)
        self._team.do([*drawn, *(layer.feed.advance for layer in layers)])
        self._mix.advance()

    def result(self) -> tuple[dict[str, HeardStretch], Taken]:
        """Return what was heard of the stretch."""
        found: dict[str, HeardStretch] = {}
        drawn = self._draw.drawn()

        def finish(row: int, id_: str, layer: _Layer) -> None:
            self._cancel.check()
            found[id_] = layer.heard(drawn, row)

        self._team.do(functools.partial(finish, row, *item) for row, item in enumerate(self._layers.items()))
        taken = self._attribution.result(self._stretch.end - self._stretch.first)
        return {id_: found[id_] for id_ in self._layers}, taken

    def _each(
        self, layers: Sequence[_Layer], function: Callable[[_Layer, _Room], None], *others: Callable[[], None]
    ) -> None:
        """Do something with every layer, each thread in a room of its own, and some other things."""
        waiting = iter(layers)  # hands each layer to one thread only

        def take(room: _Room) -> None:
            for layer in until_stopped(waiting, self._cancel):
                function(layer, room)

        self._team.do([*others, *(functools.partial(take, room) for room in self._rooms)])

    def _mixed(self) -> tuple[_Both, _Both]:
        """Return the bins of both channels of the mix, and its powers at both ears; each channel by a thread."""

        def analyse(channel: int) -> None:
            spectrum = self._mix_spectra[channel]
            self._mix_bins[channel] = bins = spectrum.bins(self._mix.audio[channel], self._mix_bins[channel])
            spectrum.power(bins, fine_steps(), self._mix_powers[channel])

        last = 0 if self._mix.same else 1
        self._team.do(functools.partial(analyse, channel) for channel in range(last + 1))
        bins = [one for one in self._mix_bins if one is not None]
        power = self._mix_powers[0], self._mix_powers[last]
        return (bins[0], bins[last]), at_ears((power[0], power[0]) if not last else power, self._listening)

    def _mask(self, layers: Sequence[_Layer], mix: _Both) -> None:
        """Excite the filters that the mix sets by every layer and by what is left without it; at each ear."""
        if not layers:
            return
        parts = np.array_split(np.arange(2 * len(layers)), min(self._team.workers, -(-len(layers) // 4)))
        sides = (0, 0 if mix[0] is mix[1] else 1)
        levels: dict[int, np.ndarray] = {}
        level: Callable[[int], None] = lambda side: levels.update({side: levels_per_erb(mix[side])})  # noqa: E731
        self._team.do(functools.partial(level, side) for side in set(sides))

        def excite(room: _Room, part: np.ndarray) -> None:
            for side in range(2):
                powers = [layer.power[side] for layer in layers] + [layer.rest[side] for layer in layers]
                outs = [layer.shared[side] for layer in layers] + [layer.masking[side] for layer in layers]
                room.filters.excite([powers[i] for i in part], levels[sides[side]], [outs[i] for i in part])

        self._team.do(functools.partial(excite, *one) for one in zip(self._rooms, parts, strict=False))

    def _attribute(self, kept: slice) -> None:
        """Share out what the layers lose at each ear, each thread some of the places; what rings out loses nothing."""
        sounding = {k: layer for k, layer in enumerate(self._layers.values()) if layer.feed.sounds}
        if len(sounding) < 2:  # nobody takes anything
            return

        def share(first: int, end: int) -> None:
            for side in range(2):
                patterns = [layer.patterns[side] for layer in sounding.values()]
                self._attribution.push(list(sounding), patterns, kept, slice(first, end))

        parts = np.linspace(0, PLACES, min(self._team.workers, 8) + 1).round().astype(int).tolist()
        self._team.do(functools.partial(share, *part) for part in itertools.pairwise(parts))
