# SPDX-License-Identifier: Apache-2.0
"""What of a song can be played: the mix, the rough mix, references, prints, tracks, and excerpts of the mix."""

from __future__ import annotations

import dataclasses
import math
import threading
from collections.abc import Collection
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np

from mixwright.app.keys import rendered_key
from mixwright.app.session import Session, open_song
from mixwright.engine.render import listened, render
from mixwright.errors import InputError, SettingError, StateError, printable
from mixwright.io.kept import read_kept, read_lanes, song_path
from mixwright.io.song_file import load_song
from mixwright.io.write import wav_header
from mixwright.jobs.progress import Cancel, Report, silent
from mixwright.meter.measure import Meter
from mixwright.model.comparison import CompareResult
from mixwright.model.known import require_known
from mixwright.model.prints import DeliverResult
from mixwright.model.record import Record
from mixwright.model.results import MixResult
from mixwright.model.song import Song, Track, changed, targets_of, used_tracks

#: No excerpt is longer.
LONGEST_S = 60.0
_BLOCK_FRAMES = 65536


class Playing(Record, frozen=True, kw_only=True):
    """Something that can be played.

    `id`: ``mix``, ``mix-file``, ``rough``, ``reference/ID``, ``print/NUMBER`` or ``track/ID``. `ready`: it needs not be
    rendered first. `beside`: where it stands beside each section of the song, in its own seconds, if `compare` told.
    """

    id: str
    name: str
    ready: bool = True
    beside: dict[str, float] = {}


class StretchLevels(Record, frozen=True, kw_only=True):
    """How loud a stretch is that is heard from two sides, a single channel from both; None: too short, or silent."""

    integrated_lufs: float | None
    true_peak_dbtp: float | None


@dataclass(frozen=True, eq=False)
class Audio:
    """Samples of something that is played: float32 ``(frames, 1|2)``, read-only, perhaps mapped from a file."""

    samples: np.ndarray
    rate_hz: int

    def wav_head(self) -> bytes:
        """Return what stands before the samples in a WAV file."""
        frames, channels = self.samples.shape
        return wav_header(frames, channels, self.rate_hz, "float32")

    def levels(self, start_s: float = 0.0, end_s: float | None = None) -> StretchLevels:
        """Measure it between two of its own seconds (ITU-R BS.1770-5); a mono file counts as both channels.

        Raises
        ------
        SettingError
            where nothing lies between them
        """
        if not 0.0 <= start_s < (math.inf if end_s is None else end_s):
            raise SettingError(f"nothing lies from {start_s:g} to {end_s:g} s", hint="give an earlier start")
        first, end = (None if time is None else round(time * self.rate_hz) for time in (start_s, end_s))
        part = self.samples[first:end]
        meter = Meter(self.rate_hz, part.shape[1], spectrum=False, dual_mono=True)
        meter.push(part)
        levels = meter.result()
        return StretchLevels(integrated_lufs=levels.integrated_lufs, true_peak_dbtp=levels.true_peak_dbtp)


class Playable:
    """The audio of one song folder, opened once and followed through changes of the song; safe for several threads.

    A context manager: audio that it gave may be used within.

    Parameters
    ----------
    folder : Path
        The song folder.
    cancel : Cancel, optional
        looked at while audio is read and rendered
    """

    def __init__(self, folder: Path, cancel: Cancel | None = None) -> None:
        self.folder = Path(folder)
        self._cancel = cancel
        self._lock = threading.RLock()
        self._open = ExitStack()
        self._session: Session | None = None
        self._files: object = None

    def __enter__(self) -> Self:
        """Use as a context manager."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the song."""
        self.close()

    def close(self) -> None:
        """Close the song; it is opened again where it is asked for."""
        with self._lock:
            self._session = None
            self._open.close()

    def session(self, report: Report = silent) -> Session:
        """Return the song as it is now, opened; files are opened anew only where the song names others.

        Raises
        ------
        SettingError, InputError, StateError, OutputError
            as from `open_song`
        """
        with self._lock:
            song = load_song(self.folder)
            files = (song.rate_hz, [(track.id, track.file, track.sha256) for track in used_tracks(song)])
            if self._session is None or files != self._files:
                self._session = None
                self._open.close()
                self._session = self._open.enter_context(open_song(self.folder, report=report, cancel=self._cancel))
                self._files = files
            kept = {track.id: track for track in self._session.song.tracks}  # with the hashes of their files
            tracks = tuple(changed(t, sha256=kept[t.id].sha256) if t.id in kept else t for t in song.tracks)
            now, lanes = changed(song, tracks=tracks), read_lanes(self.folder, song.automation)
            if now != self._session.song or lanes != self._session.lanes:
                self._session = dataclasses.replace(self._session, song=now, lanes=lanes)
            return self._session

    def choices(self) -> tuple[Playing, ...]:
        """Return what can be played, in the order in which one would compare."""
        song = load_song(self.folder)
        mixed, delivered = read_kept(self.folder, "mix", MixResult), read_kept(self.folder, "deliver", DeliverResult)
        found = [Playing(id="mix", name="mix", ready=False)]
        found += [Playing(id="mix-file", name=Path(mixed.file).name)] if mixed else []
        found += [Playing(id="rough", name="rough mix")] if song.rough else []
        compared = read_kept(self.folder, "compare", CompareResult)
        beside = {one.id: one.beside for one in compared.references} if compared else {}
        for one in song.references:
            starts = {section: start_s for section, (_, start_s, _) in beside.get(one.id, {}).items()}
            found.append(Playing(id=f"reference/{one.id}", name=Path(one.file).stem, beside=starts))
        prints = delivered.files if delivered else ()
        found += [Playing(id=f"print/{number}", name=Path(one.file).stem) for number, one in enumerate(prints)]
        return tuple(found)

    def whole(self, name: str) -> Audio:
        """Return something of `choices`, or ``track/ID``, at the rate of the song.

        Raises
        ------
        SettingError
            where nothing is called so
        StateError
            where the mix was not rendered as it is now
        InputError
            where the file is missing or cannot be decoded
        """
        session = self.session()
        if name == "mix":
            samples = session.cache.held(rendered_key("mix", session.graph, None))
            if samples is None:
                raise StateError("the mix was not rendered as it is now", hint="run mix, or hear an excerpt")
        elif name.startswith("track/") and name.removeprefix("track/") in session.audio:
            samples = session.audio[name.removeprefix("track/")]
        else:
            samples = session.store.open(self._present(name), session.song.rate_hz).audio
        return Audio(samples, session.song.rate_hz)

    def excerpt(
        self,
        start_s: float,
        end_s: float,
        *,
        tracks: Collection[str] = (),
        moves: Collection[str] | None = None,
        without_lane: tuple[str, str] | None = None,
    ) -> Audio:
        """Render a stretch of the mix, within -80 dBFS of the whole.

        Parameters
        ----------
        start_s, end_s : float
            seconds of the song, at most LONGEST_S apart
        tracks : collection of str
            tracks, sources or groups that sound alone; none: all
        moves : collection of str, optional
            ids of the moves that sound, whatever their state; None: those that are accepted
        without_lane : (target, parameter), optional
            kept automation that is left out

        Raises
        ------
        SettingError
            where the stretch is empty or too long, or a name is not known
        """
        session = self.session()
        if moves is not None:
            session = dataclasses.replace(session, song=sounding_with(session.song, moves))
        if without_lane is not None:
            lanes = tuple(lane for lane in session.lanes if (lane.target, lane.parameter) != without_lane)
            session = dataclasses.replace(session, lanes=lanes)
        chosen = frozenset(track.id for name in tracks for track in _named(session.song, name)) or None
        first, end = span_of(session, start_s, end_s)
        curves = None
        if chosen is not None and session.graph.dynamics:
            curves, _ = listened(session.graph, session.audio, (first, end), cache=session.cache, cancel=self._cancel)
        parts = render(
            session.graph,
            session.audio,
            tracks=chosen,
            curves=curves,
            span=(first, end),
            excerpt=True,
            block_frames=_BLOCK_FRAMES,
            cache=session.cache,
            cancel=self._cancel,
        )
        samples = np.concatenate([part.astype(np.float32) for part in parts])
        samples.flags.writeable = False
        return Audio(samples, session.song.rate_hz)

    def _present(self, name: str) -> Path:
        """Return the file of something, which is there."""
        file = self._file(name)
        path = song_path(self.folder, file)
        if not path.is_file():
            command = {"mix-file": "mix", "print": "deliver"}.get(name.partition("/")[0])
            hint = f"make it anew with {command}" if command else "find it with `mixwright relink SONG FOLDER`"
            raise InputError("the file is missing", where=printable(file), hint=hint)
        return path

    def _file(self, name: str) -> str:
        """Return the file of something, relative to the song."""
        song, (kind, _, id_) = load_song(self.folder), name.partition("/")
        if name == "rough" and song.rough:
            return song.rough
        if kind == "reference":
            found = [one.file for one in song.references if one.id == id_]
        elif name == "mix-file":
            mixed = read_kept(self.folder, "mix", MixResult)
            found = [mixed.file] if mixed else []
        else:
            delivered = read_kept(self.folder, "deliver", DeliverResult) if kind == "print" else None
            files = delivered.files if delivered else ()
            found = [f"{delivered.folder}/{one.file}" for k, one in enumerate(files) if delivered and str(k) == id_]
        if not found:
            raise SettingError(f"nothing to play is called {printable(name)!r}")
        return found[0]


def span_of(session: Session, start_s: float, end_s: float) -> tuple[int, int]:
    """Return the first frame of a stretch of the song, and the frame after its last.

    Raises
    ------
    SettingError
        where it is empty or longer than LONGEST_S
    """
    if not (math.isfinite(start_s) and math.isfinite(end_s) and 0.0 <= start_s < end_s <= start_s + LONGEST_S):
        raise SettingError(f"no excerpt lies from {start_s:g} to {end_s:g} s", hint=f"at most {LONGEST_S:g} s of it")
    first, end = round(start_s * session.song.rate_hz), round(end_s * session.song.rate_hz)
    end = min(end, session.graph.frames)
    if first >= end:
        raise SettingError(f"the song ends before {start_s:g} s", hint="choose an earlier time")
    return first, end


def sounding_with(song: Song, moves: Collection[str]) -> Song:
    """Return the song with these moves accepted and no other.

    Raises
    ------
    SettingError
        where one is not known
    """
    require_known(moves, {move.id for move in song.moves}, "moves", "move")
    states = {True: "accepted", False: "proposed"}
    return changed(song, moves=tuple(changed(move, state=states[move.id in moves]) for move in song.moves))


def _named(song: Song, name: str) -> tuple[Track, ...]:
    found = targets_of(song, name)
    if not found:
        raise SettingError(f"no track, source or group is called {printable(name)!r}", where="tracks")
    return found
