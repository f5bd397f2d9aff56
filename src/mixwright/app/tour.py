# SPDX-License-Identifier: Apache-2.0
"""The whole job on an invented song, in one command."""

from __future__ import annotations

import time
from pathlib import Path

from mixwright.app.decide import accept
from mixwright.app.deliver import deliver
from mixwright.app.measure import measure
from mixwright.app.mix import mix
from mixwright.app.page import write_page
from mixwright.app.plan import plan
from mixwright.app.start import start
from mixwright.demo.pieces import SONG
from mixwright.demo.record import write_demo
from mixwright.errors import OutputError
from mixwright.jobs.progress import Cancel, Report, silent
from mixwright.model.results import TourResult


def tour(folder: Path, *, report: Report = silent, cancel: Cancel | None = None) -> TourResult:
    """Write the invented demo song into a folder and do the whole job on it.

    Tracks are received and planned; every proposed move is accepted; the mix is rendered, measured and
    delivered. Nothing outside `folder` is touched.

    Parameters
    ----------
    folder : Path
        A folder that does not exist yet, or is empty.
    report, cancel
        Progress and the user's switch to stop.

    Raises
    ------
    OutputError
        when the folder holds something already
    """
    started = time.monotonic()
    folder = Path(folder)
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise OutputError("this is not an empty folder", where=str(folder), hint="name a new one: tour DIR")
    demo = write_demo(folder / "received", report=report, cancel=cancel)
    song = folder / "song"
    start(
        demo.tracks, song, references=demo.references, rough=demo.rough, title=SONG.title, report=report, cancel=cancel
    )
    plan(song, lead="auto", report=report, cancel=cancel)
    accept(song, (), everything=True)
    mixed = mix(song, report=report, cancel=cancel)
    measure(song, report=report, cancel=cancel)
    delivered = deliver(song, report=report, cancel=cancel)
    page = write_page(song)
    prints = song / delivered.folder
    return TourResult(
        song=str(song),
        page=str(page),
        mix=str(song / mixed.file),
        prints=str(prints),
        files=tuple(str(prints / printed.file) for printed in delivered.files),
        seconds=round(time.monotonic() - started, 1),
    )
