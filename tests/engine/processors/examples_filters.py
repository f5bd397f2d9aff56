# SPDX-License-Identifier: Apache-2.0
"""Filters to test by."""

from __future__ import annotations

import numpy as np

from mixwright.core.filters import strip_sections
from mixwright.engine.operation import Sections
from mixwright.model.filter_inserts import Filters
from mixwright.model.filters import EqBand, Pass
from mixwright.model.strip import Strip
from mixwright.native.convolution import linear_taps
from reference import chain_twin


def filters_twin(insert, rate_hz, audio, key):
    sections = strip_sections(Strip(high_pass=insert.high_pass, low_pass=insert.low_pass, eq=insert.bands), rate_hz)
    if insert.phase == "linear":
        taps = linear_taps(sections, 8192)
        late = np.zeros(256)
        out = [np.concatenate([late, np.convolve(x, taps)])[: len(x)] for x in audio.T]
        return np.stack(out, axis=1)
    return chain_twin.process([Sections(sections)], audio)


EXAMPLES = [
    (
        Filters(
            high_pass=Pass(hz=80, slope_db_oct=18),
            bands=(EqBand(hz=900, gain_db=-6, q=3), EqBand(kind="high_shelf", hz=9000, gain_db=4)),
        ),
        filters_twin,
    ),
    (Filters(low_pass=Pass(hz=12000, slope_db_oct=48)), filters_twin),
    (
        Filters(
            bands=(
                EqBand(kind="notch", hz=120, q=8),
                EqBand(kind="tilt", hz=1000, gain_db=3),
                EqBand(hz=12000, gain_db=12, q=0.4),
                EqBand(kind="low_shelf", hz=150, gain_db=-3, q=0.7),
            )
        ),
        filters_twin,
    ),
    (Filters(bands=(EqBand(kind="band_pass", hz=1800, q=0.8),)), filters_twin),
    (Filters(high_pass=Pass(hz=60), bands=(EqBand(hz=3000, gain_db=5),), phase="linear"), filters_twin),
]
