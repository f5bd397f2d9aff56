# SPDX-License-Identifier: Apache-2.0
"""Width by ranges as an insert."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from mixwright.core.filters import check_hz, memory_frames
from mixwright.engine.operation import Operation, Stage
from mixwright.engine.processors.insert import made, movable
from mixwright.errors import SettingError
from mixwright.model.colour_inserts import Width
from mixwright.native import chain as native
from mixwright.native.mathematics import ratio, sin, tan

#: A width of 0 between two other ranges counts as this: 60 dB down.
_LEAST = 1e-3


@made.register
def width(insert: Width, rate_hz: int) -> tuple[Operation, ...]:
    """Return the side as shelves of fourth order give it, and the middle times its level, without latency.

    A shelf between the widths v below and w above a split goes by ``|H|^2 = (v^2 + w^2 x^8) / (1 + x^8)``,
    x = f / split:
    never beyond the two, a Butterworth filter where one of them is 0 (M. Holters, U. Zölzer, "Parametric higher-order
    shelving filters", EUSIPCO 2006; from memory).

    Raises
    ------
    SettingError
        where splits do not rise or do not fit widths or rate, or for one channel alone, which has no width
    """
    _check(insert)
    return _stages(insert, rate_hz, moves=False)


@movable.register
def movable_width(insert: Width, rate_hz: int) -> tuple[Operation, ...]:
    """Return the gain of the middle and a shelf for every split, also where they do nothing; else as `width`."""
    _check(insert)
    return _stages(insert, rate_hz, moves=True)


def _check(insert: Width) -> None:
    if insert.works_on in ("left", "right"):
        raise SettingError(f"{insert.works_on} alone has no width", hint="set works_on to both, middle or side")
    if len(insert.widths) != len(insert.splits_hz) + 1:
        raise SettingError(
            f"{len(insert.splits_hz)} splits make {len(insert.splits_hz) + 1} ranges, not {len(insert.widths)}",
            hint="give one width more than splits",
        )
    if any(low >= high for low, high in pairwise(insert.splits_hz)):
        raise SettingError("splits_hz has to rise", hint="give the lowest split first")


def _stages(insert: Width, rate_hz: int, *, moves: bool) -> tuple[Operation, ...]:
    stages = []
    if insert.works_on != "side" and (moves or insert.middle_db != 0.0):
        stages.append(Stage(native.GAIN, np.array([float(ratio(insert.middle_db))]), (0, 0), on=native.MIDDLE))
    if insert.works_on != "middle":
        sections = side_sections(insert, rate_hz, moves=moves)
        count = len(sections)
        stages.append(
            Stage(
                kind=native.SECTIONS,
                coefficients=sections.ravel(),
                states=(2 * count, 4 * count),
                count=count,
                remembers_frames=memory_frames(sections, rate_hz),
                on=native.SIDE,
            )
        )
    return tuple(stages)


def side_sections(insert: Width, rate_hz: int, *, moves: bool = False) -> np.ndarray:
    """Return what the side passes through as sections ``(n, 5)``: a factor, then two for each change of width.

    Where widths move, for each split: then the lowest width is all in its shelf.
    """
    last = len(insert.widths) - 1
    widths = [max(w, _LEAST) if 0 < k < last else w for k, w in enumerate(insert.widths)]
    factor, sections = float(ratio(insert.side_db)), []
    if len(widths) == 1 or (widths[0] == widths[1] and not moves):
        factor *= widths[0]
    for k, (hz, below, above) in enumerate(zip(insert.splits_hz, widths, widths[1:], strict=False)):
        check_hz(hz, rate_hz)
        if below != above or moves:
            sections += _shelf(hz, rate_hz, *((1.0, above / below) if k else (below, above)))
    return np.array([[factor, 0.0, 0.0, 0.0, 0.0], *sections])


def _shelf(hz: float, rate_hz: int, below: float, above: float) -> list[list[float]]:
    """Return the two sections of a shelf by the bilinear transform, its split kept."""
    t = float(tan(math.pi * hz / rate_hz))
    sections = []
    for angle in (math.pi / 8.0, 3.0 * math.pi / 8.0):
        damping = 2.0 * float(sin(angle))
        low, high = math.sqrt(below) * t * t, math.sqrt(above)
        across = damping * math.sqrt(math.sqrt(below * above)) * t
        a0 = t * t + damping * t + 1.0
        b = low + across + high, 2.0 * (low - high), low - across + high
        sections.append([x / a0 for x in (*b, 2.0 * (t * t - 1.0), t * t - damping * t + 1.0)])
    return sections
