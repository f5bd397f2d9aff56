# SPDX-License-Identifier: Apache-2.0
"""A fault of this program: its traceback goes to a file, whose path is told."""

from __future__ import annotations

import os
import tempfile
import traceback
from contextlib import suppress
from pathlib import Path

from mixwright.errors import InternalError


def told_fault(error: BaseException) -> InternalError:
    """Save the traceback of a fault in the folder for temporary files, and return the fault as it is told.

    Where it cannot be saved, that is told in place of the path.
    """
    path = _saved("".join(traceback.format_exception(error)))
    what = str(error).partition("\n")[0]
    hint = f"please report it with the traceback in {path}" if path else "run again with --debug for the traceback"
    return InternalError(f"a fault of mixwright: {type(error).__name__}: {what}", hint=hint)


def _saved(text: str) -> Path | None:
    try:
        descriptor, name = tempfile.mkstemp(prefix="mixwright-fault-", suffix=".txt")
    except OSError:
        return None
    path = Path(name)
    try:
        with os.fdopen(descriptor, "w", encoding="utf-8", errors="backslashreplace") as file:
            file.write(text)
    except OSError:
        with suppress(OSError):
            path.unlink()
        return None
    return path
