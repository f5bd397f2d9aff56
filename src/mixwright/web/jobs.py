# SPDX-License-Identifier: Apache-2.0
"""Long jobs that a page starts: one at a time for a song, told while they run, stopped when asked."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

import msgspec

from mixwright.errors import Cancelled, MixwrightError, SettingError, StateError
from mixwright.io.fault_file import told_fault
from mixwright.jobs.progress import Cancel, Progress
from mixwright.model.record import Record
from mixwright.report.document import error_told
from mixwright.web.events import Events

#: A page is told this often how far a job is.
_TOLD_EVERY_S = 0.1


class Measure(Record, frozen=True, kw_only=True, tag="measure", tag_field="command"):
    """`mixwright measure`."""

    listening_level_db_spl: float = 79.0
    listening: Literal["headphones", "loudspeakers"] = "headphones"


class Plan(Record, frozen=True, kw_only=True, tag="plan", tag_field="command"):
    """`mixwright plan`."""

    lead: str | None = None
    strength: float = 1.0


class Prove(Record, frozen=True, kw_only=True, tag="prove", tag_field="command"):
    """`mixwright prove`."""


class Mix(Record, frozen=True, kw_only=True, tag="mix", tag_field="command"):
    """`mixwright mix`."""


class Deliver(Record, frozen=True, kw_only=True, tag="deliver", tag_field="command"):
    """`mixwright deliver`."""


class Refresh(Record, frozen=True, kw_only=True, tag="refresh", tag_field="command"):
    """`mixwright refresh`."""

    take: bool = False


#: What a page may start.
Request = Measure | Plan | Prove | Mix | Deliver | Refresh


class Jobs:
    """The job of one song: at most one runs.

    Parameters
    ----------
    folder : Path
        The song folder.
    events : Events
        told `job` whenever something of it changes
    """

    def __init__(self, folder: Path, events: Events) -> None:
        self._folder = folder
        self._events = events
        self._guard = threading.Lock()
        self._thread: threading.Thread | None = None
        self._cancel = Cancel()
        self._number = 0
        self._told_at = 0.0
        self._state: dict[str, Any] | None = None

    @property
    def state(self) -> dict[str, Any] | None:
        """The job that runs, or the last one; None before any.

        `id`, `command`, `state` (running, done, failed, cancelled), `doing`, `done`, `total`, `left_s`, `note`, and
        `error` as documents tell it.
        """
        return self._state

    def start(self, request: Request) -> dict[str, Any]:
        """Start a job; return its state.

        Raises
        ------
        StateError
            when one runs already
        """
        with self._guard:
            self.require_none()
            self._number += 1
            self._cancel = Cancel()
            command = str(request.__struct_config__.tag)
            self._tell(id=self._number, command=command, state="running", doing=command, done=0.0, total=1.0,
                       left_s=None, note="", error=None)  # fmt: skip
            self._thread = threading.Thread(target=self._run, args=(request,), daemon=True)
            self._thread.start()
            return dict(self._state or {})

    def require_none(self) -> None:
        """Raise StateError where a job runs."""
        if self._thread is not None and self._thread.is_alive():
            running = self._state["command"] if self._state else "a job"
            raise StateError(f"{running} is still running", hint="wait until it is done, or cancel it")

    def cancel(self) -> None:
        """Ask the job that runs to stop; nothing happens where none does."""
        self._cancel.cancel()

    def end(self) -> None:
        """Stop the job that runs, and wait until it has."""
        self._cancel.cancel()
        if self._thread is not None:
            self._thread.join()

    def _run(self, request: Request) -> None:
        settings = {name: getattr(request, name) for name in request.__struct_fields__}
        try:
            _function(str(request.__struct_config__.tag))(
                self._folder, **settings, report=self._report, cancel=self._cancel
            )
        except Cancelled:
            self._tell(state="cancelled", left_s=None)
        except MixwrightError as error:
            self._tell(state="failed", error=error_told(error), left_s=None)
        except Exception as error:  # noqa: BLE001 - told in the page; the server goes on
            self._tell(state="failed", error=error_told(told_fault(error)), left_s=None)
        else:
            self._tell(state="done", done=1.0, total=1.0, left_s=0.0)

    def _report(self, progress: Progress) -> None:
        now = time.monotonic()
        if progress.note or progress.done in (0.0, progress.total) or now - self._told_at >= _TOLD_EVERY_S:
            self._told_at = now
            told = {"note": progress.note} if progress.note else {}
            self._tell(doing=progress.job, done=progress.done, total=progress.total, left_s=progress.left_s, **told)

    def _tell(self, **fields: object) -> None:
        self._state = {**(self._state or {}), **fields}
        self._events.publish("job", self._state)


def _function(command: str) -> Callable[..., object]:
    import mixwright

    function: Callable[..., object] = getattr(mixwright, command)
    return function


def request_of(body: bytes) -> Request:
    """Return what a page asks to be done.

    Raises
    ------
    SettingError
        where it is no such request
    """
    try:
        found: Request = msgspec.json.decode(body, type=Request)
    except msgspec.MsgspecError as error:
        raise SettingError(f"this cannot be started: {error}") from error
    return found
