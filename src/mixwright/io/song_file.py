# SPDX-License-Identifier: Apache-2.0
"""`song.toml` in its folder: load, create, edit, undo and redo. Every write goes through here."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from pathlib import Path

from mixwright.errors import ChangedError, MixwrightError, OutputError, SettingError, StateError, printable
from mixwright.io.journal import Journal, text_sha256
from mixwright.io.replace import make_folder, replacing
from mixwright.io.song_errors import SONG_FILE
from mixwright.io.song_text import changed_text, check_values, new_text, read_song
from mixwright.jobs.parts import write_error
from mixwright.model.record import Record
from mixwright.model.song import Song
from mixwright.model.undone import RedoResult, UndoResult

__all__ = [
    "SONG_FILE",
    "HistoryStep",
    "create_song",
    "edit_song",
    "history",
    "load_song",
    "load_version",
    "redo",
    "redo_name",
    "require_song",
    "unchanged_since",
    "undo",
]

_BY_HAND = "edited by hand"
_LOCK_WAIT_S = 60.0
_BOM = "\ufeff"
#: The version that changes are made for, "" for any.
_EXPECTED: ContextVar[str] = ContextVar("expected", default="")


class HistoryStep(Record, frozen=True, kw_only=True):
    """One change of a song: its number in the journal, its name, and when (UTC, ISO 8601)."""

    number: int
    name: str
    at: str


def load_song(folder: Path) -> Song:
    """Return the song of a folder, checked and at today's schema.

    Raises
    ------
    SettingError
        `where` is ``song.toml:LINE key``, the hint what is allowed there
    StateError
        when there is no song
    """
    return _song_of(_text(folder))


def load_version(folder: Path) -> tuple[Song, str]:
    """Return the song of a folder as :func:`load_song`, and its version: another one after every change of its text."""
    text = _text(folder)
    return _song_of(text), text_sha256(text)


@functools.lru_cache(maxsize=4)
def _song_of(text: str) -> Song:
    """Return the song that a text says; a page asks for the same one again and again."""
    return read_song(text.removeprefix(_BOM))[1]


@contextmanager
def unchanged_since(version: str) -> Iterator[None]:
    """Let a song be changed only if it still has a version of :func:`load_version`.

    :func:`edit_song`, :func:`undo` and :func:`redo` raise ChangedError otherwise, and nothing is
    written. It holds in this thread, and for what it calls.
    """
    token = _EXPECTED.set(version)
    try:
        yield
    finally:
        _EXPECTED.reset(token)


def _check_version(folder: Path, text: str) -> None:
    if _EXPECTED.get() not in ("", text_sha256(text)):
        raise ChangedError(
            "the song was changed meanwhile",
            where=printable(folder / SONG_FILE),
            hint="look at it as it is now, and do it again if it is still meant",
        )


def create_song(folder: Path, song: Song) -> None:
    """Write a new `song.toml`, commented and short; the folder is made when it is missing.

    Raises
    ------
    OutputError
        when there is one already: it is never overwritten
    SettingError
        when the song holds a value that is not allowed
    """
    check_values(song)
    text = new_text(song)
    make_folder(folder)
    with _writing(folder) as journal:
        path = folder / SONG_FILE
        if path.exists():
            raise OutputError("there is a song already", where=printable(path), hint="choose another folder")
        last = journal.last()
        before = journal.read(last).after if last >= 0 else ""
        _replace(folder, journal, "created", before, text)


def edit_song(folder: Path, name: str, edit: Callable[[Song], Song]) -> Song:
    """Change the song: lock, read again, apply, write only what differs, journal. The single writer.

    Parameters
    ----------
    folder : Path
        The song folder.
    name : str
        What is done, for the journal and `undo`.
    edit : callable
        From the song as it stands on the disk to the new one. It may be called while others wait, so
        it only computes. If it changes nothing, nothing is written.

    Returns
    -------
    Song
        as written

    Raises
    ------
    SettingError
        when the file or the new song holds a value that is not allowed; nothing is written then
    StateError
        when there is no song, or another program keeps writing it
    ChangedError
        within :func:`unchanged_since`
    """
    require_song(folder)
    with _writing(folder) as journal:
        text = _text(folder)
        _check_version(folder, text)
        body = text.removeprefix(_BOM)
        raw, song = read_song(body)
        new = edit(song)
        if new == song:
            return song
        check_values(new)
        new_body = changed_text(body, raw, new)
        journal.settle(text)
        _note_hand_edit(journal, text)
        _replace(folder, journal, name, text, new_body)
    return new


def undo(folder: Path) -> UndoResult:
    """Bring back the text of `song.toml` before the last step, byte for byte.

    Changes made by hand since the last write are a step too. The text that is replaced is kept as
    ``kept/undone.toml``.

    Raises
    ------
    StateError
        when there is nothing to undo
    """
    require_song(folder)
    with _writing(folder) as journal:
        replaced = (folder / SONG_FILE).read_bytes()
        text = replaced.decode("utf-8", errors="replace")  # it may be what is to be undone that is broken
        _check_version(folder, text)
        journal.settle(text)
        last = journal.last()
        if last < 0 or (last == 0 and journal.read(last).after == text):
            raise StateError("there is nothing to undo", where=printable(folder / SONG_FILE))
        step = journal.read(last)
        with replacing(folder / "kept" / "undone.toml") as part:
            part.write_bytes(replaced)
        by_hand = step.after != text
        if replaced == text.encode("utf-8"):  # what is no text could not come back byte for byte
            _keep_undone(folder, _BY_HAND if by_hand else step.name, step.after if by_hand else step.before, text)
        if by_hand:
            _write(folder, step.after)
            return UndoResult(undone=_BY_HAND, remaining=last)
        journal.reopen(last)
        with _settled(folder, journal):
            _write(folder, step.before)
        journal.drop(last)
        return UndoResult(undone=step.name, remaining=last - 1)


def redo(folder: Path) -> RedoResult:
    """Make the step again that :func:`undo` took back last, byte for byte; nothing may have changed the song since.

    Raises
    ------
    StateError
        when there is nothing to redo
    """
    require_song(folder)
    with _writing(folder) as journal:
        text = _text(folder)
        _check_version(folder, text)
        undone = _undone(folder)
        last = undone.last()
        step = undone.read(last) if last >= 0 else None
        if step is None or step.before != text:
            raise StateError(
                "there is nothing to redo",
                where=printable(folder / SONG_FILE),
                hint="what was undone comes back until the song is changed",
            )
        journal.settle(text)
        _note_hand_edit(journal, text)
        _replace(folder, journal, step.name, text, step.after)
        undone.drop(last)
        return RedoResult(redone=step.name, remaining=last)


def redo_name(folder: Path) -> str:
    """Return the name of the step that :func:`redo` would make, "" where there is none."""
    undone = _undone(folder)
    last = undone.last()
    try:
        step = undone.read(last) if last >= 0 else None
    except StateError:  # another program took it meanwhile
        return ""
    return step.name if step is not None and step.before == _text(folder) else ""


def history(folder: Path, *, limit: int = 100) -> tuple[HistoryStep, ...]:
    """Return the last steps of the journal, the newest last; the first of all is the state it began with."""
    require_song(folder)
    journal = _journal(folder)
    current = (folder / SONG_FILE).read_bytes().decode("utf-8", errors="replace")
    steps = [(number, journal.read(number)) for number in journal.numbers(current)[-limit:]]
    return tuple(HistoryStep(number=number, name=step.name, at=step.at) for number, step in steps)


def _journal(folder: Path) -> Journal:
    return Journal(folder / "kept" / "journal")


def _undone(folder: Path) -> Journal:
    """Return the steps that were undone, the last of them last; each stays open until it is made again."""
    return Journal(folder / "kept" / "undone")


def _keep_undone(folder: Path, name: str, before: str, after: str) -> None:
    """Keep a step that is about to be undone; those that no longer follow on it are let go."""
    undone = _undone(folder)
    last = undone.last()
    if last >= 0 and undone.read(last).before != after:
        for number in range(last + 1):
            undone.drop(number)
    undone.open(name, before, after)


@contextmanager
def _writing(folder: Path) -> Iterator[Journal]:
    """Keep every other writer of this song out, in this process and in others."""
    from filelock import FileLock, Timeout

    kept = folder / "kept"
    try:
        kept.mkdir(exist_ok=True)
        lock = FileLock(kept / "song.lock", timeout=_LOCK_WAIT_S)
        lock.acquire(poll_interval=0.005)
    except Timeout as error:
        raise StateError(
            "another program is writing this song", where=printable(folder), hint="try again when it is done"
        ) from error
    except OSError as error:
        raise write_error(error, kept) from error
    try:
        yield _journal(folder)
    finally:
        lock.release()


def _note_hand_edit(journal: Journal, text: str) -> None:
    """Make what a person changed since the last write a step of its own."""
    last = journal.last()
    if last < 0:
        journal.close(journal.open("found", "", text))
    elif (before := journal.read(last).after) != text:
        journal.close(journal.open(_BY_HAND, before, text))


def _replace(folder: Path, journal: Journal, name: str, before: str, after: str) -> None:
    """Journal, write, and say so: a kill between any two of these is mended by `Journal.settle`."""
    number = journal.open(name, before, after)
    with _settled(folder, journal):
        _write(folder, after)
    journal.close(number)


@contextmanager
def _settled(folder: Path, journal: Journal) -> Iterator[None]:
    """Settle the step that was opened when the song could not be written, or its writing was broken off."""
    try:
        yield
    except BaseException:
        with suppress(OSError, MixwrightError):
            journal.settle((folder / SONG_FILE).read_bytes().decode("utf-8", errors="replace"))
        raise


def _write(folder: Path, text: str) -> None:
    with replacing(folder / SONG_FILE) as part:
        part.write_bytes(text.encode("utf-8"))


def require_song(folder: Path) -> None:
    """Raise StateError where there is no song."""
    if not (folder / SONG_FILE).is_file():
        raise StateError(
            "there is no song here",
            where=printable(folder / SONG_FILE),
            hint="make one: mixwright start TRACKS --into SONG",
        )


def _text(folder: Path) -> str:
    require_song(folder)
    try:
        content = (folder / SONG_FILE).read_bytes()
    except OSError as error:
        raise StateError(f"cannot be read ({error.strerror})", where=printable(folder / SONG_FILE)) from error
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        column = error.start - content.rfind(b"\n", 0, error.start)
        raise SettingError(
            "not UTF-8 text", where=f"{SONG_FILE}:{line} column {column}", hint="save the file as UTF-8"
        ) from error
