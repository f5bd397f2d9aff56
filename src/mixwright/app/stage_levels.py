# SPDX-License-Identifier: Apache-2.0
"""How loud a strip is after each of its inserts, and the gains that keep it as loud as it came in."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np

from mixwright.app.keys import RENDERED_BY
from mixwright.app.session import Session
from mixwright.engine.stages import Bare, tapped
from mixwright.jobs.array_file import ArrayWriter
from mixwright.jobs.cache import code_hash
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.meter.loudness import ABSOLUTE_GATE_LUFS, SUB_BLOCKS_PER_S, Loudness, lufs_from_power, sub_block_edge
from mixwright.meter.measure import Meter
from mixwright.model.dynamics_inserts import Clipper, DeEsser, Levels
from mixwright.model.insert import KeyedInsert
from mixwright.model.inserts import AnyInsert
from mixwright.model.keyed_inserts import Dip, Duck
from mixwright.model.song import changed

#: A stage is held where it comes out as loud as it went in, within this.
HELD_LU = 0.1
#: Gains are written with so many digits, and left where they are off by less than two of their steps.
_DIGITS = 2
_LEFT_LU = 0.02
_MOST_DB = 60.0
#: What makes gains that take off, one column a band.
_TAKES_OFF = (KeyedInsert, DeEsser, Levels, Clipper)
_LEAST_GAIN = 1e-6
#: More than any meter takes is no level.
_LARGEST = 1e29
#: Later than any song ends.
_END_S = 1e6


class StageLevels(NamedTuple):
    """Levels before and after a stage where it is heard; None where there is nothing."""

    in_lufs: float | None
    out_lufs: float | None
    true_peak_dbtp: float | None
    reduction_mean_db: float | None
    reduction_max_db: float | None


@dataclass(frozen=True, eq=False)
class StripAudio:
    """What stands before the inserts of a strip, and all that make up each of their keys, as mapped float32 arrays."""

    bare: Bare
    audio: np.ndarray
    keys: dict[str, list[np.ndarray]]
    rate_hz: int
    sections: dict[str, tuple[float, float]]

    def levels(
        self,
        inserts: Sequence[AnyInsert],
        stages: Collection[int],
        *,
        loudness_alone: bool = False,
        cancel: Cancel | None = None,
    ) -> dict[int, StageLevels]:
        """Return the levels of some stages of these inserts.

        Parameters
        ----------
        inserts : sequence
        stages : collection of int
            which are measured; -1 is what goes in
        loudness_alone : bool
            without true peaks and reductions
        """
        last = max(stages)
        points = {point for k in stages for point in (k - 1, k) if point >= -1}
        channels = self.audio.shape[1]
        meters = {k: Meter(self.rate_hz, channels, spectrum=False, true_peak=not loudness_alone) for k in points}
        logged = () if loudness_alone else [k for k in stages if k >= 0 and isinstance(inserts[k], _TAKES_OFF)]
        taken = {k: _Taken(self.rate_hz) for k in logged}

        def take(stage: int, block: np.ndarray, gains: np.ndarray | None) -> None:
            if stage in meters:
                meters[stage].push(np.clip(block, -_LARGEST, _LARGEST))
            if stage in taken and gains is not None:
                taken[stage].push(gains)

        self.bare.stages(inserts[: last + 1], channels).run(self.audio, self.keys, take, cancel=cancel)
        loudness = {k: meter.loudness() for k, meter in meters.items()}
        return {k: self._levels(k, inserts, loudness, meters, taken.get(k)) for k in stages}

    def _levels(
        self,
        k: int,
        inserts: Sequence[AnyInsert],
        loudness: Mapping[int, Loudness],
        meters: Mapping[int, Meter],
        taken: _Taken | None,
    ) -> StageLevels:
        peak_db = meters[k].result().true_peak_dbtp
        if k < 0:
            lufs = loudness[k].integrated_lufs()
            return StageLevels(lufs, lufs, peak_db, None, None)
        spans = [self.sections[name] for name in inserts[k].sections] or [(0.0, _END_S)]
        mean_db = most_db = None
        if taken is not None and inserts[k].on:
            mean_db, most_db = taken.within(spans, loudness[k - 1])
        before, after = (loudness[point].integrated_lufs_of(spans) for point in (k - 1, k))
        return StageLevels(before, after, peak_db, mean_db, most_db)


class _Taken:
    """By how much gains take off, every 10 ms."""

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._done = 0
        self._rest = np.zeros(0)
        self._found: list[tuple[float, float]] = []

    def push(self, gains: np.ndarray) -> None:
        """Take the next gains ``(n, columns)``."""
        least = np.maximum(gains.min(axis=1), _LEAST_GAIN).astype(np.float64)
        rest = np.concatenate([self._rest, np.maximum(0.0, -20.0 * np.log10(least))])
        end = self._done + len(rest)
        edges: list[int] = []
        while (edge := sub_block_edge(len(self._found) + len(edges) + 1, self._rate_hz)) <= end:
            edges.append(edge - self._done)
        if edges:
            starts = [0, *edges[:-1]]
            means = np.add.reduceat(rest[: edges[-1]], starts) / np.diff([0, *edges])
            most = np.maximum.reduceat(rest[: edges[-1]], starts)
            self._found += zip(means.tolist(), most.tolist(), strict=True)
            rest, self._done = rest[edges[-1] :], self._done + edges[-1]
        self._rest = rest

    def within(self, spans: Sequence[tuple[float, float]], before: Loudness) -> tuple[float | None, float | None]:
        """Return mean and largest reduction in time ranges in dB, the mean where what goes in sounds."""
        found = np.array(self._found).reshape(-1, 2)[: len(before.energy)]
        at_s = np.arange(len(found)) / SUB_BLOCKS_PER_S
        inside = np.zeros(len(found), dtype=bool)
        for start_s, end_s in spans:
            inside |= (at_s >= start_s) & (at_s < end_s)
        power = before.energy[: len(found)] * (SUB_BLOCKS_PER_S / self._rate_hz)
        sounding = inside & (lufs_from_power(power) > ABSOLUTE_GATE_LUFS)
        if not sounding.any():
            return None, None
        return float(found[sounding, 0].mean()), float(found[inside, 1].max())


def strip_audio(
    session: Session, kind: str, id_: str, *, report: Report = silent, cancel: Cancel | None = None
) -> StripAudio:
    """Return the audio of a strip before its inserts, rendered once and kept in the cache."""
    song = session.song
    bare = Bare(song, session.lanes, {name: len(audio) for name, audio in session.audio.items()}, kind, id_)
    names = dict.fromkeys([bare.node, *(node for nodes in bare.keys.values() for node in nodes)])
    found = {name: _tapped(session, bare, name, report, cancel) for name in names if not bare.graph.nodes[name].mute}
    keys = {key: [found[node] for node in nodes if node in found] for key, nodes in bare.keys.items()}
    sections = {section.name: (section.start_s, section.end_s) for section in song.sections}
    return StripAudio(bare, found[bare.node], keys, song.rate_hz, sections)


def _tapped(session: Session, bare: Bare, name: str, report: Report, cancel: Cancel | None) -> np.ndarray:
    graph, cache = bare.graph, session.cache
    channels = session.audio[name].shape[1] if name in session.audio else 2

    def make(path: Path) -> None:
        with ArrayWriter(path, channels) as writer:
            for block in tapped(graph, name, session.audio, cache, report=report, cancel=cancel):
                writer.push(block)

    key = cache.key("tapped", graph.taps([name]), graph.law, graph.rate_hz, graph.frames, name, code_hash(*RENDERED_BY))
    return cache.array(key, make)


def held(
    strip: StripAudio,
    inserts: Sequence[AnyInsert],
    moving: Collection[int],
    job: Job,
    cancel: Cancel | None = None,
) -> list[AnyInsert]:
    """Return the inserts with gains that keep each as loud as what goes into it, one after the other.

    Each is measured with those before it held. What is bypassed, or silent where it is heard, or `moving` along a lane
    of its gain, stays as it is; so does what makes room for a key (`makes_room`), which is meant to be softer.
    """
    found = list(inserts)
    for k, insert in enumerate(inserts):
        if insert.on and k not in moving and not makes_room(insert):
            found[k] = _held(strip, found, k, cancel)
        job.step()
    return found


def makes_room(insert: AnyInsert) -> bool:
    """Tell whether an insert lowers a layer in favour of another one: raising it again would undo that."""
    return isinstance(insert, (Dip, Duck))


def _held(strip: StripAudio, inserts: Sequence[AnyInsert], k: int, cancel: Cancel | None) -> AnyInsert:
    """Return an insert with the gain that holds it."""
    levels = strip.levels(inserts[: k + 1], [k], loudness_alone=True, cancel=cancel)[k]
    if levels.in_lufs is None or levels.out_lufs is None:
        return inserts[k]
    louder_by = levels.out_lufs - levels.in_lufs
    if abs(louder_by) <= _LEFT_LU:
        return inserts[k]
    gain_db = max(-_MOST_DB, min(_MOST_DB, inserts[k].gain_db - louder_by))
    return changed(inserts[k], gain_db=round(gain_db, _DIGITS))
