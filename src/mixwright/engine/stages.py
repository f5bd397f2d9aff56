# SPDX-License-Identifier: Apache-2.0
"""The inserts of one strip by themselves: what stands before them, what stands after each.

All is heard as in the whole mix: what feeds the strip, and the keys of its inserts. Arrays here lie in the time of the
song, frame 0 first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np

from mixwright.engine.chain import Chain
from mixwright.engine.compiling import compile_mix, song_frames
from mixwright.engine.curves import Listening
from mixwright.engine.desk import Desk, Sources
from mixwright.engine.graph import MixGraph, bus
from mixwright.engine.inserts import Clock
from mixwright.engine.kept_strips import kept_strips
from mixwright.engine.overlay import Overlay
from mixwright.jobs.cache import Cache
from mixwright.jobs.pool import Team
from mixwright.jobs.progress import Cancel, Report, silent, until_stopped
from mixwright.model.derived import resolved
from mixwright.model.inserts import AnyInsert
from mixwright.model.lane import Lane
from mixwright.model.move_inserts import laid_over
from mixwright.model.song import MASTER, Song, changed, strips_of, with_strip

_BLOCK_FRAMES = 65536
_LARGEST = float(np.finfo(np.float32).max)


class Bare:
    """A strip of a song without its inserts, and what these hear.

    Parameters
    ----------
    song, lanes, frames
        as for `compile_mix`
    kind, id_ : str
        of the strip, as in `strips_of`

    Attributes
    ----------
    graph : MixGraph
        the mix with the strip bare
    node : str
        the strip in the graph
    path, strip
        where it stands in the song, and what it says, written out where it is derived
    keys : mapping
        the nodes that each key of its inserts means
    """

    def __init__(self, song: Song, lanes: Sequence[Lane], frames: Mapping[str, int], kind: str, id_: str) -> None:
        whole = resolved(song)
        owned = ((path, s) for path, k, i, s in strips_of(whole) if (k, i) == (kind, id_))
        self.path, self.strip = next(owned)
        # Moves are laid over all else; those of this strip come after its own inserts.
        self._song, self._lanes = with_strip(laid_over(whole).song, kind, id_, self.strip), lanes
        self._frames = song_frames(song, frames)
        self._kind, self._id = kind, id_
        self.node = id_ if kind == "track" else bus(id_, kind)
        self.keys = compile_mix(self._song, lanes, frames).nodes[self.node].keys
        # A delay of a bus comes after its inserts.
        delay_ms = self.strip.delay_ms if kind == "track" else 0.0
        bare = with_strip(
            _sounding(self._song, kind, id_), kind, id_, changed(self.strip, inserts=(), delay_ms=delay_ms)
        )
        kept = Overlay(self._song, lanes, self._frames).kept_of(id_, kind)
        others = [lane for lane in lanes if lane.target != kept or not lane.parameter.startswith("inserts")]
        self.graph = compile_mix(bare, others, frames)

    def stages(self, inserts: Sequence[AnyInsert], channels: int) -> Stages:
        """Return the inserts, or others in their place, at work on 1 or 2 channels.

        Raises
        ------
        SettingError
            for a setting that does not fit
        """
        song = with_strip(self._song, self._kind, self._id, changed(self.strip, inserts=tuple(inserts)))
        overlay = Overlay(song, self._lanes, self._frames)
        clock = Clock(0, song.rate_hz)
        strip = changed(self.strip, inserts=tuple(inserts))
        return Stages([Chain(ops, channels) for ops in overlay.inserts(self._id, self._kind, strip, clock)])


class Stages:
    """Inserts in series, with what comes out of each."""

    def __init__(self, chains: Sequence[Chain]) -> None:
        self._chains = chains

    def run(
        self,
        audio: np.ndarray,
        keys: Mapping[str, Sequence[np.ndarray]],
        take: Callable[[int, np.ndarray, np.ndarray | None], None],
        *,
        block_frames: int = _BLOCK_FRAMES,
        cancel: Cancel | None = None,
    ) -> None:
        """Run once from the beginning.

        Parameters
        ----------
        audio : ndarray, float32, (frames, channels)
            what stands before the first insert
        keys : mapping
            float32 ``(frames, 1|2)`` of all that make up each key
        take : callable
            is given the number of each stage, what comes out of it as float64 ``(n, channels)``, latency taken out,
            and float32 ``(n, columns)`` gains that it has made, if it makes any. Stage -1 is what goes in.
        """
        frames = len(audio)
        late = np.cumsum([0, *(chain.latency_frames for chain in self._chains)]).tolist()
        for start in until_stopped(range(0, frames + late[-1], block_frames), cancel):
            count = min(block_frames, frames + late[-1] - start)
            block = stretch(audio, start, count).astype(np.float64)
            np.nan_to_num(block, copy=False, nan=0.0, posinf=0.0, neginf=0.0)
            self._give(take, -1, block, None, start, 0, frames)
            for k, chain in enumerate(self._chains):
                heard = np.zeros((count, len(chain.keys), 2), dtype=np.float32)
                for column, key in enumerate(chain.keys):
                    for one in keys[key.id]:
                        heard[:, column] += stretch(one, start - late[k] - key.late_frames, count)
                gains = np.ones((count, chain.gains), dtype=np.float32) if chain.gains else None
                chain.process(block, heard if chain.keys else None, gains)
                self._give(take, k, block, gains, start, late[k + 1], frames)

    @staticmethod
    def _give(
        take: Callable[[int, np.ndarray, np.ndarray | None], None],
        stage: int,
        block: np.ndarray,
        gains: np.ndarray | None,
        start: int,
        late: int,
        frames: int,
    ) -> None:
        part = slice(max(0, late - start), max(0, min(len(block), frames + late - start)))
        if part.start < part.stop:
            take(stage, block[part], None if gains is None else gains[part])


def _sounding(song: Song, kind: str, id_: str) -> Song:
    """Return the song with a strip that is not muted."""
    if kind == MASTER:
        return song
    records = getattr(song, f"{kind}s")
    return changed(song, **{f"{kind}s": tuple(changed(r, mute=False) if r.id == id_ else r for r in records)})


def stretch(audio: np.ndarray, frame: int, frames: int) -> np.ndarray:
    """Return a stretch of audio ``(frames, channels)``, silent before its start and after its end."""
    first, end = max(0, frame), min(len(audio), frame + frames)
    if first == frame and end == frame + frames:
        return audio[first:end]
    out = np.zeros((frames, audio.shape[1]), dtype=audio.dtype)
    if first < end:
        out[first - frame : end - frame] = audio[first:end]
    return out


def tapped(
    graph: MixGraph,
    name: str,
    stems: Mapping[str, np.ndarray],
    cache: Cache,
    *,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> Iterator[np.ndarray]:
    """Yield what stands in a strip before its fader, as float32 blocks ``(n, 1|2)``, `graph.frames` frames in all."""
    node = graph.nodes[name]
    behind = graph.behind([name])
    sounding = [track for track in graph.tracks if track.id in behind]
    with Team() as team:
        kept = kept_strips(graph, sounding, stems, team, cache, report, cancel)
        desk = Desk(graph, sounding, Sources(stems, kept), Listening(graph), team, taps=(name,))
        window, at = desk.windows[name], 0
        for clock in until_stopped(range(0, graph.frames + node.latency_frames, _BLOCK_FRAMES), cancel):
            desk.advance(clock, _BLOCK_FRAMES)
            count = min(clock + _BLOCK_FRAMES - node.latency_frames, graph.frames) - at
            if count <= 0:
                continue
            start, audio = window.within(at, count)
            block = np.zeros((count, window.audio.shape[1]))
            block[start - at : start - at + len(audio)] = np.nan_to_num(audio, nan=0.0, posinf=0.0, neginf=0.0)
            at += count
            yield np.clip(block * node.scale, -_LARGEST, _LARGEST).astype(np.float32)
