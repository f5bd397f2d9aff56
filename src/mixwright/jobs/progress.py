# SPDX-License-Identifier: Apache-2.0
"""What a long job tells while it runs, and how it is stopped."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, TypeVar

from mixwright.errors import Cancelled
from mixwright.model.record import Record

if TYPE_CHECKING:
    import numpy as np


class Progress(Record, frozen=True, kw_only=True):
    """How far a job is: `done` of `total` in its own unit, `left_s` None until it can be told.

    `note`: something to know before it begins, in place of how far it is.
    """

    job: str
    done: float
    total: float
    left_s: float | None
    note: str = ""


Report = Callable[[Progress], None]
T = TypeVar("T")


def silent(progress: Progress) -> None:
    """Report to nobody."""


class Cancel:
    """A switch that a user throws once; long jobs look at it between blocks, each of which takes a moment."""

    def __init__(self) -> None:
        self._thrown = False
        self._wakes: list[Callable[[], object]] = []

    def cancel(self) -> None:
        """Ask the job to stop; fit for a signal handler, for no lock is taken."""
        self._thrown = True
        for wake in tuple(self._wakes):
            wake()

    def check(self) -> None:
        """Raise Cancelled if the switch was thrown."""
        if self._thrown:
            raise Cancelled("stopped", hint="run the command again to go on from what is done")

    @contextmanager
    def waking(self, wake: Callable[[], object]) -> Iterator[None]:
        """Call `wake` at the moment the switch is thrown, or now if it was, for a thread that waits for others.

        It may run within a signal handler: to put something into a `queue.SimpleQueue` is allowed, to take a lock is
        not.
        """
        self._wakes.append(wake)
        try:
            if self._thrown:
                wake()
            yield
        finally:
            self._wakes.remove(wake)


def until_stopped(items: Iterable[T], cancel: Cancel | None) -> Iterator[T]:
    """Yield items one after another, looking at the switch before each.

    Raises
    ------
    Cancelled
        when the user stopped the work
    """
    for item in items:
        if cancel is not None:
            cancel.check()
        yield item


def blocks(audio: np.ndarray, block_frames: int, cancel: Cancel | None = None) -> Iterator[np.ndarray]:
    """Yield an array in blocks of so many frames, the last one shorter, looking at the switch before each."""
    starts = range(0, len(audio), block_frames)
    return until_stopped((audio[start : start + block_frames] for start in starts), cancel)


class Job:
    """Counts the steps of one job, done by any thread, and reports them one after another with the time left.

    Parameters
    ----------
    name : str
        What is done, in the user's words.
    total : float
        Steps in all, in any unit; must be above 0 to tell the time left.
    report : Report
        Called at every step.
    cancel : Cancel, optional
        Looked at in every step.
    clock : callable
        Seconds, monotonic; given by tests.
    """

    def __init__(
        self,
        name: str,
        total: float,
        report: Report = silent,
        cancel: Cancel | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.name = name
        self.total = total
        self.done = 0.0
        self._report = report
        self._cancel = cancel
        self._clock = clock
        self._lock = threading.Lock()
        self._started = clock()
        report(Progress(job=name, done=0.0, total=total, left_s=None))

    def step(self, steps: float = 1.0) -> None:
        """Count steps as done.

        Raises
        ------
        Cancelled
            when the user stopped the job
        """
        if self._cancel is not None:
            self._cancel.check()
        with self._lock:
            self.done = min(self.total, self.done + steps)
            spent = self._clock() - self._started
            left = spent * (self.total - self.done) / self.done if self.done > 0 else None
            self._report(Progress(job=self.name, done=self.done, total=self.total, left_s=left))
