# SPDX-License-Identifier: Apache-2.0
"""Filters as inserts."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from mixwright.core.filters import (
    acts,
    design_band,
    design_high_pass,
    design_low_pass,
    memory_frames,
    moving_band,
    moving_pass,
)
from mixwright.engine.operation import Operation, Stage
from mixwright.engine.processors.insert import along, made, movable, on
from mixwright.errors import SettingError
from mixwright.model.filter_inserts import Filters
from mixwright.model.insert import Insert
from mixwright.native import chain as native
from mixwright.native import convolution

#: Taps on each side of the middle of a filter of linear phase at 48 kHz: 171 ms.
_HALF = 8192


@made.register
def filters(insert: Filters, rate_hz: int) -> tuple[Operation, ...]:
    """Return the filters as sections in series (`core.filters`), without latency, or as one filter of linear phase."""
    sections = np.concatenate([*_passes(insert, rate_hz), *_bands(insert, rate_hz)])
    if not len(sections):
        return ()
    return (_linear(insert, sections, rate_hz) if insert.phase == "linear" else in_series(insert, sections, rate_hz),)


@movable.register
def movable_filters(insert: Filters, rate_hz: int) -> tuple[Operation, ...]:
    """Return passes and bands, each as sections in series: two for every band, needed or not, also at 0 dB."""
    if insert.phase == "linear":
        raise SettingError("a filter of linear phase cannot move", hint='set its phase to "minimum"')
    filters(insert, rate_hz)  # refuses what does not fit the rate
    tables = along(insert, rate_hz, {})
    assert tables is not None
    return tuple(in_series(insert, table.reshape(-1, 5), rate_hz) for table in tables)


@along.register
def along_filters(insert: Filters, rate_hz: int, values: Mapping[str, np.ndarray]) -> list[np.ndarray]:
    """Return the coefficients of `movable_filters` at many settings."""
    count = max([1, *(len(one) for one in values.values())])

    def at(path: str, fixed: float) -> np.ndarray:
        return values.get(path, np.full(count, fixed))

    passes = [
        moving_pass(cut, rate_hz, at(f"{name}.hz", cut.hz), high=name == "high_pass")
        for name, cut in (("high_pass", insert.high_pass), ("low_pass", insert.low_pass))
        if cut is not None
    ]
    bands = [
        moving_band(
            band,
            rate_hz,
            at(f"bands[{k}].hz", band.hz),
            at(f"bands[{k}].gain_db", band.gain_db),
            at(f"bands[{k}].q", band.q),
        )
        for k, band in enumerate(insert.bands)
    ]
    return [np.concatenate(parts, axis=1).reshape(count, -1) for parts in (passes, bands) if parts]


def _passes(insert: Filters, rate_hz: int) -> list[np.ndarray]:
    found = [np.empty((0, 5))]
    if insert.high_pass is not None:
        found.append(design_high_pass(insert.high_pass, rate_hz))
    if insert.low_pass is not None:
        found.append(design_low_pass(insert.low_pass, rate_hz))
    return found


def _bands(insert: Filters, rate_hz: int) -> Sequence[np.ndarray]:
    return [design_band(band, rate_hz) for band in insert.bands if acts(band)]


def in_series(insert: Insert, sections: np.ndarray, rate_hz: int) -> Stage:
    """Return sections ``(n, 5)`` in series for an insert."""
    return Stage(
        kind=native.SECTIONS,
        coefficients=sections.ravel(),
        states=(2 * len(sections), 4 * len(sections)),
        count=len(sections),
        remembers_frames=memory_frames(sections, rate_hz),
        on=on(insert),
    )


def half_of(rate_hz: int) -> int:
    """Return the taps on each side of the middle of a filter of linear phase: a power of two, 171 ms or more."""
    return 1 << math.ceil(math.log2(_HALF * rate_hz / 48000))


def _linear(insert: Filters, sections: np.ndarray, rate_hz: int) -> Stage:
    half = half_of(rate_hz)
    count = 2 * half // native.STRIDE
    states = convolution.states(count)
    return Stage(
        kind=native.CONVOLUTION,
        coefficients=convolution.coefficients(convolution.linear_taps(sections, half)),
        states=(states, 2 * states),
        count=count,
        latency_frames=half + convolution.LATENCY_FRAMES,
        remembers_frames=half + native.STRIDE,
        on=on(insert),
    )
