# SPDX-License-Identifier: Apache-2.0
"""What a command says and where: one document or short sentences, one line for an error."""

from __future__ import annotations

import json
import math
import os
import signal
import sys
import tempfile
import traceback
from collections.abc import Callable, Iterator
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

SCHEMA = 1
DONE = 0
CHECK_FAILED = 3
STOPPED = 130

#: Keys of a document that hold a figure for every band.
BANDS = frozenset({"third_octave_hz", "third_octave_db", "reference_spectrum"})

_STOPPING = b"mixwright: stopping after this step; press Ctrl-C again to break off\n"


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
    """

    def __init__(self) -> None:
        self.as_json = False
        self.progress: Mode | None = None
        self.debug = False
        self.strict = False
        self.detail: Literal["sections", "bands"] = "sections"
        self.command = ""
        self.song: str | None = None
        self.status = DONE

    def run(self, function: Callable[..., R], *arguments: object, **settings: object) -> R:
        """Call a long job with progress on standard error; Ctrl-C stops it between two steps."""
        from mixwright.jobs.progress import Cancel

        cancel = Cancel()
        told = teller(self.progress, sys.stderr)
        try:
            with _stopped_by_user(cancel):
                return function(*arguments, **settings, report=told, cancel=cancel)
        finally:
            told.close()

    def show(self, result: R, text: Callable[..., list[str]], *names: str) -> None:
        """Print a result as a document or in sentences, and settle the exit status.

        `text` is given the cleaned result and, cleaned too, the names it asks for.
        """
        from mixwright.report.figures import clean, clean_record
        from mixwright.report.warnings import failed_checks, warnings_of

        warnings, failed = warnings_of(result), failed_checks(result)
        if failed or (self.strict and warnings):
            self.status = CHECK_FAILED
        if self.as_json:
            self.document(warnings, result=result, left_out=frozenset() if self.detail == "bands" else BANDS)
        else:
            say(text(clean_record(result), *map(clean, names)))

    def document(
        self, warnings: tuple[str, ...] = (), *, left_out: frozenset[str] = frozenset(), **body: object
    ) -> None:
        """Print the one document of the command: `body` is `result` or `error`, keys in `left_out` are not printed."""
        envelope = {"schema": SCHEMA, "command": self.command, "song": self.song, "warnings": warnings, **body}
        say([json.dumps(_plain(envelope, left_out), allow_nan=False)])

    def fail(self, error: MixwrightError) -> None:
        """Tell an error in one line on standard error, and as a document if one was asked for."""
        from mixwright.report.figures import clean

        self.status = error.exit_status
        if self.as_json:
            told = {"kind": error.kind, "message": error.message, "where": error.where, "hint": error.hint}
            self.document(error={key: value or None for key, value in told.items()})
        _to_stderr(f"mixwright: {clean(str(error))}")

    def crash(self, error: BaseException) -> None:
        """Tell a fault of this program: the traceback goes to a file whose path is printed."""
        from mixwright.errors import InternalError

        lines = "".join(traceback.format_exception(error))
        if self.debug:
            _to_stderr(lines.rstrip())
        path = _keep(lines)
        what = str(error).partition("\n")[0]
        hint = f"please report it with the traceback in {path}" if path else "run again with --debug for the traceback"
        self.fail(InternalError(f"a fault of mixwright: {type(error).__name__}: {what}", hint=hint))


@contextmanager
def _stopped_by_user(cancel: Cancel) -> Iterator[None]:
    """Let the first Ctrl-C throw the switch, and the second one break off at once."""

    def stop(_number: int, _frame: FrameType | None) -> None:
        # The signal may come while this very thread holds a lock or is within a write: nothing here takes either.
        cancel.cancel()
        signal.signal(signal.SIGINT, signal.default_int_handler)
        with suppress(OSError, ValueError):
            os.write(sys.stderr.fileno(), _STOPPING)

    try:
        before = signal.signal(signal.SIGINT, stop)
    except ValueError:  # not the main thread: whoever runs us stops us
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def _plain(value: object, left_out: frozenset[str]) -> Any:
    """Return what JSON can hold: no infinities, no unpaired surrogates of undecodable file names; without some keys."""
    import msgspec

    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, str):
        return value.encode("utf-8", "backslashreplace").decode()
    if isinstance(value, dict):
        return {_plain(key, left_out): _plain(item, left_out) for key, item in value.items() if key not in left_out}
    if isinstance(value, list | tuple):
        return [_plain(item, left_out) for item in value]
    if isinstance(value, msgspec.Struct):
        return _plain({name: getattr(value, name) for name in value.__struct_fields__}, left_out)
    return value


def say(lines: list[str]) -> None:
    """Print to standard output; a reader that went away is no error."""
    try:
        text = "\n".join(lines) + "\n"
        encoding = sys.stdout.encoding or "utf-8"
        sys.stdout.write(text.encode(encoding, "replace").decode(encoding))
        sys.stdout.flush()
    except BrokenPipeError:
        _mute(sys.stdout)


def _to_stderr(line: str) -> None:
    try:
        encoding = sys.stderr.encoding or "utf-8"
        sys.stderr.write(line.encode(encoding, "backslashreplace").decode(encoding) + "\n")
        sys.stderr.flush()
    except BrokenPipeError:
        _mute(sys.stderr)


def _mute(stream: Any) -> None:
    """Point a broken stream at nothing, so that its last flush at exit stays quiet."""
    with open(os.devnull, "wb") as nothing:  # noqa: PTH123 - os.devnull is no path of ours
        os.dup2(nothing.fileno(), stream.fileno())


def _keep(text: str) -> Path | None:
    """Save a traceback in the folder for temporary files, or return None where that fails."""
    try:
        descriptor, name = tempfile.mkstemp(prefix="mixwright-fault-", suffix=".txt")
        with os.fdopen(descriptor, "w", encoding="utf-8", errors="backslashreplace") as file:
            file.write(text)
    except OSError:
        return None
    return Path(name)
