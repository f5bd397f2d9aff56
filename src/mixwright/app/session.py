# SPDX-License-Identifier: Apache-2.0
"""A song folder opened for work: the one place that turns files into what the engine needs."""

from __future__ import annotations

import functools
import os
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from mixwright.engine.graph import MixGraph, compile_mix
from mixwright.engine.render import render
from mixwright.errors import InputError, SettingError, StateError, printable
from mixwright.io.kept import read_lanes, song_path
from mixwright.io.song_file import edit_song, load_song
from mixwright.io.stems import Stem, StemStore
from mixwright.jobs.array_file import ArrayWriter
from mixwright.jobs.cache import Cache, code_hash
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.meter.measure import measure
from mixwright.model.lane import Lane
from mixwright.model.levels import Levels
from mixwright.model.song import Song, Track, changed, used_tracks
from mixwright.version import __version__

#: What the rendered audio depends on, beside the song and its files.
RENDERED_BY = ("mixwright.engine", "mixwright.core.filters", "mixwright.core.resample", "mixwright.io.decoder_child")
#: What measured levels depend on.
MEASURED_BY = ("mixwright.meter", "mixwright.core.spectra")
_LARGEST = float(np.finfo(np.float32).max)
#: As long as a received file may be: a start that is off by a few digits must not fill the disk.
_LONGEST_H = 24


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

    def rendered(
        self, tracks: Collection[str] | None = None, *, report: Report = silent, cancel: Cancel | None = None
    ) -> np.ndarray:
        """Return the mix as mapped float32 ``(frames, 2)``, rendered once and kept in the cache.

        Parameters
        ----------
        tracks : collection of str, optional
            only these sound, everything else as in the mix
        """

        def make(path: Path) -> None:
            blocks = render(self.graph, self.audio, tracks=tracks, cache=self.cache, report=report, cancel=cancel)
            with ArrayWriter(path, 2) as writer:
                for block in blocks:
                    writer.push(np.clip(block, -_LARGEST, _LARGEST))

        return self.cache.array(self._key(tracks), make)

    def levels(
        self, tracks: Collection[str] | None = None, *, report: Report = silent, cancel: Cancel | None = None
    ) -> Levels:
        """Return the levels of the mix, or of some of its tracks alone as they stand in it; measured once."""
        audio = self.rendered(tracks, report=report, cancel=cancel)
        key = self.cache.key("levels", self._key(tracks), code_hash(*MEASURED_BY))
        return self.cache.record(key, Levels, lambda: measure(audio, self.song.rate_hz))

    def _key(self, tracks: Collection[str] | None) -> str:
        chosen = None if tracks is None else tuple(sorted(tracks))
        return self.cache.key("mix", self.graph.identity(), chosen, code_hash(*RENDERED_BY))


@contextmanager
def open_song(folder: Path, *, report: Report = silent, cancel: Cancel | None = None) -> Iterator[Session]:
    """Open a song folder with the audio of all used tracks.

    Parameters
    ----------
    folder : Path
        the song folder
    report, cancel
        progress of decoding, which is done once per file content

    Raises
    ------
    SettingError
        where `song.toml` is wrong
    InputError
        where a track is missing, was changed since it was received, or cannot be used
    """
    song = load_song(folder)
    used = used_tracks(song)
    if not used:
        raise StateError(
            "the song has no track in use", where=printable(folder), hint="set use = true for a track in song.toml"
        )
    _check_present(folder, used)
    with Cache(Path(folder) / "cache") as cache, StemStore(cache) as store:
        job = Job("reading tracks", len(used), report, cancel)

        def one(track: Track) -> Stem:
            stem = _open(store, folder, song, track)
            job.step()
            return stem

        stems = dict(zip((track.id for track in used), in_order(one, used), strict=True))
        hashed = tuple(changed(t, sha256=stems[t.id].sha256) if t.id in stems else t for t in song.tracks)
        yield Session(Path(folder), changed(song, tracks=hashed), read_lanes(folder), store, cache, stems)


def note_print(folder: Path, song: Song) -> None:
    """Write into `song.toml` which version printed last, where another one did before."""
    if song.printed_with != __version__:
        name = f"note that version {__version__} printed it"
        edit_song(folder, name, lambda now: changed(now, printed_with=__version__))


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
        return (
            f"the file of track {track.id} is not the one that was received",
            "put the received file back, or clear its sha256 in song.toml to take this one",
        )
    if stem.audio.shape[1] not in (1, 2):
        return (
            f"track {track.id} has {stem.audio.shape[1]} channels; a track has 1 or 2",
            "set use = false in song.toml and ask for a stereo file",
        )
    hours = (track.start_frame + len(stem.audio)) / stem.rate_hz / 3600.0
    if hours > _LONGEST_H:
        return f"track {track.id} would end {hours:,.0f} hours into the song", "correct its start_frame in song.toml"
    return None
