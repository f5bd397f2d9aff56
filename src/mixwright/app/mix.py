# SPDX-License-Identifier: Apache-2.0
"""Render the mix with its accepted moves, measure it, and write it to a file."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Sequence
from contextlib import AbstractContextManager
from pathlib import Path

from mixwright.app.beside import beside
from mixwright.app.page import write_page
from mixwright.app.scene import sounding_hash
from mixwright.app.session import open_song
from mixwright.app.space import Making
from mixwright.app.told import check_known
from mixwright.delivery.names import DEFAULT_TEMPLATE, NameFields, file_names, words
from mixwright.delivery.tagging import song_tags, told_loudness
from mixwright.errors import OutputError, SettingError, count, listed, printable
from mixwright.io.kept import relative_to_song, write_kept
from mixwright.io.replace import Unnamed, make_folder, named_file
from mixwright.io.song_file import load_song
from mixwright.io.write import BITS, SampleFormat, write_wav
from mixwright.jobs.progress import Cancel, Report, blocks, silent
from mixwright.model.lane import Lane
from mixwright.model.results import MixResult
from mixwright.model.song import MASTER, Song, sounding_tracks, targets_of
from mixwright.version import __version__

_BLOCK_FRAMES = 65536


def mix(
    song: Path,
    *,
    out: Path | None = None,
    sample_format: SampleFormat = "pcm24",
    solo: Sequence[str] = (),
    mute: Sequence[str] = (),
    report: Report = silent,
    cancel: Cancel | None = None,
) -> MixResult:
    """Render, measure and write the mix of a song folder.

    Parameters
    ----------
    song : Path
        the song folder
    out : Path, optional
        a new ``.wav`` file; None: ``mixes/Title_MixNN_48k24.wav`` in the song folder, NN counting up
    sample_format : {"pcm16", "pcm24", "float32"}
        where a sample passes full scale the file is written as float32 instead, and a note says so
    solo, mute : sequence of str
        tracks, sources or groups that sound alone, or do not, as they stand in the mix: with the gains that all of it
        makes, so that what is left out and what sounds add up to it. Nothing of this is kept as the mix of the song.
    report, cancel
        progress and stop switch

    Raises
    ------
    InputError, SettingError, StateError
        as from `open_song` and `compile_mix`
    OutputError
        where the file exists already or cannot be written
    """
    song, out = Path(song), None if out is None else Path(out)
    if sample_format not in BITS:
        raise SettingError(f"{sample_format!r} is no sample format", hint=f"known: {', '.join(BITS)}")
    if out is not None:
        _check_out(out)
    # Where the mix passes full scale it is written as float32, whatever was asked for.
    tracks = _chosen(load_song(song), solo, mute)
    making = Making(renders=(tracks,), bytes_a_frame=8, into=None if out is None else out.parent)
    with open_song(song, making, report=report, cancel=cancel) as session:
        make_folder(out.parent if out is not None else song / "mixes")  # refused before the work is done
        audio = session.rendered(tracks, report=report, cancel=cancel)
        levels = session.levels(tracks, report=report, cancel=cancel)
        over_db = levels.sample_peak_dbfs or 0.0
        notes = _unheard(session.song, session.lanes)
        if over_db > 0.0 and sample_format != "float32":
            sample_format = "float32"
            note = (
                f"The mix peaks at {over_db:+.1f} dBFS: written as 32-bit float, so nothing is cut. "
                "For 16 or 24 bit lower the fader of the master."
            )
            notes = (*notes, note)
        rate_hz = session.song.rate_hz
        name = "Mix" if tracks is None else _part_name(solo, mute)
        told = told_loudness(levels)
        tags = song_tags(session.song, rate_hz=rate_hz, frames=len(audio), part=name, loudness=told)
        with _new_file(song, out, session.song, name, rate_hz, sample_format) as file:
            written = write_wav(
                file.building,
                blocks(audio, _BLOCK_FRAMES, cancel),
                rate_hz=rate_hz,
                channels=2,
                frames=len(audio),
                sample_format=sample_format,
                tags=tags,
            )
        result = MixResult(
            file=relative_to_song(song, file.path),
            sample_format=sample_format,
            rate_hz=rate_hz,
            frames=written.frames,
            sha256=written.sha256,
            levels=levels,
            moves=tuple(move.id for move in session.song.moves if move.state == "accepted"),
            notes=notes,
            dynamics=session.dynamics(),
            sounding=sounding_hash(session.song, session.lanes),
            engine=__version__,
            solo=tuple(solo),
            mute=tuple(mute),
        )
    if tracks is not None:
        return result
    with beside(f"{printable(result.file)} is written and whole, but the song keeps nothing of it: "):
        write_kept(song, "mix", result)
    write_page(song)
    return result


def _chosen(song: Song, solo: Sequence[str], mute: Sequence[str]) -> frozenset[str] | None:
    """Return the tracks that sound where some do alone, or do not; None for the whole mix."""
    if not solo and not mute:
        return None
    sounding = {track.id for track in sounding_tracks(song)}
    known = {track.id: {track.id} for track in song.tracks}
    for name in {t.source for t in song.tracks if t.source} | {group.id for group in song.groups}:
        known.setdefault(name, {track.id for track in targets_of(song, name)})
    for names, option in ((solo, "solo"), (mute, "mute")):
        check_known(names, known, "track, source or group", option)
    heard = set().union(*(known[name] for name in solo)) if solo else sounding
    chosen = frozenset(heard & sounding - set().union(*(known[name] for name in mute)))
    if not chosen:
        raise SettingError("nothing would sound: all of it is muted", where="--mute" if mute else "--solo")
    return chosen


def _part_name(solo: Sequence[str], mute: Sequence[str]) -> str:
    named = "".join(words(name) for name in (solo or mute))
    return f"{'Solo' if solo else 'Without'}{named}"[:18]


def _unheard(song: Song, lanes: Sequence[Lane]) -> tuple[str, ...]:
    """Say which kept lanes move nothing, because nothing is called what they name."""
    named = (song.tracks, song.groups, song.sends, song.sources)
    known = {MASTER, *(record.id for records in named for record in records)}
    lost = sorted({lane.target for lane in lanes if lane.points and lane.target not in known})
    if not lost:
        return ()
    what = f"{count(len(lost), 'name')} that no track, source, group or send has: {listed(lost)}"
    return (f"Kept automation is for {what}. It moves nothing; take its lanes out.",)


def _check_out(out: Path) -> None:
    if out.suffix.lower() != ".wav":
        raise SettingError("a mix is written as .wav", where=printable(out), hint="end the name with .wav")
    if os.path.lexists(out):
        raise OutputError("the file exists already", where=printable(out), hint="choose another name")


def _new_file(
    folder: Path, out: Path | None, song: Song, name: str, rate_hz: int, sample_format: SampleFormat
) -> AbstractContextManager[Unnamed]:
    """Give the path to write to; it becomes the file asked for, or the next ``MixNN``, or as `name` says."""

    def next_name(taken: Iterable[str]) -> str:
        # Nine digits at most: a longer number is none of ours, and counting on from it would outgrow the name.
        found = (re.search(rf"_{name}(\d{{1,9}})_.*\.wav$", one, re.ASCII) for one in taken)
        number = max((int(match[1]) for match in found if match), default=0) + 1
        fields = NameFields(f"{name}{number:02d}", rate_hz, sample_format)
        return file_names(DEFAULT_TEMPLATE, song, [fields])[0]

    lock = folder / "kept" / "mixes.lock"
    if out is not None:
        return named_file(out.parent, lambda _taken: out.name, lock)
    return named_file(folder / "mixes", next_name, lock)
