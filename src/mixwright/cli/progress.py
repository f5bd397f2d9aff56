# SPDX-License-Identifier: Apache-2.0
"""How far a job is, told on standard error in one of four ways."""

from __future__ import annotations

import json
import math
import threading
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Literal, Protocol, TextIO

if TYPE_CHECKING:
    from rich.progress import Progress as Bar
    from rich.progress import TaskID

    from mixwright.jobs.progress import Progress

Mode = Literal["bar", "plain", "json", "none"]
Clock = Callable[[], float]

#: A bar appears only for work that lasts longer than this.
BAR_AFTER_S = 0.5
#: Plain lines of one job come no closer than this, except its last.
PLAIN_EVERY_S = 1.0
#: JSON lines of one job come no closer than this, except its first and last.
JSON_EVERY_S = 0.1


class Teller(Protocol):
    """Takes the events of jobs; called from any thread."""

    def __call__(self, progress: Progress) -> None:
        """Tell one event."""

    def close(self) -> None:
        """Leave standard error clean; later events are not told."""


def teller(mode: Mode | None, stream: TextIO | None, clock: Clock = time.monotonic) -> Teller:
    """Return the teller of a mode; None chooses a bar on a terminal and plain lines elsewhere.

    A bar is never drawn where the stream is not a terminal: plain lines take its place. Without a stream nobody is
    told.
    """
    if mode == "none" or stream is None:
        return _Nothing()
    if mode == "json":
        return _Json(stream, clock)
    if mode in (None, "bar") and stream.isatty():
        return _Bar(stream, clock)
    return _Plain(stream, clock)


class _Nothing:
    def __call__(self, progress: Progress) -> None:
        pass

    def close(self) -> None:
        pass


class _Lines:
    """Writes whole lines from any thread, and falls silent when nobody reads them any more."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._lock = threading.Lock()
        self._open = True

    def close(self) -> None:
        with self._lock:
            self._open = False

    def _write(self, line: str) -> None:
        if not self._open:
            return
        try:
            self._stream.write(line + "\n")
            self._stream.flush()
        except (OSError, ValueError):
            self._open = False


class _Plain(_Lines):
    """At most one line per ten percent of each job, and one that it is done."""

    def __init__(self, stream: TextIO, clock: Clock) -> None:
        super().__init__(stream)
        self._clock = clock
        self._told: dict[str, tuple[int, float]] = {}

    def __call__(self, progress: Progress) -> None:
        tenth, now = _tenth(progress), self._clock()
        with self._lock:
            if progress.note:
                self._write(f"{_clean(progress.job)}: {_clean(progress.note)}")
                return
            if progress.done <= 0 or progress.job not in self._told:
                self._told[progress.job] = 0, now
            before, at = self._told[progress.job]
            if tenth <= before or (tenth < 10 and now - at < PLAIN_EVERY_S):
                return
            self._told[progress.job] = tenth, now
            left = "" if progress.left_s is None or tenth == 10 else f", about {_seconds(progress.left_s)} left"
            self._write(f"{_clean(progress.job)}: {tenth * 10} %{left}")


class _Json(_Lines):
    """One object a line."""

    def __init__(self, stream: TextIO, clock: Clock) -> None:
        super().__init__(stream)
        self._clock = clock
        self._last: dict[str, float] = {}

    def __call__(self, progress: Progress) -> None:
        with self._lock:
            now = self._clock()
            last = self._last.get(progress.job, -math.inf)
            if 0 < progress.done < progress.total and now - last < JSON_EVERY_S:
                return
            self._last[progress.job] = now
            event = {
                "job": progress.job,
                "done": progress.done,
                "total": progress.total,
                "left_s": None if progress.left_s is None else round(progress.left_s, 3),
            }
            if progress.note:
                event["note"] = progress.note
            self._write(json.dumps(event, allow_nan=False))


class _Bar:
    """A bar for each job, drawn by rich, which is loaded when the first bar is drawn."""

    def __init__(self, stream: TextIO, clock: Clock) -> None:
        self._stream = stream
        self._clock = clock
        self._started = clock()
        self._lock = threading.Lock()
        self._bar: Bar | None = None
        self._tasks: dict[str, TaskID] = {}
        self._open = True

    def __call__(self, progress: Progress) -> None:
        with self._lock:
            if progress.note:
                self._note(f"{_clean(progress.job)}: {_clean(progress.note)}")
                return
            if not self._open or (self._bar is None and self._clock() - self._started < BAR_AFTER_S):
                return
            if self._bar is None:
                self._bar = _new_bar(self._stream)
                self._bar.start()
            if progress.job not in self._tasks:
                self._tasks[progress.job] = self._bar.add_task(_clean(progress.job), total=progress.total)
            self._bar.update(self._tasks[progress.job], completed=progress.done, total=progress.total)

    def _note(self, line: str) -> None:
        if self._open and self._bar is not None:
            self._bar.console.print(line, markup=False)
        elif self._open:
            self._stream.write(line + "\n")

    def close(self) -> None:
        with self._lock:
            self._open = False
            if self._bar is not None:
                self._bar.stop()
                self._bar = None


def _new_bar(stream: TextIO) -> Bar:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(file=stream)
    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TimeRemainingColumn(compact=True))
    return Progress(*columns, console=console, transient=True)


def _tenth(progress: Progress) -> int:
    return 10 if progress.done >= progress.total else int(10 * progress.done / progress.total)


def _seconds(seconds: float) -> str:
    if seconds < 1:
        return "1 s"
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"


def _clean(text: str) -> str:
    from mixwright.report.figures import clean

    return clean(text)
