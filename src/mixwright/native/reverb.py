# SPDX-License-Identifier: Apache-2.0
"""Design of reverberation in the C core; `engine.reverb` checks the settings, `native.chain` runs it."""

from __future__ import annotations

import ctypes
import functools
from collections.abc import Callable
from typing import Any

import numpy as np

from mixwright.native.library import function, pointer

VOICE, INSTRUMENTS = range(2)

# The layout of csrc/reverb.h.
LINES, STAGES = 16, 4
GAIN, EARLY, WIDTH, LENGTH = range(4)
FEEDBACK = LENGTH + LINES
DAMPING = FEEDBACK + LINES
DIFFUSION = DAMPING + LINES
COEFFICIENTS = DIFFUSION + STAGES * LINES


@functools.cache
def _design() -> Callable[..., Any]:
    arguments = [ctypes.c_int32, *[ctypes.c_double] * 3, ctypes.c_void_p, ctypes.c_int32, ctypes.c_void_p]
    return function("mw_design_reverb", arguments)


def design(kind: int, rate_hz: float, decay_s: float, high_hz: float, sections: np.ndarray) -> np.ndarray:
    """Return the coefficients of a network for what comes out of `sections` ``(n, 5)``; `decay_s`, `high_hz` > 0."""
    coefficients = np.empty(COEFFICIENTS)
    given = np.ascontiguousarray(sections)
    _design()(kind, rate_hz, decay_s, high_hz, pointer(given), len(given), pointer(coefficients))
    return coefficients


def state_frames(coefficients: np.ndarray) -> int:
    """Return how many numbers of state a network needs."""
    return LINES + int(coefficients[LENGTH:FEEDBACK].sum() + coefficients[DIFFUSION:].sum())
