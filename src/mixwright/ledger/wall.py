# SPDX-License-Identifier: Apache-2.0
"""The wall of the middle: where and when a section holds less than the sections beside it."""

from __future__ import annotations

import functools
from collections.abc import Collection, Iterable, Iterator, Sequence

import numpy as np

from mixwright.hearing.bands import BANDS, band_edges, band_edges_hz
from mixwright.hearing.constants import constants_at
from mixwright.hearing.heard import BAND_CELLS, CELL_S
from mixwright.hearing.scale import STEP_CAM, filter_hz
from mixwright.model.arrangement import WallHole
from mixwright.model.song import Section

#: The range that layers fill as one wall.
WALL_HZ = (200.0, 4000.0)
#: A hole is at least so deep below what both sections beside it hold there, and below what the section itself would
#: lead to expect: where all of it is thinner, that is no hole.
LEAST_DB, LEAST_ALONE_DB = 6.0, 4.0
#: What lacks more is gone, here as there: a stop of all layers is no hole.
MOST_DB = 30.0
#: It lasts for so long, and is at least two bands wide, about three ERB: what one part would fill.
LEAST_S, _LEAST_BANDS = 2.0, 2
#: A hole fills at least this part of the box that tells it.
_FILLED = 0.6
#: The wall is looked at in steps of about a second, in which the notes of a bar are one.
STEP_CELLS = 16
STEP_S = STEP_CELLS * BAND_CELLS * CELL_S
_LEVELS_DB = np.arange(-10.0, 121.0)


def holes(power: Collection[np.ndarray], sections: Sequence[Section]) -> tuple[WallHole, ...]:
    """Return the holes of every section that lies between two others, the deepest first.

    Parameters
    ----------
    power : collection of float arrays (cells, BANDS)
        of the excitation by each layer of the mix, over the song
    sections : sequence of Section
        in order of time
    """
    if not power or len(sections) < 3:
        return ()
    level = levels_db(power)
    cut = [level[_steps(part, len(level))] for part in sections]
    found = [
        hole
        for before, part, after in zip(range(len(sections)), sections[1:-1], range(2, len(sections)), strict=False)
        if min(map(len, cut[before : after + 1])) > 0
        for hole in _holes(cut[before : after + 1], part, (sections[before].name, sections[after].name))
    ]
    return tuple(sorted(found, key=lambda hole: -hole.depth_db))


def levels_db(power: Iterable[np.ndarray]) -> np.ndarray:
    """Return the level of excitation that all layers together reach, (steps, BANDS), in dB, means of power over STEP_S.

    The powers of the layers, as of `holes`, are added: so layers are taken to be uncorrelated.
    """
    whole = np.zeros((1, BANDS))
    for cells in power:
        steps = len(cells) // STEP_CELLS
        whole = whole + cells[: steps * STEP_CELLS].reshape(steps, STEP_CELLS, BANDS).mean(axis=1, dtype=np.float64)
    return np.asarray(10.0 * np.log10(np.maximum(whole, 1.0)))


def excitation_power(loudness: np.ndarray) -> np.ndarray:
    """Return the power, re 0 dB SPL at 1 kHz, whose excitation, were it flat, has a loudness in sone in each band.

    Float32 (..., BANDS), as `loudness`.
    """
    table = _loudness_of_levels()
    found = np.empty(loudness.shape, dtype=np.float32)
    for band in range(BANDS):
        found[..., band] = np.interp(loudness[..., band], table[:, band], 10.0 ** (_LEVELS_DB / 10.0), left=0.0)
    return found


@functools.cache
def _loudness_of_levels() -> np.ndarray:
    """Return the loudness of each band at every level of flat excitation at both ears, (levels, BANDS)."""
    constants = constants_at(filter_hz())
    power = 10.0 ** (_LEVELS_DB / 10.0)[:, None]
    above = (constants.gain * power + constants.offset) ** constants.exponent
    quiet = np.where(power < constants.threshold, (2.0 * power / (power + constants.threshold)) ** 1.5, 1.0)
    specific = constants.scale * quiet * (above - constants.offset**constants.exponent)
    return np.asarray(np.add.reduceat(specific, band_edges()[:-1], axis=1) * STEP_CAM * constants.two_ears)


def _steps(part: Section, steps: int) -> slice:
    """Return the whole steps inside a section."""
    return slice(min(steps, int(np.ceil(part.start_s / STEP_S))), min(steps, int(part.end_s / STEP_S)))


def _holes(cut: Sequence[np.ndarray], part: Section, beside: tuple[str, str]) -> Iterator[WallHole]:
    """Yield the holes of a section; `cut`: levels of the one before, of itself, and of the one after."""
    from scipy import ndimage  # slow to load

    edges = band_edges_hz()
    inside = slice(
        int(np.searchsorted(edges, WALL_HZ[0], side="right")) - 1, int(np.searchsorted(edges, WALL_HZ[1], side="left"))
    )
    before, here, after = (levels[:, inside] for levels in cut)
    expected = np.minimum(np.median(before, axis=0), np.median(after, axis=0))
    lacks = np.minimum(expected - here, MOST_DB)
    lacking = (lacks >= LEAST_DB) & (lacks - np.median(lacks, axis=1, keepdims=True) >= LEAST_ALONE_DB)
    # A breath of a step does not end a hole.
    lacking = ndimage.binary_closing(np.pad(lacking, ((1, 1), (0, 0))), np.ones((2, 1), dtype=bool))[1:-1]
    named, _ = ndimage.label(lacking)
    for number, box in enumerate(ndimage.find_objects(named), 1):
        steps, bands = box
        there = named[box] == number
        long_s = (steps.stop - steps.start) * STEP_S
        if long_s < LEAST_S or bands.stop - bands.start < _LEAST_BANDS or there.mean() < _FILLED:
            continue
        whole = steps.start == 0 and steps.stop == len(here)
        first_s = (np.ceil(part.start_s / STEP_S) + steps.start) * STEP_S
        yield WallHole(
            section=part.name,
            start_s=part.start_s if whole else round(float(first_s), 3),
            end_s=part.end_s if whole else round(float(first_s + long_s), 3),
            low_hz=round(edges[inside.start + bands.start], 1),
            high_hz=round(edges[inside.start + bands.stop], 1),
            depth_db=round(float(np.median(lacks[box][there])), 1),
            beside=beside,
        )
