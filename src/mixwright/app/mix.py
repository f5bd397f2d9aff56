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
from mixwright.delivery.names import DEFAULT_TEMPLATE, NameFields, file_names
from mixwright.errors import OutputError, SettingError, count, listed, printable
from mixwright.io.kept import relative_to_song, write_kept
from mixwright.io.replace import Unnamed, make_folder, named_file
from mixwright.io.write import BITS, SampleFormat, write_wav
from mixwright.jobs.progress import Cancel, Report, blocks, silent
from mixwright.model.lane import Lane
from mixwright.model.results import MixResult
from mixwright.model.song import MASTER, Song
from mixwright.version import __version__

_BLOCK_FRAMES = 65536


def mix(
    song: Path,
    *,
    out: Path | None = None,
    sample_format: SampleFormat = "pcm24",
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
    making = Making(renders=(None,), bytes_a_frame=8, into=None if out is None else out.parent)
    with open_song(song, making, report=report, cancel=cancel) as session:
        make_folder(out.parent if out is not None else song / "mixes")  # refused before the work is done
        audio = session.rendered(report=report, cancel=cancel)
        levels = session.levels(report=report, cancel=cancel)
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
        with _new_file(song, out, session.song.title, rate_hz, sample_format) as file:
            written = write_wav(
                file.building,
                blocks(audio, _BLOCK_FRAMES, cancel),
                rate_hz=rate_hz,
                channels=2,
                frames=len(audio),
                sample_format=sample_format,
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
        )
    with beside(f"{printable(result.file)} is written and whole, but the song keeps nothing of it: "):
        write_kept(song, "mix", result)
    write_page(song)
    return result


def _unheard(song: Song, lanes: Sequence[Lane]) -> tuple[str, ...]:
    """Say which kept lanes move nothing, because nothing is called what they name."""
    known = {MASTER, *(record.id for records in (song.tracks, song.groups, song.sends) for record in records)}
    lost = sorted({lane.target for lane in lanes if lane.points and lane.target not in known})
    if not lost:
        return ()
    what = f"{count(len(lost), 'name')} that no track, group or send has: {listed(lost)}"
    return (f"Kept automation is for {what}. It moves nothing; correct kept/lanes.json.",)


def _check_out(out: Path) -> None:
    if out.suffix.lower() != ".wav":
        raise SettingError("a mix is written as .wav", where=printable(out), hint="end the name with .wav")
    if os.path.lexists(out):
        raise OutputError("the file exists already", where=printable(out), hint="choose another name")


def _new_file(
    song: Path, out: Path | None, title: str, rate_hz: int, sample_format: SampleFormat
) -> AbstractContextManager[Unnamed]:
    """Give the path to write to; it becomes the file asked for, or the next ``MixNN``."""

    def next_name(taken: Iterable[str]) -> str:
        # Nine digits at most: a longer number is none of ours, and counting on from it would outgrow the name.
        found = (re.search(r"_Mix(\d{1,9})_.*\.wav$", name, re.ASCII) for name in taken)
        number = max((int(match[1]) for match in found if match), default=0) + 1
        (name,) = file_names(DEFAULT_TEMPLATE, title, "", [NameFields(f"Mix{number:02d}", rate_hz, sample_format)])
        return name

    lock = song / "kept" / "mixes.lock"
    if out is not None:
        return named_file(out.parent, lambda _taken: out.name, lock)
    return named_file(song / "mixes", next_name, lock)
