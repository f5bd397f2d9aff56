# SPDX-License-Identifier: Apache-2.0
"""The tables that the C core's kernels of the ear read, made once."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np

from mixwright.hearing.components import RATE_HZ, SPREAD_DB, WINDOW_MS, components
from mixwright.hearing.constants import CUED_DB, ConstantSet, constants_at
from mixwright.hearing.ear_filter import RANGE_RATE_HZ, REACH, Field, ear_filters
from mixwright.hearing.scale import FILTERS, STEP_CAM, bandwidth_hz, filter_hz
from mixwright.native import ear
from mixwright.native.ear import PADDED_FILTERS

#: One analysis frame, in samples at 48 kHz: 4 ms.
FRAME = 192
#: Samples that a frame hears before and after its middle, those of the slowest range's filter included.
MARGIN = 8192

#: Half-band low-pass of 23 taps: -104 dB from 0.375 of the rate on, flat to 0.125 (Parks-McClellan).
_HALF_BAND = (
    0.30941974964881713,
    -0.08198360231391966,
    0.030554571174526764,
    -0.0101603581938119,
    0.0025138161054581113,
    -0.00034706575632036514,
)
#: At its own rate every window is this long, whatever its range.
_WINDOW = 96
_LANES = 8
_LEVELS_DB = np.arange(-20.0, 121.0)


@dataclass(frozen=True, eq=False)
class SpectrumTables:
    """`shape`: windows a frame, hop, groups of 8 bins and reach of the ear's filter, by range; `counts` components."""

    shape: np.ndarray
    counts: np.ndarray
    half_band: np.ndarray
    ear: np.ndarray
    waves: np.ndarray
    scale: np.ndarray

    @functools.cached_property
    def bins_per_frame(self) -> int:
        """Floats of one frame's bins."""
        return int(np.sum(self.shape[:, 0] * 2 * _LANES * self.shape[:, 2]))


@dataclass(frozen=True, eq=False)
class Steps:
    """Into how many steps the ear cuts a frame, by parts of its filters: above, windows are short and sounds quick.

    `parts`: int32 rows of first filter, end, steps, and the component from which on powers are those of each step; the
    lower ones hold for the frame, and so do the shapes of the filters. `component` stands at each place of a row of
    powers, first all of them as means of the frame; `filters` at each of a row of excitations.
    """

    parts: np.ndarray
    component: np.ndarray
    filters: np.ndarray

    def coefficients(self, per_ms: float) -> np.ndarray:
        """Return how much of the way to a new value is made in a step, float32 by part."""
        step_ms = 1000.0 * FRAME / RATE_HZ / self.parts[:, 2]
        return (1.0 - (1.0 - per_ms) ** step_ms).astype(np.float32)

    def instants(self, both: tuple[np.ndarray, np.ndarray], frames: np.ndarray, moments: np.ndarray) -> np.ndarray:
        """Return powers at a moment of some frames, float32 ``(2, frames, 134)``.

        `both`: rows of powers at both ears; `moments`: of each frame, from 0 to below 1.
        """
        made = np.empty((2, len(frames), len(components().hz)), dtype=np.float32)
        chosen, at = frames.astype(np.int32), np.minimum(moments, 1.0 - 1e-6).astype(np.float32)
        for side, powers in enumerate(both):
            if side and powers is both[0]:
                made[side] = made[0]
            else:
                ear.moments(powers, chosen, at, self.parts, made[side])
        return made


def _steps(*parts: tuple[int, int, int, int]) -> Steps:
    every = np.arange(len(components().hz))
    component = np.concatenate([every, *(np.tile(every[fine:], steps) for _, _, steps, fine in parts)])
    filters = np.concatenate([np.tile(np.arange(first, end), steps) for first, end, steps, _ in parts])
    return Steps(np.array(parts, dtype=np.int32), component, filters)


@functools.cache
def fine_steps() -> Steps:
    """Return 4 ms up to the filter at 1.28 kHz, 2 ms up to that at 2.65 kHz, 1 ms above, near the ranges of windows."""
    first = components().first.tolist()
    return _steps((0, 64, 1, len(components().hz)), (64, 88, 2, first[3]), (88, 152, 4, first[4]))


@functools.cache
def whole_frames() -> Steps:
    """Return frames in one piece, for what stands still and for moments by themselves."""
    return _steps((0, PADDED_FILTERS, 1, len(components().hz)))


@dataclass(frozen=True, eq=False)
class FilterTables:
    """`around` with `first` and `last` for levels per ERB; `table` and `reach` of the level-dependent filters."""

    around: np.ndarray
    first: np.ndarray
    last: np.ndarray
    table: np.ndarray
    reach: np.ndarray


@functools.cache
def spectrum_tables(field: Field = "free") -> SpectrumTables:
    """Return the tables of the running spectrum."""
    parts = components()
    counts = np.diff(parts.first)
    windows = np.array([max(1, 4 // max(1, window_ms // 4)) for window_ms in WINDOW_MS])
    hop = np.array(RANGE_RATE_HZ) * FRAME // RATE_HZ // windows
    groups = -(-counts // _LANES)
    return SpectrumTables(
        shape=np.stack([windows, hop, groups, REACH], axis=1).astype(np.int32),
        counts=counts.astype(np.int32),
        half_band=np.array(_HALF_BAND, dtype=np.float32),
        ear=np.concatenate(ear_filters(field)).astype(np.float32),
        waves=np.concatenate([_waves(k) for k in range(len(WINDOW_MS))]).astype(np.float32),
        # Bins of a tone add up to its mean square: 2 |X|^2 over the transform's length and the window's power.
        scale=np.full(len(windows), 2.0 / (2.0 * _WINDOW * 0.375 * _WINDOW) * 10.0 ** (SPREAD_DB / 10.0)),
    )


def _waves(k: int) -> np.ndarray:
    """Return the half windows times cosine and sine of every bin, ``(groups * 2 * 48, 8)``."""
    parts = components()
    hz = parts.hz[parts.first[k] : parts.first[k + 1]]
    hz = np.pad(hz, (0, -len(hz) % _LANES))
    m = np.arange(_WINDOW // 2)
    window = 0.5 + 0.5 * np.cos(2.0 * np.pi * m / _WINDOW)
    angle = 2.0 * np.pi * m[:, None] * hz / RANGE_RATE_HZ[k]
    both = np.stack([window[:, None] * np.cos(angle), -window[:, None] * np.sin(angle)])
    return both.reshape(2, len(m), -1, _LANES).transpose(2, 0, 1, 3).reshape(-1, _LANES)


@functools.cache
def filter_tables() -> FilterTables:
    """Return the tables of the excitation: rounded-exponential filters (Glasberg and Moore 1990)."""
    hz, centre = components().hz, filter_hz()
    around = _roex(4.0 * hz / bandwidth_hz(hz), (hz[:, None] - hz) / hz)
    far = around > 1e-7
    first = far.argmax(axis=1) // _LANES * _LANES
    last = -(-(len(hz) - far[:, ::-1].argmax(axis=1)) // _LANES) * _LANES
    table = np.zeros((len(hz), len(_LEVELS_DB), PADDED_FILTERS), dtype=np.float32)
    reach = np.zeros((len(hz), len(_LEVELS_DB), 2), dtype=np.uint8)
    upper = 4.0 * centre / bandwidth_hz(centre)
    at_1_khz = 4.0 * 1000.0 / float(bandwidth_hz(1000.0))
    lower = np.maximum(upper - 0.35 * (upper / at_1_khz) * (_LEVELS_DB[:, None] - 51.0), 0.1)
    for j, component_hz in enumerate(hz):
        distance = (component_hz - centre) / centre
        weight = np.where(distance <= 4.0, _roex(np.where(distance >= 0.0, upper, lower), distance), 0.0)
        # What adds less than -30 dB SPL to a filter is never heard: the least threshold is 3 dB.
        counts = (weight > 1e-9) & (_LEVELS_DB[:, None] + 10.0 * np.log10(np.maximum(weight, 1e-30)) > -30.0)
        begin = counts.argmax(axis=1) // _LANES * _LANES
        end = -(-(FILTERS - counts[:, ::-1].argmax(axis=1)) // _LANES) * _LANES
        table[j, :, :FILTERS] = weight
        reach[j, :, 0] = np.where(counts.any(axis=1), begin, 0)
        reach[j, :, 1] = np.where(counts.any(axis=1), np.minimum(end, PADDED_FILTERS), 0)
    padded = np.zeros((len(hz), len(hz) + -len(hz) % _LANES), dtype=np.float32)
    padded[:, : len(hz)] = around
    return FilterTables(padded, first.astype(np.int32), last.astype(np.int32), table, reach)


def _roex(slope: np.ndarray, distance: np.ndarray) -> np.ndarray:
    x = slope * np.abs(distance)
    return np.asarray((1.0 + x) * np.exp(-x))


@functools.cache
def loudness_table(name: ConstantSet = "ISO 532-3", steps: Steps | None = None) -> tuple[np.ndarray, float]:
    """Return the constants at the places of a row of excitations as the kernel reads them, ``(8, places)``, and C.

    By default of whole frames.
    """
    c = constants_at(filter_hz(), name)
    floor = c.offset**c.exponent
    least = (c.gain * c.threshold + c.offset) ** c.exponent - floor
    cued = c.masked_ratio * 10.0 ** (CUED_DB / 10.0)
    rows = np.stack([c.gain, c.offset, c.exponent, floor, c.threshold, least, c.masked_ratio, cued])
    padded = np.pad(rows, ((0, 0), (0, PADDED_FILTERS - FILTERS)), mode="edge").astype(np.float32)
    return np.ascontiguousarray(padded[:, (steps or whole_frames()).filters]), c.scale


@functools.cache
def spread_table() -> np.ndarray:
    """Return how specific loudness spreads between groups of four filters before ears inhibit each other, (40, 40).

    Gaussian, to 18 Cam on either side (Moore and Glasberg 2007; ISO 532-2:2017).
    """
    groups = PADDED_FILTERS // 4
    member = np.arange(PADDED_FILTERS).reshape(groups, 4, 1)
    middle = 4.0 * np.arange(groups) + 1.5
    away_cam = STEP_CAM * (member - middle)
    weights = np.where(np.abs(away_cam) <= 18.0, np.exp(-((0.08 * away_cam) ** 2)), 0.0)
    return np.ascontiguousarray(weights.mean(axis=1), dtype=np.float32)
