# SPDX-License-Identifier: Apache-2.0
"""A song folder opened for work: the one place that turns files into what the engine needs."""

from __future__ import annotations

import functools
import os
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from mixwright.app.dynamics import logged
from mixwright.app.keys import MEASURED_BY, rendered_key
from mixwright.app.space import LONGEST_H, NOTHING, Making, needs
from mixwright.engine.compiling import compile_mix
from mixwright.engine.curves import Curves
from mixwright.engine.graph import MixGraph
from mixwright.engine.render import render
from mixwright.errors import InputError, SettingError, StateError, printable
from mixwright.io.kept import read_lanes, song_path
from mixwright.io.song_file import load_song
from mixwright.io.stems import Stem, StemStore
from mixwright.jobs.array_file import ArrayWriter, write_array
from mixwright.jobs.cache import Cache
from mixwright.jobs.pool import ahead, in_order
from mixwright.jobs.progress import Cancel, Job, Report, blocks, silent
from mixwright.jobs.space import require_space
from mixwright.meter.loudness import Loudness
from mixwright.meter.measure import Meter
from mixwright.model.dynamics import Dynamics
from mixwright.model.lane import Lane
from mixwright.model.levels import Levels
from mixwright.model.song import Song, Track, changed, used_tracks

_BLOCK_FRAMES = 65536
_LARGEST = float(np.finfo(np.float32).max)


@dataclass(frozen=True, eq=False)
class Session:
    """An opened song: `stems` are its used tracks at the song's rate, by track id."""

    folder: Path
    song: Song
    lanes: tuple[Lane, ...]
    store: StemStore
    cache: Cache
    stems: Mapping[str, Stem]

    @functools.cached_property
    def audio(self) -> dict[str, np.ndarray]:
        """float32 audio ``(frames, 1|2)`` of the used tracks."""
        return {track: stem.audio for track, stem in self.stems.items()}

    @functools.cached_property
    def graph(self) -> MixGraph:
        """The mix with its accepted moves."""
        return compile_mix(self.song, self.lanes, {track: len(audio) for track, audio in self.audio.items()})

    def changed(self, song: Song) -> Session:
        """Return the session of the same files with other settings."""
        return Session(self.folder, song, self.lanes, self.store, self.cache, self.stems)

    def curves(self, *, report: Report = silent, cancel: Cancel | None = None) -> Curves | None:
        """Return the gains of compressors and the limiter, made once from the whole mix; None without any."""
        found = self._logged(report, cancel)
        return None if found is None else found[0]

    def dynamics(self, *, report: Report = silent, cancel: Cancel | None = None) -> Dynamics | None:
        """Return what compressors and the limiter do to the mix; None without any."""
        found = self._logged(report, cancel)
        return None if found is None else found[1]

    def rendered(
        self,
        tracks: Collection[str] | None = None,
        *,
        graph: MixGraph | None = None,
        workers: int | None = None,
        report: Report = silent,
        cancel: Cancel | None = None,
    ) -> np.ndarray:
        """Return the mix as mapped float32 ``(frames, 2)``, rendered once and kept in the cache.

        Parameters
        ----------
        tracks : collection of str, optional
            only these sound, everything else as in the mix
        graph : MixGraph, optional
            a part of the mix in place of all of it (`engine.parts`, `engine.returns`)
        workers : int, optional
            threads of the rendering; 1 where several are rendered at once
        """

        def make(path: Path) -> None:
            with ArrayWriter(path, 2) as writer:
                for block in self._render(tracks, workers, report, cancel, graph):
                    writer.push(np.clip(block, -_LARGEST, _LARGEST))

        return self.cache.array(rendered_key("mix", graph or self.graph, tracks), make)

    def levels(
        self, tracks: Collection[str] | None = None, *, report: Report = silent, cancel: Cancel | None = None
    ) -> Levels:
        """Return the levels of the mix, or of some of its tracks as they stand in it, for which it is rendered."""
        audio = self.rendered(tracks, report=report, cancel=cancel)
        return self._measured(tracks, lambda: blocks(audio, _BLOCK_FRAMES, cancel))[0]

    def measured(
        self, tracks: Collection[str] | None = None, *, workers: int | None = None, cancel: Cancel | None = None
    ) -> tuple[Levels, Loudness]:
        """Return levels and loudness of the mix, or of some of its tracks as they stand in it.

        Measured once and while it is rendered: the audio is not kept. `workers` are as for :meth:`rendered`.
        """
        return self._measured(tracks, lambda: self._render(tracks, workers, silent, cancel))

    def is_measured(self, tracks: Collection[str] | None = None) -> bool:
        """Tell whether :meth:`measured` finds the mix, or some of its tracks, in the cache."""
        return self.cache.holds(self._levels_key(tracks))

    def _levels_key(self, tracks: Collection[str] | None) -> str:
        return rendered_key("levels", self.graph, tracks, *MEASURED_BY)

    def _measured(
        self, tracks: Collection[str] | None, pieces: Callable[[], Iterable[np.ndarray]]
    ) -> tuple[Levels, Loudness]:
        key = self._levels_key(tracks)
        made: list[Levels] = []

        def measure() -> Loudness:
            meter = Meter(self.song.rate_hz, 2)
            for block in ahead(pieces()):
                meter.push(block)
            made.append(meter.result())
            return meter.loudness()

        def make(path: Path) -> None:
            loudness = measure()
            write_array(path, loudness.energy)

        def levels() -> Levels:
            if not made:  # only the figures were lost from the cache
                measure()
            return made[0]

        energy = self.cache.array(key, make)
        return self.cache.record(key, Levels, levels), Loudness(self.song.rate_hz, energy)

    def _render(
        self,
        tracks: Collection[str] | None,
        workers: int | None,
        report: Report,
        cancel: Cancel | None,
        graph: MixGraph | None = None,
    ) -> Iterator[np.ndarray]:
        curves = self.curves(report=report, cancel=cancel)
        return render(
            graph or self.graph,
            self.audio,
            tracks=tracks,
            curves=curves,
            workers=workers,
            cache=self.cache,
            report=report,
            cancel=cancel,
        )

    def _logged(self, report: Report, cancel: Cancel | None) -> tuple[Curves, Dynamics] | None:
        if not self.graph.dynamics:
            return None
        return logged(self.graph, self.audio, self.cache, report=report, cancel=cancel)


@contextmanager
def open_song(
    folder: Path, making: Making = NOTHING, *, report: Report = silent, cancel: Cancel | None = None
) -> Iterator[Session]:
    """Open a song folder with the audio of all used tracks.

    Parameters
    ----------
    folder : Path
        the song folder
    making : Making
        what will be made of it that stays, so that the disk space is known beforehand
    report, cancel
        progress of decoding, which is done once per file content

    Raises
    ------
    SettingError
        where `song.toml` is wrong
    InputError
        where a track is missing, was changed since it was received, or cannot be used
    OutputError
        where the disk cannot hold the audio and what will be made of it
    """
    song = load_song(folder)
    used = used_tracks(song)
    if not used:
        raise StateError(
            "the song has no track in use", where=printable(folder), hint="set use = true for a track in song.toml"
        )
    _check_present(folder, used)
    lanes = read_lanes(folder, song.automation)
    with Cache(Path(folder) / "cache", cancel) as cache, StemStore(cache, cancel=cancel) as store:
        require_space(needs(Path(folder), song, lanes, store, cache, making), report)
        job = Job("reading tracks", len(used), report, cancel)

        def one(track: Track) -> Stem:
            stem = _open(store, folder, song, track)
            job.step()
            return stem

        stems = dict(zip((track.id for track in used), in_order(one, used), strict=True))
        hashed = tuple(changed(t, sha256=stems[t.id].sha256) if t.id in stems else t for t in song.tracks)
        yield Session(Path(folder), changed(song, tracks=hashed), lanes, store, cache, stems)


def _check_present(folder: Path, tracks: Collection[Track]) -> None:
    # Path.is_file is an error where a name is too long.
    missing = [track for track in tracks if not os.path.isfile(song_path(folder, track.file))]  # noqa: PTH113
    if missing:
        more = f" (and {len(missing) - 1} more)" if len(missing) > 1 else ""
        raise InputError(
            f"the file of track {missing[0].id} is missing{more}",
            where=printable(missing[0].file),
            hint="find it with `mixwright relink SONG FOLDER`, or set use = false in song.toml",
        )


def _open(store: StemStore, folder: Path, song: Song, track: Track) -> Stem:
    try:
        stem = store.open(song_path(folder, track.file), song.rate_hz)
    except (InputError, SettingError) as error:
        error.where = error.where or printable(track.file)
        raise
    problem = _problem(stem, track)
    if problem:
        what, hint = problem
        raise InputError(what, where=printable(track.file), hint=hint)
    return stem


def _problem(stem: Stem, track: Track) -> tuple[str, str] | None:
    if track.sha256 and stem.sha256 != track.sha256:
        hint = (
            "put the received file back, or take this one: mixwright refresh SONG --take; "
            "where that was undone: mixwright redo SONG"
        )
        return f"the file of track {track.id} is not the one that was received", hint
    if stem.audio.shape[1] not in (1, 2):
        return (
            f"track {track.id} has {stem.audio.shape[1]} channels; a track has 1 or 2",
            "set use = false in song.toml and ask for a stereo file",
        )
    hours = (track.start_frame + len(stem.audio)) / stem.rate_hz / 3600.0
    if hours > LONGEST_H:
        return f"track {track.id} would end {hours:,.0f} hours into the song", "correct its start_frame in song.toml"
    return None
