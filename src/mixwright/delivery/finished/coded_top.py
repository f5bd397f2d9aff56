# SPDX-License-Identifier: Apache-2.0
"""Whether a file comes from a coded one: coders of music cut off the top at one frequency, and leave nothing above.

The edges are those of MP3 and AAC at up to 192 kbit/s (measured with libsndfile and LAME: 16.6 kHz at 128, 17.3 at
160, 18.7 at 192 kbit/s). At higher rates they lie above 19 kHz, where synthesizers, which leave out what they cannot
play, and converters end as suddenly: nothing is told of these.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixwright.delivery.finished.window_powers import hz_of_bins

_BAND_HZ = 250.0
_LOWEST_HZ, _HIGHEST_HZ = 14_750.0, 19_250.0
#: Least level below the edge over that of the loudest band above, within 750 Hz, and most that it falls by in as much
#: before that: a coder takes away nothing up to its edge, while a steep filter falls for some time, and ever faster as
#: it comes near half the rate.
_DROP_DB, _FALLS_DB = 30.0, 12.0
#: In so many of the windows the band below the edge must stand out of what is left above it.
_STANDS_OUT_DB, _LEAST_SHARE = 12.0, 0.06
_LEAST = 1e-20


def coded_top_hz(powers: npt.NDArray[np.float64], rate_hz: int) -> float | None:
    """Return above which frequency a coder left nothing, or None where there is no such edge.

    Parameters
    ----------
    powers : (windows, bins) array
        As of `window_powers`.
    rate_hz : int
        Of the file; below 41 kHz nothing is told.
    """
    if not len(powers) or 0.99 * rate_hz / 2.0 < _HIGHEST_HZ + 3.0 * _BAND_HZ:
        return None
    edges = np.arange(_LOWEST_HZ - 4 * _BAND_HZ, 0.99 * rate_hz / 2.0, _BAND_HZ)
    bins = np.searchsorted(hz_of_bins(rate_hz), edges)
    sums = np.concatenate((np.zeros((len(powers), 1)), np.cumsum(powers, axis=1)), axis=1)
    bands = np.maximum(np.diff(sums[:, bins], axis=1) / np.diff(bins), _LEAST)
    mean_db, each_db = 10.0 * np.log10(bands.mean(axis=0)), 10.0 * np.log10(bands)
    # Loudest of each band and those above it.
    above_db = np.maximum.accumulate(mean_db[::-1])[::-1]
    places = np.arange(4, int((_HIGHEST_HZ - edges[0]) / _BAND_HZ))
    drops_db = mean_db[places - 1] - above_db[places + 2]
    drops_db[mean_db[places - 4] - mean_db[places - 1] > _FALLS_DB] = 0.0
    place = int(places[np.argmax(drops_db)])
    share = float(np.mean(each_db[:, place - 1] > above_db[place + 2] + _STANDS_OUT_DB))
    return float(edges[place]) if drops_db.max() >= _DROP_DB and share >= _LEAST_SHARE else None
