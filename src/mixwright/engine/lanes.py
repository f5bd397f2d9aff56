# SPDX-License-Identifier: Apache-2.0
"""Lanes at frames: hand settings, kept automation and accepted moves become one breakpoint lane per parameter."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.errors import SettingError
from mixwright.model.lane import Lane
from mixwright.model.song import Section
from mixwright.units import frames_from_s

#: How long a change at a section's edge takes; it ends at the edge.
RAMP_S = 0.020

_RANGES: dict[str, tuple[float, float]] = {
    "level": (-120.0, 48.0),
    "pan": (-1.0, 1.0),
    "left": (-1.0, 1.0),
    "right": (-1.0, 1.0),
    "width": (0.0, 2.0),
    "mute": (0.0, 1.0),
}
_SENT_DB = (-120.0, 24.0)


@dataclass(frozen=True)
class FrameLane:
    """Values at song frames, in order; straight lines between them, two points at one frame make a step."""

    points: tuple[tuple[int, float], ...]

    def at(self, frame: int) -> tuple[float, float]:
        """Return the values just before and from `frame` on."""
        first = bisect_left(self.points, frame, key=_frame)
        after = bisect_right(self.points, frame, key=_frame)
        if first < after:
            return self.points[first][1], self.points[after - 1][1]
        if first == 0 or after == len(self.points):
            value = self.points[min(first, len(self.points) - 1)][1]
            return value, value
        (f0, v0), (f1, v1) = self.points[first - 1], self.points[first]
        value = v0 + (v1 - v0) * ((frame - f0) / (f1 - f0))
        return value, value

    def values(self, frames: np.ndarray) -> np.ndarray:
        """Return the values from each of these frames on."""
        at = np.array([point[0] for point in self.points])
        values = np.array([point[1] for point in self.points], dtype=np.float64)
        after = np.searchsorted(at, frames, side="right")
        a, b = np.clip(after - 1, 0, None), np.clip(after, None, len(at) - 1)
        part = (frames - at[a]) / np.maximum(at[b] - at[a], 1)
        return np.where(a == b, values[a], values[a] + (values[b] - values[a]) * np.clip(part, 0.0, 1.0))


def _frame(point: tuple[int, float]) -> int:
    return point[0]


def constant(value: float) -> FrameLane:
    """Return a lane that stays where it is."""
    return FrameLane(((0, value),))


def range_of(parameter: str) -> tuple[float, float]:
    """Return what a lane of a strip may hold, from and to; a setting of an insert has a range of its own."""
    return _SENT_DB if parameter.startswith("sends.") else _RANGES.get(parameter, (-math.inf, math.inf))


def from_kept(lane: Lane, rate_hz: int) -> FrameLane:
    """Return a kept lane at frames; points out of order are put in order. The range of an insert's setting is its own.

    Raises
    ------
    SettingError
        where a value lies beyond what a strip allows
    """
    low, high = range_of(lane.parameter)
    for point in lane.points:
        if not low <= point.value <= high:
            raise SettingError(
                f"{lane.parameter} is {point.value:g} at {point.at_s:g} s; allowed: {low:g} to {high:g}",
                where=f"lane of {lane.target}",
            )
    points = sorted(((frames_from_s(p.at_s, rate_hz), p.value) for p in lane.points), key=_frame)
    return FrameLane(tuple(points))


def heard_of(mute: FrameLane, rate_hz: int) -> FrameLane:
    """Return the lane of factors of a lane of mutes, 0 where it says 1 and 1 elsewhere.

    What it says holds until its next breakpoint; changes take RAMP_S, and end where they are written.
    """
    ramp = frames_from_s(RAMP_S, rate_hz)
    points: list[tuple[int, float]] = []
    for frame, value in mute.points:
        heard = 0.0 if value >= 0.5 else 1.0
        if points and points[-1][0] == frame:  # of several at one frame the last one holds
            points.pop()
        before = points[-1] if points else (frame, heard)
        if before[1] != heard:
            points.append((max(before[0], frame - ramp), before[1]))
        points.append((frame, heard))
    return FrameLane(tuple(points))


def inside(sections: Sequence[Section], frames: int, rate_hz: int) -> FrameLane:
    """Return the lane that is 1 inside sections and 0 outside, with ramps that end at the sections' edges.

    No ramp stands at the start and end of the song, nor between sections that touch.
    """
    ramp = frames_from_s(RAMP_S, rate_hz)
    spans: list[list[int]] = []
    for section in sorted(sections, key=lambda s: s.start_s):
        start, end = frames_from_s(section.start_s, rate_hz), frames_from_s(section.end_s, rate_hz)
        if spans and start <= spans[-1][1]:
            spans[-1][1] = max(end, spans[-1][1])
        else:
            spans.append([start, end])
    points: list[tuple[int, float]] = []
    last = 0
    for start, end in spans:
        if start > 0:
            points += [(max(last, start - ramp), 0.0), (start, 1.0)]
        else:
            points.append((0, 1.0))
        if end >= frames - ramp:
            break
        points += [(max(start, end - ramp), 1.0), (end, 0.0)]
        last = end
    return FrameLane(tuple(points) or ((0, 0.0),))


def combined(lanes: Sequence[FrameLane], of: Callable[[Sequence[float]], float]) -> FrameLane:
    """Return the lane of a function of several lanes' values, exact at every breakpoint of any of them."""
    points: list[tuple[int, float]] = []
    for frame in sorted({p[0] for lane in lanes for p in lane.points}):
        before, after = zip(*(lane.at(frame) for lane in lanes), strict=True)
        old, new = of(before), of(after)
        if old != new:
            points.append((frame, old))
        points.append((frame, new))
    if len({value for _, value in points}) == 1:
        return constant(points[0][1])
    return FrameLane(tuple(points))


def total(lanes: Sequence[FrameLane]) -> FrameLane:
    """Return the sum of lanes in dB."""
    return combined(lanes, sum)


def packed(lanes: Iterable[FrameLane]) -> np.ndarray:
    """Return lanes as the C core reads them: each as its number of points, then frame and value of each."""
    values: list[float] = []
    for lane in lanes:
        values.append(float(len(lane.points)))
        for frame, value in lane.points:
            values += [float(frame), value]
    return np.array(values)
