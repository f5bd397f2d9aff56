# SPDX-License-Identifier: Apache-2.0
"""Server-sent events: what happens to a song, told to every page that shows it."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

from mixwright.io.song_file import SONG_FILE

#: How often the disk is looked at, and how often a page is told that nothing happened.
LOOK_S, QUIET_S = 0.5, 15.0
#: A page that takes no events loses the oldest; it reads the song anew with the next.
_MOST_WAITING = 256
#: What commands keep, by the name of the file.
RESULTS = ("intake", "measure", "plan", "receipts", "mix", "deliver", "compare", "lanes", "bounces")


class Events:
    """Tells every listening page what happens. `publish` may be called by any thread."""

    def __init__(self) -> None:
        self._loop: asyncio.AbstractEventLoop | None = None
        self._pages: set[asyncio.Queue[str | None]] = set()

    def begin(self) -> None:
        """Take the running loop as the one that pages are told in."""
        self._loop = asyncio.get_running_loop()

    def publish(self, event: str, data: dict[str, Any]) -> None:
        """Tell all pages; an event is a word and plain data."""
        text = f"event: {event}\ndata: {json.dumps(data, allow_nan=False)}\n\n"
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._put, text)

    def end(self) -> None:
        """End every stream, so that the server can stop."""
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._put, None)

    async def stream(self) -> AsyncIterator[str]:
        """Yield events as text/event-stream until :meth:`end`."""
        queue: asyncio.Queue[str | None] = asyncio.Queue(_MOST_WAITING)
        self._pages.add(queue)
        try:
            yield "retry: 1000\n\nevent: hello\ndata: {}\n\n"
            while True:
                try:
                    text = await asyncio.wait_for(queue.get(), QUIET_S)
                except TimeoutError:
                    text = ": quiet\n\n"
                if text is None:
                    return
                yield text
        finally:
            self._pages.discard(queue)

    def _put(self, text: str | None) -> None:
        for queue in self._pages:
            if queue.full():
                queue.get_nowait()
            queue.put_nowait(text)


async def watch(folder: Path, events: Events) -> None:
    """Publish `song` and `results` when files of a song change on the disk, whoever wrote them."""
    files = {SONG_FILE: folder / SONG_FILE, **{name: folder / "kept" / f"{name}.json" for name in RESULTS}}
    before = {name: _mark(path) for name, path in files.items()}
    while True:
        await asyncio.sleep(LOOK_S)
        now = {name: _mark(path) for name, path in files.items()}
        changed = [name for name in files if now[name] != before[name]]
        before = now
        if SONG_FILE in changed:
            events.publish("song", {})
        if names := [name for name in changed if name != SONG_FILE]:
            events.publish("results", {"names": names})


def _mark(path: Path) -> tuple[int, int, int] | None:
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_mtime_ns, status.st_size, status.st_ino
