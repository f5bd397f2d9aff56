# SPDX-License-Identifier: Apache-2.0
"""How two channels reach two ears, and at which level."""

from __future__ import annotations

import functools

import numpy as np

from mixwright.hearing.components import components
from mixwright.hearing.kernels import fine_steps
from mixwright.model.hearing import Listening

#: The working level and a quiet check, in dB SPL of the mix's integrated loudness (practice, no standard for music).
WORKING_DB_SPL = 79.0
QUIET_DB_SPL = 65.0
LOWEST_DB_SPL, HIGHEST_DB_SPL = 60.0, 90.0

#: What the head takes from the far channel of a pair of loudspeakers at 30 degrees: a rough shape from memory.
_SHADOW_HZ = (200.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0)
_SHADOW_DB = (0.0, -3.0, -6.0, -6.0, -10.0, -15.0)


def calibration_db(integrated_lufs: float, listening_level_db_spl: float, listening: Listening) -> float:
    """Return the level in dB SPL, in each ear's channel, of a signal whose mean square is 1.

    The mix's integrated loudness (ITU-R BS.1770-5) is placed at the listening level. A 1 kHz tone in one channel reads
    its own level in LUFS. On headphones 3.01 dB are added, so that what stands in the middle has the same level at each
    ear as from two loudspeakers whose powers add up.
    """
    return listening_level_db_spl - integrated_lufs + (3.01 if listening == "headphones" else 0.0)


def at_ears(channels: tuple[np.ndarray, np.ndarray], listening: Listening) -> tuple[np.ndarray, np.ndarray]:
    """Return the rows of powers of `kernels.fine_steps` at the left and the right ear from those of the two channels.

    On headphones each ear has its own channel; before loudspeakers it hears the far one too, in the shadow of the head.
    Powers are added: between two loudspeakers phases depend on the room. One array for both channels is one for both
    ears.
    """
    if listening == "headphones":
        return channels
    shadow = _shadow()
    left, right = channels
    at_left = left + shadow * right
    return at_left, at_left if left is right else right + shadow * left


@functools.cache
def _shadow() -> np.ndarray:
    """Return what reaches the far ear of every power in a row, as a ratio."""
    shadow_db = np.interp(np.log(components().hz), np.log(_SHADOW_HZ), _SHADOW_DB)[fine_steps().component]
    return np.asarray(10.0 ** (shadow_db / 10.0), dtype=np.float32)
