# SPDX-License-Identifier: Apache-2.0
"""The page of a song, written anew from what is kept."""

from __future__ import annotations

from pathlib import Path
from typing import TypeVar

from mixwright.app.beside import beside
from mixwright.app.scene import sounding_hash
from mixwright.errors import StateError
from mixwright.io.kept import read_kept, read_lanes
from mixwright.io.replace import replacing
from mixwright.io.song_file import load_song
from mixwright.model.comparison import CompareResult
from mixwright.model.preview import PreviewResult
from mixwright.model.prints import DeliverResult
from mixwright.model.receipts import ProveResult
from mixwright.model.record import Record
from mixwright.model.results import MeasureResult, MixResult, PlanResult, StartResult
from mixwright.report.page import song_page

R = TypeVar("R", bound=Record)

PAGE_FILE = "page.html"


def write_page(folder: Path) -> Path:
    """Write ``page.html`` of a song from `song.toml` and the results that its commands kept.

    Every command that changes the song or keeps a result calls this last, so the page is always current; it takes
    a fraction of a second. A result that is not there yet leaves its part of the page out; one that cannot be read (it
    is damaged, or of another version) does so too, and the page says so. A page that cannot be written is a warning:
    what it tells of is done.

    Parameters
    ----------
    folder : Path
        The song folder.

    Returns
    -------
    Path
        The page.
    """
    path = Path(folder) / PAGE_FILE
    with beside("the page is not up to date: "), replacing(path) as unfinished:
        unfinished.write_text(_page(Path(folder)), encoding="utf-8", newline="\n")
    return path


def _page(folder: Path) -> str:
    unread: list[str] = []

    def kept(name: str, type_: type[R]) -> R | None:
        try:
            return read_kept(folder, name, type_)
        except StateError as error:
            unread.append(str(error))
            return None

    song = load_song(folder)
    return song_page(
        song,
        kept("intake", StartResult),
        kept("measure", MeasureResult),
        kept("plan", PlanResult),
        kept("mix", MixResult),
        kept("deliver", DeliverResult),
        preview=kept("preview", PreviewResult),
        receipts=kept("receipts", ProveResult),
        compared=kept("compare", CompareResult),
        folder=str(folder),
        unread=unread,
        sounding=sounding_hash(song, read_lanes(folder, song.automation)),
    )
