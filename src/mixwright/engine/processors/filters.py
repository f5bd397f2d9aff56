# SPDX-License-Identifier: Apache-2.0
"""Filters as inserts."""

from __future__ import annotations

from mixwright.core.filters import memory_frames, strip_sections
from mixwright.engine.operation import Operation, Stage
from mixwright.engine.processors.insert import made, on
from mixwright.model.filter_inserts import Filters
from mixwright.model.strip import Strip
from mixwright.native import chain as native


@made.register
def filters(insert: Filters, rate_hz: int) -> tuple[Operation, ...]:
    """Return the filters as sections in series (`core.filters`), without latency."""
    sections = strip_sections(Strip(high_pass=insert.high_pass, low_pass=insert.low_pass, eq=insert.bands), rate_hz)
    if not len(sections):
        return ()
    return (
        Stage(
            kind=native.SECTIONS,
            coefficients=sections.ravel(),
            states=(2 * len(sections), 4 * len(sections)),
            count=len(sections),
            remembers_frames=memory_frames(sections, rate_hz),
            on=on(insert),
        ),
    )
