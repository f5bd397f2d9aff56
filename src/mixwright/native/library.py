# SPDX-License-Identifier: Apache-2.0
"""Find, check and load the compiled C core."""

from __future__ import annotations

import ctypes
import functools
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, cast

import numpy as np

from mixwright.errors import InternalError

ABI = 5

_SUFFIX = {"win32": ".dll", "darwin": ".dylib"}.get(sys.platform, ".so")


def library_path(variant: str) -> Path:
    """Return where the build named `variant` (`baseline`, `avx2`) lies."""
    return Path(__file__).with_name(f"core_{variant}{_SUFFIX}")


def load(path: Path) -> ctypes.CDLL:
    """Load one build of the core and check that it fits this package.

    Raises
    ------
    InternalError
        when the file is missing or was built from other sources
    """
    try:
        library = ctypes.CDLL(str(path))
    except OSError as error:
        raise InternalError(
            "the compiled core cannot be loaded", where=str(path), hint="install mixwright again"
        ) from error
    library.mw_abi.restype = ctypes.c_int32
    if library.mw_abi() != ABI:
        raise InternalError(
            f"the compiled core has interface {library.mw_abi()}, this package needs {ABI}",
            where=str(path),
            hint="install mixwright again",
        )
    return library


@functools.cache
def core() -> ctypes.CDLL:
    """Return the fastest build that this processor runs; all builds render the same bits.

    `MIXWRIGHT_CORE=baseline` or `avx2` forces one, the path of a library another build, for tests.
    """
    wanted = os.environ.get("MIXWRIGHT_CORE", "")
    if os.sep in wanted:
        return load(Path(wanted))
    baseline = load(library_path("baseline"))
    fast = library_path("avx2")
    if hasattr(baseline, "mw_hold_memory"):
        baseline.mw_hold_memory()
    if wanted == "baseline" or not (fast.exists() and baseline.mw_has_avx2()):
        return baseline
    return load(fast)


def function(name: str, arguments: Sequence[object], result: object = None) -> Callable[..., Any]:
    """Return a function of the core with its argument and result types set."""
    found: Any = getattr(core(), name)
    found.argtypes = list(arguments)
    found.restype = result
    return cast("Callable[..., Any]", found)


def pointer(array: np.ndarray) -> ctypes.c_void_p:
    """Return the address of a C-contiguous array's data, for one call."""
    return ctypes.c_void_p(array.ctypes.data)
