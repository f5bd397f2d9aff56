# SPDX-License-Identifier: Apache-2.0
"""Bus compressor and true-peak limiter: they make a gain curve, one value a frame, and multiply by it.

Contract: as for the operations of `engine.chain`; and what comes out is exactly the delayed input times the float32
gain, so that a curve that was kept gives the same bits again.
"""

from __future__ import annotations

import numpy as np

from mixwright.errors import SettingError
from mixwright.meter.true_peak import FINE_PHASES, PHASES, bounds, interpolator
from mixwright.native import dynamics as native
from mixwright.native.mathematics import exp2, ratio

_OCTAVES_A_DB = 0.16609640474436811739  # log2(10) / 20
_LOG2_E = 1.44269504088896340736


class BusCompressor:
    """Compressor of a stereo bus: feed-forward, soft knee, one gain for both channels.

    The gain computer works on the level of the larger of both magnitudes in dB; a smooth decoupled peak detector
    follows on the gain reduction (D. Giannoulis, M. Massberg, J. D. Reiss, "Digital dynamic range compressor design:
    a tutorial and analysis", J. Audio Eng. Soc. 60(6), 2012).

    Parameters
    ----------
    rate_hz : int
    threshold_db : float
        dBFS of a peak.
    ratio : float
        1 and above.
    knee_db : float
        Width of the knee, 0 and above; the curve bends from half of it below the threshold to half above.
    attack_s, release_s : float
        Time constants, above 0: 63 % of a rising reduction is reached after the attack time; a reduction that ends has
        fallen to 37 % after release and attack time together, nearly.
    gain_db : float
        Added after compression.

    Raises
    ------
    SettingError
        for a setting out of range
    """

    latency_frames = 0

    def __init__(
        self,
        rate_hz: int,
        *,
        threshold_db: float,
        ratio: float,
        knee_db: float,
        attack_s: float,
        release_s: float,
        gain_db: float,
    ) -> None:
        if ratio < 1.0 or knee_db < 0.0:
            raise SettingError("a compressor needs a ratio of 1 or more and a knee of 0 dB or more")
        threshold, knee, make_up = (value * _OCTAVES_A_DB for value in (threshold_db, knee_db, gain_db))
        times = [float(exp2(_decay_octaves(seconds, rate_hz))) for seconds in (attack_s, release_s)]
        self._settings = np.array([threshold, 1.0 - 1.0 / ratio, knee, *times, make_up])
        self._state = np.zeros(native.COMPRESSOR_STATE)

    def reset(self) -> None:
        """Go back to time zero and silence."""
        self._state[:] = 0.0

    def process(self, audio: np.ndarray, gains: np.ndarray) -> None:
        """Compress float64 audio ``(frames, 2)``, C-contiguous, in place, and write its float32 gains ``(frames,)``."""
        native.compress(self._settings, self._state, audio, gains)


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
        self._passes = native.limiter_passes(
            [
                (_box_frames(_FIRST_BOX_S, rate_hz), _HOLD_FRAMES, interpolator(PHASES), bounds(PHASES)),
                (_box_frames(_SECOND_BOX_S, rate_hz), _HOLD_FRAMES, interpolator(FINE_PHASES), bounds(FINE_PHASES)),
            ]
        )
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
        raise SettingError("the time constant of a compressor or limiter must be longer than 0 s")
    return -_LOG2_E / (seconds * rate_hz)
