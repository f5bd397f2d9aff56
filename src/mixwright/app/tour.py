# SPDX-License-Identifier: Apache-2.0
"""The whole job on an invented song, in one command."""

from __future__ import annotations

import itertools
import time
from collections.abc import Iterator
from pathlib import Path

from mixwright.app.decide import accept
from mixwright.app.deliver import deliver
from mixwright.app.measure import measure
from mixwright.app.mix import mix
from mixwright.app.page import PAGE_FILE
from mixwright.app.plan import plan
from mixwright.app.preview import preview
from mixwright.app.song_view import set_walk
from mixwright.app.start import start
from mixwright.demo.answers import answered
from mixwright.demo.pieces import SONG
from mixwright.demo.record import write_demo
from mixwright.errors import Cancelled, MixwrightError, OutputError, printable
from mixwright.io.song_file import edit_song
from mixwright.jobs.progress import Cancel, Report, silent
from mixwright.jobs.space import require_space
from mixwright.model.preview import PreviewResult
from mixwright.model.prints import DeliverResult
from mixwright.model.results import MixResult, PlanResult, TourResult

#: Where the tour goes if no folder is named; the next free name with a number if it is taken.
FOLDER = Path("mixwright-tour")
#: What the whole tour takes at most, as measured; the demo song is the same every time.
_MOST_BYTES = 2_000_000_000


def tour(folder: Path | None = None, *, report: Report = silent, cancel: Cancel | None = None) -> TourResult:
    """Write the invented demo song into a folder and do the whole job on it.

    Tracks are received; what the artist tells of them is set by hand; a first balance is planned and all of it
    accepted; the mix is rendered, measured, previewed and delivered. Moves that make room for what is still covered
    are planned last, and wait to be decided. Nothing outside `folder` is touched.

    Parameters
    ----------
    folder : Path, optional
        A folder that does not exist yet, or is empty. None: ``mixwright-tour`` in the current folder, or
        ``mixwright-tour-2`` and so on where that is taken.
    report, cancel
        Progress and the user's switch to stop.

    Raises
    ------
    OutputError
        when the folder holds something already, or the disk cannot hold it all
    Cancelled
        when the user stopped it; what is in the folder by then may be deleted
    """
    started = time.monotonic()
    folder = next(_free_names()) if folder is None else Path(folder)
    if not _is_free(folder):
        raise OutputError("this is not an empty folder", where=printable(folder), hint="name a new one: tour DIR")
    require_space([(folder, _MOST_BYTES)], report)
    try:
        song, mixed, heard, delivered, room = _whole_job(folder, report, cancel)
    except Cancelled as error:
        left = f"{printable(folder)} may be deleted" if folder.exists() else "nothing was written"
        raise Cancelled(error.message, hint=left) from None
    except MixwrightError as error:
        if folder.exists():
            error.hint = "; ".join(filter(None, (error.hint, f"{printable(folder)} may be deleted")))
        raise
    prints = song / delivered.folder
    return TourResult(
        song=str(song),
        page=str(song / PAGE_FILE),
        mix=str(song / mixed.file),
        previews=tuple(str(song / heard.folder / file.file) for file in heard.files),
        prints=str(prints),
        files=tuple(str(prints / printed.file) for printed in delivered.files),
        proposed=tuple(move.id for move in room.moves),
        seconds=round(time.monotonic() - started, 1),
    )


def _whole_job(
    folder: Path, report: Report, cancel: Cancel | None
) -> tuple[Path, MixResult, PreviewResult, DeliverResult, PlanResult]:
    """Do every step; return the song folder, the mix, the preview, the prints, and the plan that makes room."""
    demo = write_demo(folder / "received", report=report, cancel=cancel)
    song = folder / "song"
    start(
        demo.tracks, song, references=demo.references, rough=demo.rough, title=SONG.title, report=report, cancel=cancel
    )
    edit_song(song, "answers of the artist", answered)
    set_walk(song, waits=True)
    plan(song, lead="auto", report=report, cancel=cancel)
    accept(song, (), everything=True)
    mixed = mix(song, report=report, cancel=cancel)
    measure(song, report=report, cancel=cancel)
    heard = preview(song, report=report, cancel=cancel)
    delivered = deliver(song, report=report, cancel=cancel)
    return song, mixed, heard, delivered, plan(song, report=report, cancel=cancel)


def _free_names() -> Iterator[Path]:
    names = (FOLDER if number == 1 else FOLDER.with_name(f"{FOLDER.name}-{number}") for number in itertools.count(1))
    return (name for name in names if _is_free(name))


def _is_free(folder: Path) -> bool:
    return not folder.exists() or (folder.is_dir() and not any(folder.iterdir()))
