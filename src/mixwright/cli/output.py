# SPDX-License-Identifier: Apache-2.0
"""What a command says and where: one document or short sentences, one line for an error."""

from __future__ import annotations

import functools
import json
import os
import signal
import sys
import traceback
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any, Literal, TypeVar

from mixwright.cli.progress import Mode, teller

if TYPE_CHECKING:
    from mixwright.errors import MixwrightError
    from mixwright.jobs.progress import Cancel
    from mixwright.model.record import Record

R = TypeVar("R", bound="Record")

DONE = 0
CHECK_FAILED = 3
STOPPED = 130

#: What asks a program to end: Ctrl-C, the system, the terminal that is closed.
ENDING = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
_STOPPING = b"mixwright: stopping; press Ctrl-C again to break off\n"
#: A bar hides the cursor of a terminal while it is drawn (the private mode 25 that terminals share).
_SHOW_CURSOR = b"\x1b[?25h"


class Output:
    """The two streams of one command, and how it was asked to use them.

    Attributes
    ----------
    as_json : bool
        One document on standard output in place of sentences.
    progress : str or None
        How progress is told; None: a bar on a terminal, plain lines elsewhere.
    debug : bool
        Print the traceback of a fault of this program, too.
    strict : bool
        End with status 3 also when something needs a look.
    detail : str
        How much a document holds: figures of the song and its sections, or those of every band, too.
    command, song : str
        What was asked; for the document.
    status : int
        The exit status.
    begun : bool
        Whether the work has begun: before that, Ctrl-C ends the command wherever it is.
    beside : list of str
        What could not be written beside the work that is done.
    """

    def __init__(self) -> None:
        self.begun = False
        self.beside: list[str] = []
        self.as_json = False
        self.progress: Mode | None = None
        self.debug = False
        self.strict = False
        self.detail: Literal["sections", "bands"] = "sections"
        self.command = ""
        self.song: str | None = None
        self.status = DONE

    @functools.cached_property
    def cancel(self) -> Cancel:
        """The switch that Ctrl-C throws."""
        from mixwright.jobs.progress import Cancel

        return Cancel()

    def run(self, function: Callable[..., R], *arguments: object, **settings: object) -> R:
        """Call a long job with progress on standard error; Ctrl-C stops it between two steps."""
        self.begun = True
        told = teller(self.progress, sys.stderr)
        try:
            return function(*arguments, **settings, report=told, cancel=self.cancel)
        finally:
            told.close()

    def show(self, result: R, text: Callable[..., list[str]], *names: str) -> None:
        """Print a result as a document or in sentences, and settle the exit status.

        `text` is given the cleaned result and, cleaned too, the names it asks for.
        """
        from mixwright.report.figures import clean, clean_record
        from mixwright.report.warnings import failed_checks, warnings_of

        warnings, failed = (*warnings_of(result), *self.beside), failed_checks(result)
        if failed or (self.strict and warnings):
            self.status = CHECK_FAILED
        if self.as_json:
            from mixwright.report.document import BANDS

            self.document(warnings, result=result, left_out=() if self.detail == "bands" else BANDS)
        else:
            say(text(clean_record(result), *map(clean, names)))
            for line in self.beside:
                _to_stderr(f"mixwright: {clean(line)}")

    def document(self, warnings: tuple[str, ...] = (), *, left_out: Collection[str] = (), **body: object) -> None:
        """Print the one document of the command: `body` is `result` or `error`, keys in `left_out` are not printed."""
        from mixwright.report.document import document

        told = document(self.command, self.song, warnings, left_out=left_out, **body)
        say([json.dumps(told, allow_nan=False)])

    def fail(self, error: MixwrightError) -> None:
        """Tell an error in one line on standard error, and as a document if one was asked for."""
        from mixwright.report.document import error_told
        from mixwright.report.figures import clean

        self.status = error.exit_status
        if self.as_json:
            with suppress(OSError):  # it may be standard output itself that cannot be written
                self.document(error=error_told(error))
        _to_stderr(f"mixwright: {clean(str(error))}")

    def crash(self, error: BaseException) -> None:
        """Tell a fault of this program: the traceback goes to a file whose path is printed."""
        from mixwright.io.fault_file import told_fault

        if self.debug:
            _to_stderr("".join(traceback.format_exception(error)).rstrip())
        self.fail(told_fault(error))


@contextmanager
def stopped_by_user(output: Output) -> Iterator[None]:
    """Let the first Ctrl-C (or a polite request to end) throw the switch, and the second one end the process at once.

    While the modules of a command are loaded, it ends the command at once. A short command that does not look at the
    switch is done first.
    """
    cancel = output.cancel

    def stop(_number: int, _frame: FrameType | None) -> None:
        if not output.begun:
            raise KeyboardInterrupt
        # The signal may come while this very thread holds a lock or is within a write: nothing here takes either.
        cancel.cancel()
        # The system itself ends the process then, whatever it is at: what is half-made is removed by the next run.
        for number in before:
            signal.signal(number, signal.SIG_DFL)
        with suppress(OSError, ValueError, AttributeError):
            os.write(sys.stderr.fileno(), _SHOW_CURSOR + _STOPPING if sys.stderr.isatty() else _STOPPING)

    before: dict[int, Any] = {}
    try:
        for number in ENDING:
            if signal.getsignal(number) is not signal.SIG_IGN:  # `nohup` has it ignored
                before[number] = signal.signal(number, stop)
    except ValueError:  # not the main thread: whoever runs us stops us
        yield
        return
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def say(lines: list[str]) -> None:
    """Print to standard output; a reader that went away, or was never there, is no error."""
    if sys.stdout is None:
        return
    try:
        text = "\n".join(lines) + "\n"
        encoding = sys.stdout.encoding or "utf-8"
        sys.stdout.write(text.encode(encoding, "replace").decode(encoding))
        sys.stdout.flush()
    except BrokenPipeError:
        _mute(sys.stdout)
    except OSError as error:
        from mixwright.jobs.parts import write_error

        _mute(sys.stdout)
        raise write_error(error, Path("standard output")) from error


def _to_stderr(line: str) -> None:
    if sys.stderr is None:
        return
    try:
        encoding = sys.stderr.encoding or "utf-8"
        sys.stderr.write(line.encode(encoding, "backslashreplace").decode(encoding) + "\n")
        sys.stderr.flush()
    except OSError:  # nobody can be told
        _mute(sys.stderr)


def _mute(stream: Any) -> None:
    """Point a broken stream at nothing, so that its last flush at exit stays quiet."""
    with open(os.devnull, "wb") as nothing:  # noqa: PTH123 - os.devnull is no path of ours
        os.dup2(nothing.fileno(), stream.fileno())
