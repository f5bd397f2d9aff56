# SPDX-License-Identifier: Apache-2.0
"""How a finished file starts and ends: silence before and after, and sound that is cut off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixwright.jobs.progress import Cancel
from mixwright.units import db_from_power, db_from_ratio

#: Sound starts at the first frame above this, or 60 dB below the peak where that is less (common practice, no source).
SOUNDS_DBFS = -60.0
_BELOW_PEAK_DB = 60.0
_TAIL_S = 0.010
_NEAR_S = 0.005
_BLOCK_S = 4


@dataclass(frozen=True)
class Edges:
    """The two ends of a file that is not silent.

    `sounds_from`, `sounds_to`: first frame that sounds, and the one after the last. `first_frame`, `end_frame`: those
    that are not zero. `first_dbfs`: level of the first frame of the file. `tail_dbfs`: RMS of its last 10 ms. Both None
    for silence. `breaks_off`: zeros follow, and the last frame before them is no end of a fade.
    """

    sounds_from: int
    sounds_to: int
    first_frame: int
    end_frame: int
    first_dbfs: float | None
    tail_dbfs: float | None
    breaks_off: bool


def edges(audio: npt.NDArray[np.float32], rate_hz: int, peak: float, cancel: Cancel | None = None) -> Edges:
    """Return the ends of audio ``(frames, channels)`` that is not empty; `peak` is its largest amplitude, above 0."""
    limit = min(10.0 ** (SOUNDS_DBFS / 20.0), peak * 10.0 ** (-_BELOW_PEAK_DB / 20.0))
    first, end = _extent(audio, rate_hz, 0.0, cancel)
    tail = np.asarray(audio[-max(1, round(_TAIL_S * rate_hz)) :], dtype=np.float64)
    return Edges(
        *_extent(audio, rate_hz, limit, cancel),
        first_frame=first,
        end_frame=end,
        first_dbfs=db_from_ratio(float(np.abs(audio[0]).max())),
        tail_dbfs=db_from_power(float(np.mean(tail * tail))),
        breaks_off=end < len(audio) and _breaks_off(audio[:end], rate_hz),
    )


def _extent(audio: npt.NDArray[np.float32], rate_hz: int, limit: float, cancel: Cancel | None) -> tuple[int, int]:
    """Return the first frame above a limit and the one after the last; all of it where none is."""
    block = _BLOCK_S * rate_hz

    def above(start: int) -> npt.NDArray[np.intp]:
        if cancel is not None:
            cancel.check()
        return np.flatnonzero((np.abs(audio[start : start + block]) > limit).any(axis=1))

    starts = range(0, len(audio), block)
    first = next(((start, at) for start in starts if len(at := above(start))), None)
    last = next(((start, at) for start in reversed(starts) if len(at := above(start))), None)
    if first is None or last is None:
        return 0, len(audio)
    return first[0] + int(first[1][0]), last[0] + int(last[1][-1]) + 1


def _breaks_off(audio: npt.NDArray[np.float32], rate_hz: int) -> bool:
    """Return whether sound ends at full size: however short a fade is, its last frames are next to nothing."""
    near = np.abs(audio[-max(4, round(_NEAR_S * rate_hz)) :]).max(axis=1)
    last = float(near[-3:].max())
    return last > 10.0 ** (SOUNDS_DBFS / 20.0) and last > 0.1 * float(near.max())
