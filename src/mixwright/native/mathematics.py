# SPDX-License-Identifier: Apache-2.0
"""Elementary functions of the C core: the same bits on every platform (errors in docs/mathematics.md)."""

from __future__ import annotations

import ctypes
import functools
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from mixwright.native.library import function, pointer

#: ``exp2(LOG2_E * x)`` is the exponential of x.
LOG2_E = 1.44269504088896340736


@functools.cache
def _on_array(name: str) -> Callable[..., Any]:
    return function(f"mw_{name}_array", [ctypes.c_void_p, ctypes.c_void_p, ctypes.c_int64])


def _apply(name: str, x: npt.ArrayLike) -> np.ndarray:
    given = np.ascontiguousarray(x, dtype=np.float64)
    result = np.empty_like(given)
    _on_array(name)(pointer(given), pointer(result), given.size)
    return result.reshape(np.shape(x))


def exp2(x: npt.ArrayLike) -> np.ndarray:
    """Return ``2**x``; results below the smallest normal double are 0."""
    return _apply("exp2", x)


def log2(x: npt.ArrayLike) -> np.ndarray:
    """Return the base-2 logarithm; -inf for 0, NaN below."""
    return _apply("log2", x)


def sin(x: npt.ArrayLike) -> np.ndarray:
    """Return the sine of radians, ``|x| <= 1e6``."""
    return _apply("sin", x)


def cos(x: npt.ArrayLike) -> np.ndarray:
    """Return the cosine of radians, ``|x| <= 1e6``."""
    return _apply("cos", x)


def tan(x: npt.ArrayLike) -> np.ndarray:
    """Return the tangent of radians, ``|x| <= 1e6``."""
    return _apply("tan", x)


def ratio(db: npt.ArrayLike) -> np.ndarray:
    """Return the amplitude ratio of levels in dB; 0 dB is exactly 1."""
    return _apply("ratio", db)
