# SPDX-License-Identifier: Apache-2.0
"""Every error a caller can meet, by what can be done about it.

::

    MixwrightError            message, where, hint
      InputError              audio or a file is not usable: mend the material       (ValueError)
        FileFormatError       cannot be decoded
          NoDecoderError      an optional part that could decode it is not installed
        LimitError            too long, too many, too large for the limits set
      SettingError            a setting or an argument is wrong: mend the setting    (ValueError)
      StateError              the song folder is not in the state the command needs
        ChangedError          the song is not the one any more that a change was made for
      OutputError             cannot write, disk full, a written file is not right   (OSError)
      Cancelled               the user stopped it
      InternalError           ours to mend
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager


class MixwrightError(Exception):
    """Base of all errors of this package.

    Parameters
    ----------
    message : str
        What is wrong, one line, without a full stop.
    where : str
        File, track, or ``song.toml:LINE key``; may be added later with :func:`where`.
    hint : str
        How to mend it, one line.
    """

    exit_status = 2
    kind = "error"

    def __init__(self, message: str, *, where: str = "", hint: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.where = where
        self.hint = hint

    def __str__(self) -> str:
        """One line: where, what, how to mend."""
        parts = [f"{self.where}: {self.message}" if self.where else self.message]
        if self.hint:
            parts.append(self.hint)
        return "; ".join(parts)


class InputError(MixwrightError, ValueError):
    """Audio or a file that was handed in is not usable."""

    kind = "input"


class FileFormatError(InputError):
    """A file cannot be decoded."""

    kind = "file_format"


class NoDecoderError(FileFormatError):
    """A file that an optional part could decode, which is not installed; the hint tells how to get it."""

    kind = "missing_extra"


class LimitError(InputError):
    """Too long, too many or too large for the limits set."""

    kind = "limit"


class SettingError(MixwrightError, ValueError):
    """A setting or an argument is wrong."""

    kind = "setting"


class StateError(MixwrightError):
    """The song folder is not in the state that the command needs."""

    kind = "state"


class ChangedError(StateError):
    """The song was changed by somebody else since the state that a change was made for."""

    kind = "changed"


class OutputError(MixwrightError, OSError):
    """A file cannot be written, or what was written is not right."""

    kind = "output"


class Cancelled(MixwrightError):
    """The user stopped the work."""

    exit_status = 130
    kind = "cancelled"


class InternalError(MixwrightError):
    """A fault of this program."""

    exit_status = 1
    kind = "internal"


@contextmanager
def where(place: str) -> Iterator[None]:
    """Add the place to any error of ours that passes without one; being stopped is of no place."""
    try:
        yield
    except MixwrightError as error:
        if not error.where and not isinstance(error, Cancelled):
            error.where = place
        raise


def printable(text: object) -> str:
    """Return a name or path for one line of a message: whatever could move a cursor or hide itself is escaped."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in str(text))


def count(many: int, one: str, more: str = "") -> str:
    """Return ``1 layer``, ``3 layers``, ``no layers``."""
    return f"{many or 'no'} {one if many == 1 else more or one + 's'}"


def with_and(names: Sequence[str]) -> str:
    """Return ``A``, ``A and B``, ``A, B and C``."""
    return " and ".join(filter(None, (", ".join(names[:-1]), *names[-1:])))


def listed(names: Sequence[str], most: int = 8) -> str:
    """Return names for one line of a message: the first ones, and how many more there are."""
    shown = ", ".join(printable(name) for name in names[:most])
    return f"{shown} and {len(names) - most} more" if len(names) > most else shown
