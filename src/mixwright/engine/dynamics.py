# SPDX-License-Identifier: Apache-2.0
"""The true-peak limiter: it makes a gain curve, one value a frame, and multiplies by it.

Contract: as for the operations of `engine.chain`; and what comes out is exactly the delayed input times the float32
gain, so that a curve that was kept gives the same bits again.
"""

from __future__ import annotations

import functools

import numpy as np

from mixwright.errors import SettingError
from mixwright.meter.true_peak import FINE_PHASES, PHASES, bounds, interpolator
from mixwright.native import dynamics as native
from mixwright.native.mathematics import LOG2_E, ratio


class PeakLimiter:
    """True-peak limiter of a stereo bus with a look-ahead of about 8 ms (400 frames at 48 kHz).

    Its ceiling holds for the true peak as :func:`mixwright.meter.true_peak.true_peak_16x` reads it. Above 0.46 of the
    rate interpolators differ, and so do converters: there another meter may read more.

    Parameters
    ----------
    rate_hz : int
    ceiling_dbtp : float
        What the true peak is held to.
    release_s : float
        Time constant of the reduction in dB, above 0.

    Attributes
    ----------
    latency_frames : int

    Raises
    ------
    SettingError
        for a release time of 0 or less
    """

    def __init__(self, rate_hz: int, *, ceiling_dbtp: float, release_s: float) -> None:
        # The passes hold addresses into arrays that are kept for good by the functions that made them.
        self._passes = _passes(rate_hz)
        self._ceiling = float(ratio(ceiling_dbtp - _ROUNDING_DB))
        self._release_octaves = _decay_octaves(release_s, rate_hz)
        self._state = np.zeros(native.limiter_state_doubles(self._passes))
        self.latency_frames = native.limiter_latency_frames(self._passes)

    def reset(self) -> None:
        """Go back to time zero and silence."""
        self._state[:] = 0.0

    def process(self, audio: np.ndarray, gains: np.ndarray) -> None:
        """Limit float64 audio ``(frames, 2)``, C-contiguous, in place, and write its float32 gains ``(frames,)``.

        Both come out `latency_frames` late: ``gains[i]`` belongs to the frame that comes out at ``i``.
        """
        native.limit(self._passes, self._ceiling, self._release_octaves, self._state, audio, gains)


@functools.cache
def limiter_latency_frames(rate_hz: int) -> int:
    """Return by how many frames the limiter delays."""
    return native.limiter_latency_frames(_passes(rate_hz))


def _passes(rate_hz: int) -> native.LimiterPasses:
    return native.limiter_passes(
        [
            (_box_frames(_FIRST_BOX_S, rate_hz), _HOLD_FRAMES, interpolator(PHASES), bounds(PHASES)),
            (_box_frames(_SECOND_BOX_S, rate_hz), _HOLD_FRAMES, interpolator(FINE_PHASES), bounds(FINE_PHASES)),
        ]
    )


_FIRST_BOX_S = 0.002
_SECOND_BOX_S = 0.0005
_HOLD_FRAMES = 16
#: The interpolator reaches 32 frames to either side: the gain may not move much faster.
_LEAST_BOX_FRAMES = 24
#: Taken off the ceiling, so that the rounding of float sums in limiter and meter does not show above it.
_ROUNDING_DB = 5e-5


def _box_frames(seconds: float, rate_hz: int) -> int:
    return max(_LEAST_BOX_FRAMES, round(seconds * rate_hz))


def _decay_octaves(seconds: float, rate_hz: int) -> float:
    """Return the logarithm, base 2, of what an exponential decay of this time constant leaves after one frame."""
    if not seconds > 0.0:
        raise SettingError("the time constant of a limiter must be longer than 0 s")
    return -LOG2_E / (seconds * rate_hz)
