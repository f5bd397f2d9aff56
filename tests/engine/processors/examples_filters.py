# SPDX-License-Identifier: Apache-2.0
"""Filters to test by."""

from __future__ import annotations

from mixwright.core.filters import strip_sections
from mixwright.engine.operation import Sections
from mixwright.model.filter_inserts import Filters
from mixwright.model.filters import EqBand, Pass
from mixwright.model.strip import Strip
from reference import chain_twin


def filters_twin(insert, rate_hz, audio, key):
    sections = strip_sections(Strip(high_pass=insert.high_pass, low_pass=insert.low_pass, eq=insert.bands), rate_hz)
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
]
