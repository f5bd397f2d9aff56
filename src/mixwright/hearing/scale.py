# SPDX-License-Identifier: Apache-2.0
"""The ERB-number scale (unit: Cam) and the auditory filters on it (Glasberg and Moore 1990)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

#: Distance of the filters in Cam, and how many there are: 1.75 to 39 Cam, as in ISO 532-3.
STEP_CAM = 0.25
FILTERS = 150


def bandwidth_hz(hz: npt.ArrayLike) -> np.ndarray:
    """Return the equivalent rectangular bandwidth of the auditory filter at `hz`."""
    return 24.673 * (0.004368 * np.asarray(hz, dtype=np.float64) + 1.0)


def cam_from_hz(hz: npt.ArrayLike) -> np.ndarray:
    """Return the ERB-number of frequencies."""
    return np.asarray(21.366 * np.log10(0.004368 * np.asarray(hz, dtype=np.float64) + 1.0))


def hz_from_cam(cam: npt.ArrayLike) -> np.ndarray:
    """Return the frequencies of ERB-numbers."""
    return np.asarray((10.0 ** (np.asarray(cam, dtype=np.float64) / 21.366) - 1.0) / 0.004368)


def filter_hz() -> np.ndarray:
    """Return the centre frequencies of the filters, ``(FILTERS,)``."""
    return hz_from_cam(1.75 + STEP_CAM * np.arange(FILTERS))
