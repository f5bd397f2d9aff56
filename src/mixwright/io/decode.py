# SPDX-License-Identifier: Apache-2.0
"""Decode audio files in processes of their own, so that a fault in a decoder costs one file."""

from __future__ import annotations

import contextlib
import dataclasses
import json
import os
import queue
import signal
import subprocess
import sys
import threading
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import msgspec

from mixwright.errors import (
    FileFormatError,
    InputError,
    InternalError,
    LimitError,
    MixwrightError,
    NoDecoderError,
    OutputError,
    SettingError,
    printable,
)
from mixwright.io.limits import Limits, NoLimit, limits_from
from mixwright.jobs.progress import Cancel
from mixwright.model.audio import AudioInfo

#: A child that says nothing for so long is ended.
SILENT_LIMIT_S = 60.0

#: `-P`: nothing is imported from the folder that the user happens to be in.
_COMMAND = [sys.executable, "-P", "-m", "mixwright.io.decoder_child"]
_ERRORS: dict[str, type[MixwrightError]] = {
    "format": FileFormatError,
    "limit": LimitError,
    "input": InputError,
    "output": OutputError,
    "decoder": NoDecoderError,
}
#: Stands for a reply where the user stopped the work.
_STOPPED: dict[str, Any] = {}
#: All that a child inherits: what it takes to find Python and its packages.
_ENVIRONMENT = (
    *("PATH", "HOME", "LANG", "LC_ALL", "LC_CTYPE", "TMPDIR", "TEMP", "TMP", "SYSTEMROOT", "USERPROFILE", "APPDATA"),
    *("PYTHONPATH", "PYTHONHOME", "PYTHONUSERBASE", "PYTHONDONTWRITEBYTECODE", "LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH"),
)


class Decoder:
    """Decodes files in a few child processes that are started when needed and used again.

    A context manager; safe to use from several threads.

    Parameters
    ----------
    children : int
        How many files are decoded at once.
    silent_limit_s : float
        A child that shows no progress for so long is ended, and its file refused.
    limits : Limits, optional
        What a file may be at most; as the environment says if not given.
    cancel : Cancel, optional
        Stops what is asked for at once: the child is ended, and Cancelled raised.

    Raises
    ------
    SettingError
        when the environment sets a limit that is none
    """

    def __init__(
        self,
        children: int = 2,
        *,
        silent_limit_s: float = SILENT_LIMIT_S,
        limits: Limits | None = None,
        cancel: Cancel | None = None,
    ) -> None:
        self._limits = _limits() if limits is None else limits
        self._cancel = cancel or Cancel()
        self._idle: queue.LifoQueue[_Child | None] = queue.LifoQueue()
        for _ in range(children):
            self._idle.put(None)
        self._children = children
        self._silent_limit_s = silent_limit_s
        self._closed = False

    def probe(self, path: Path) -> AudioInfo:
        """Return what the header of a file says, without decoding.

        Raises
        ------
        FileFormatError
            when it is no audio that can be decoded
        LimitError
            when it is too large, has too many channels, too high or low a rate, or is too long
        NoDecoderError
            when it takes a decoder that is not there
        InputError
            when it cannot be read at all
        """
        return self._ask(path, None)

    def decode(self, path: Path, into: Path) -> AudioInfo:
        """Decode a file to ``.npy``, float32 ``(frames, channels)`` at its own rate; return what was found.

        Values that are not finite are kept. `frames` is what the file held; `header_frames` is set when its header
        promised another number.

        Raises
        ------
        FileFormatError, LimitError, InputError, NoDecoderError
            as for :meth:`probe`
        OutputError
            when the decoded audio does not fit on the disk
        """
        return self._ask(path, into)

    def check_size(self, path: Path) -> None:
        """Refuse a file that is too large, before anything of it is read; one that is not there passes.

        Raises
        ------
        LimitError
            when it is
        """
        try:
            excess = self._limits.over_size(path.stat().st_size)
        except (OSError, ValueError):  # told by who opens it
            return
        if excess is not None:
            raise LimitError(excess.message, where=printable(path), hint=excess.hint)

    def close(self) -> None:
        """End the children."""
        if self._closed:
            return
        self._closed = True
        for _ in range(self._children):
            child = self._idle.get()
            if child is not None:
                child.end()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _ask(self, path: Path, into: Path | None) -> AudioInfo:
        if self._closed:
            raise InternalError("the decoder is closed")
        request = {
            "path": os.fspath(path.absolute()),
            "into": None if into is None else os.fspath(into.absolute()),
            "limits": dataclasses.asdict(self._limits),
        }
        child = self._idle.get()
        try:
            self._cancel.check()
            if child is not None and not child.is_alive():
                child.kill()
                child = None
            reused = child is not None
            child = child or _Child(self._cancel)
            try:
                reply = child.ask(request, self._silent_limit_s)
            except ChildCrashed:
                if not reused:
                    raise
                # The fault may lie in what came before: a file is blamed by a fresh child alone.
                child = _Child(self._cancel)
                reply = child.ask(request, self._silent_limit_s)
        except ChildDied as died:
            child = None
            raise FileFormatError(
                str(died), where=printable(path), hint="export it again as WAV, 24 bit or floating point"
            ) from None
        except BaseException:
            if child is not None:
                child.kill()
            child = None
            raise
        finally:
            self._idle.put(child)
        if "error" in reply:
            raise _error(reply, path, into)
        return msgspec.convert(reply["info"], AudioInfo)


def _error(reply: dict[str, Any], path: Path, into: Path | None) -> MixwrightError:
    """Return what is to be raised for a refusal."""
    kind = _ERRORS.get(reply["error"], FileFormatError)
    message, hint = printable(reply.get("message", "")), printable(reply.get("hint", ""))
    if kind is OutputError and into is not None:  # the fault is not the track's
        return OutputError(
            f"a decoded track cannot be written ({message})",
            where=printable(into.parent),
            hint="free some space, and see who may write there",
        )
    if kind is FileFormatError:
        hint = "export it as WAV, 24 bit or floating point"
    return kind(message, where=printable(path), hint=hint)


def _limits() -> Limits:
    try:
        return limits_from()
    except NoLimit as wrong:
        variable = wrong.variable
        hint = f"give {variable.example}, above 0 and up to {variable.highest:g}"
        raise SettingError(f"{printable(wrong)!r} is no limit", where=variable.name, hint=hint) from None


class ChildDied(Exception):
    """A child ended, or had to be ended, before it answered."""


class ChildCrashed(ChildDied):
    """It ended by itself."""


class _Child:
    """One process of ``mixwright.io.decoder_child``."""

    def __init__(self, cancel: Cancel) -> None:
        self._cancel = cancel
        environment = {name: os.environ[name] for name in _ENVIRONMENT if name in os.environ}
        environment["PYTHONIOENCODING"] = "utf-8"
        try:
            self._process = subprocess.Popen(
                _COMMAND,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                env=environment,
                bufsize=0,
                # Ctrl-C in the terminal is for the parent alone: a child that it ended would blame its file.
                start_new_session=True,
                creationflags=getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0),
            )
        except OSError as error:
            raise InternalError(f"the decoder cannot be started ({error})") from error
        self._replies: queue.SimpleQueue[dict[str, Any] | None] = queue.SimpleQueue()
        threading.Thread(target=self._listen, daemon=True).start()
        try:
            self._next_reply(SILENT_LIMIT_S)
        except ChildDied as died:
            raise InternalError(f"the decoder does not start: {died}", hint="install mixwright again") from None

    def ask(self, request: dict[str, Any], silent_limit_s: float) -> dict[str, Any]:
        """Send a request and return the answer."""
        assert self._process.stdin is not None
        try:
            message = json.dumps(request).encode("ascii") + b"\n"
            while message:
                message = message[self._process.stdin.write(message) or 0 :]
        except OSError:
            self.kill()
            raise ChildCrashed("the decoder could not be reached") from None
        while True:
            reply = self._next_reply(silent_limit_s)
            if "alive" not in reply:
                return reply

    def is_alive(self) -> bool:
        """Tell whether the process still runs."""
        return self._process.poll() is None

    def end(self) -> None:
        """Let the process end by ending its input."""
        assert self._process.stdin is not None
        self._process.stdin.close()
        try:
            self._process.wait(5.0)
        except subprocess.TimeoutExpired:
            self.kill()

    def kill(self) -> None:
        """End the process at once, and what it started."""
        if os.name == "posix":
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self._process.pid, signal.SIGKILL)
        self._process.kill()
        self._process.wait()
        assert self._process.stdin is not None
        self._process.stdin.close()

    def _next_reply(self, silent_limit_s: float) -> dict[str, Any]:
        try:
            with self._cancel.waking(lambda: self._replies.put(_STOPPED)):
                reply = self._replies.get(timeout=silent_limit_s)
        except queue.Empty:
            self.kill()
            raise ChildDied(f"decoding it made no progress for {silent_limit_s:.0f} s and was stopped") from None
        if reply is _STOPPED:
            self.kill()
            self._cancel.check()
        if reply is None:
            self.kill()
            raise ChildCrashed("decoding it crashed the decoder or took too much processor time")
        return reply

    def _listen(self) -> None:
        assert self._process.stdout is not None
        with self._process.stdout as lines:
            for line in lines:
                try:
                    self._replies.put(msgspec.json.decode(line, type=dict[str, Any]))
                except msgspec.MsgspecError:  # no reply of ours: the process is no longer itself
                    break
        self._replies.put(None)
