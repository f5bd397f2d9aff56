# SPDX-License-Identifier: Apache-2.0
"""What layers do in a section: hold, strike, or something between, by the loudness of each alone.

The parts of a song are played at some 1 to 16 notes a second, the range in which the ear follows loudness up and down;
it is most sensitive to fluctuation near 4 Hz (Fastl and Zwicker, Psychoacoustics, chapter 10; from memory). The two
figures below are ours, and so are the marks between the words: no source divides parts of songs in this way.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.hearing.bands import band_edges_hz
from mixwright.hearing.hear import ATTACK_PER_MS, RELEASE_PER_MS
from mixwright.hearing.heard import ACTIVE_SONE, ALONE, BAND_CELLS, CELL_S, Heard
from mixwright.model.arrangement import LayerMotion, MotionRange, MotionWord
from mixwright.model.song import Section

#: What is slower than this is how the part grows, not how it moves.
MEAN_S = 1.0
#: A part sustains below this modulation, with fewer strikes a second. It pulses from the first of these modulations on,
#: or from the second with so many strikes a second.
HELD, HELD_PER_S = 0.3, 1.5
STRUCK, STRUCK_OFTEN, OFTEN_PER_S = 0.65, 0.45, 4.0
#: A strike raises the loudness of the bands by this part of the crest around it; two lie at least so far apart.
STRIKE_RISE, _APART_S = 0.2, 0.064
#: A crest below this part of what the layer reaches in the section is its ring-out.
_LEAST_CREST = 0.1
#: A layer is silent in a section where it sounds for less, where its mean loudness is less than this part of that in
#: its loudest section (it breathes in), or where it is loudest within so long, never strikes, and ends in the first
#: half (it rings out).
_LEAST_S, _LEAST_LOUDNESS, _RINGS_S = 0.25, 0.05, 0.25
#: A range that holds less of the layer's loudness, or whose modulation is nearer to that of another, is not told apart;
#: of a band that holds less nothing is told.
_LEAST_RANGE, _LEAST_APART, _LEAST_BAND = 0.2, 0.2, 0.01
#: Seconds in which short-term loudness follows a rise and a fall (ISO 532-3:2023).
_RISES_S, _FALLS_S = 0.001 / ATTACK_PER_MS, 0.001 / RELEASE_PER_MS


@dataclass(frozen=True, eq=False)
class Moved:
    """A layer in a section: what it does, and the cells of the song in which it strikes."""

    motion: LayerMotion
    strikes: np.ndarray


def moved(heard: Heard, layer: str, sections: Sequence[Section]) -> tuple[Moved, ...]:
    """Return what a layer does in every section."""
    cells = [cells_of(part) for part in sections]
    mean = [float(heard.total[ALONE, one].sum()) / max(one.stop - one.start, 1) for one in cells]
    least = _LEAST_LOUDNESS * max(mean, default=0.0)
    return tuple(
        (_moved(heard, layer, part.name, one) if loudness >= least else None)
        or Moved(LayerMotion(layer=layer, section=part.name, motion="silent"), np.empty(0, dtype=np.intp))
        for part, one, loudness in zip(sections, cells, mean, strict=True)
    )


def cells_of(part: Section) -> slice:
    """Return the cells of `Heard.total` in a section."""
    return slice(round(part.start_s / CELL_S), round(part.end_s / CELL_S))


def band_cells_of(part: Section) -> slice:
    """Return the cells of `Heard.bands` in a section."""
    cells = cells_of(part)
    return slice(cells.start // BAND_CELLS, cells.stop // BAND_CELLS)


def _moved(heard: Heard, layer: str, section: str, cells: slice) -> Moved | None:
    alone = heard.total[ALONE, cells].astype(np.float64)
    if not len(alone):
        return None
    struck = strikes(alone, heard.rise[cells])
    sounding = alone > ACTIVE_SONE
    rings_out = not len(struck) and alone.argmax() * CELL_S < _RINGS_S and not sounding[len(sounding) // 2 :].any()
    if np.count_nonzero(sounding) * CELL_S < _LEAST_S or rings_out:
        return None
    amount = float(modulation(envelope(alone), CELL_S))
    per_s = len(struck) / _played_s(sounding)
    told = LayerMotion(
        layer=layer,
        section=section,
        motion=word_of(amount, per_s),
        modulation=round(amount, 3),
        onsets_per_s=round(per_s, 2),
        ranges=_ranges(heard.bands[ALONE, cells.start // BAND_CELLS : cells.stop // BAND_CELLS], amount, per_s),
    )
    return Moved(told, struck + cells.start)


def envelope(loudness: np.ndarray) -> np.ndarray:
    """Return an envelope about proportional to the amplitude of a sound, from its short-term loudness in sone.

    The rise and fall of short-term loudness are undone; loudness goes about with the fourth root of power at medium
    levels, so its square goes with amplitude.
    """
    slope = np.gradient(loudness, CELL_S) if len(loudness) > 1 else np.zeros(len(loudness))
    return np.asarray(np.maximum(loudness + np.where(slope > 0.0, _RISES_S, _FALLS_S) * slope, 0.0) ** 2)


def modulation(envelope: np.ndarray, cell_s: float) -> np.ndarray:
    """Return how far an envelope falls below its crests: 1 - mean / most, both over a second around each moment.

    Parameters
    ----------
    envelope : float array (cells,) or (cells, n)
        0 or more; of several, each is told
    cell_s : float
        how long a cell is

    Notes
    -----
    A steady sound has 0, a tremolo of amplitude ``1 + m sin`` has ``m / (1 + m)``, so one from silence to full 0.5;
    strokes of amplitude ``exp(-t / d)`` every T have ``1 - d / T (1 - exp(-T / d))``. Loud moments count for more. At
    the ends both are taken over what there is.
    """
    from scipy import ndimage  # slow to load

    mean = _local_mean(envelope, MEAN_S / cell_s)
    size = (2 * _half(MEAN_S / cell_s) + 1, *[1] * (envelope.ndim - 1))
    crest = ndimage.maximum_filter(envelope, size, mode="constant")
    return np.asarray(1.0 - mean.sum(axis=0) / np.maximum(crest.sum(axis=0), 1e-12))


def strikes(loudness: np.ndarray, rise: np.ndarray) -> np.ndarray:
    """Return the cells in which a layer strikes, from its loudness and `Heard.rise` in cells of CELL_S.

    A strike is where the bands rise most, if together they rise by at least a fifth of the largest loudness within half
    a second before or after: so a new note counts though it is no louder than the last.
    """
    from scipy import ndimage  # slow to load

    crest = ndimage.maximum_filter1d(loudness, 2 * round(0.5 * MEAN_S / CELL_S) + 1, mode="constant")
    floor = max(ACTIVE_SONE, _LEAST_CREST * float(np.percentile(loudness, 98.0)))
    most = ndimage.maximum_filter1d(rise, 2 * round(_APART_S / CELL_S) - 1, mode="constant")
    found = np.flatnonzero((rise >= STRIKE_RISE * crest) & (rise >= most) & (crest > floor))
    return found[np.diff(found, prepend=-2) > 1]  # of two equal ones beside each other the first


def word_of(amount: float, strikes_per_s: float) -> MotionWord:
    """Return the word for a modulation and the strikes in each second."""
    if amount < HELD and strikes_per_s < HELD_PER_S:
        return "sustains"
    pulses = amount >= (STRUCK_OFTEN if strikes_per_s >= OFTEN_PER_S else STRUCK)
    return "pulses" if pulses and strikes_per_s > 0.0 else "between"


def _played_s(sounding: np.ndarray) -> float:
    """Return for how long a layer plays: pauses of up to a second are part of it."""
    at = np.flatnonzero(sounding)
    gaps = np.diff(at)
    return float(len(at) + np.sum(gaps[gaps <= MEAN_S / CELL_S] - 1)) * CELL_S


def _ranges(bands: np.ndarray, amount: float, strikes_per_s: float) -> tuple[MotionRange, ...]:
    """Return what a layer does from low to high, where that is not the same everywhere; `bands`: (cells, BANDS)."""
    loudness = bands.astype(np.float64)
    parts = loudness.sum(axis=0)
    if len(loudness) < 2 or parts.sum() <= 0.0:
        return ()
    parts /= parts.sum()
    # Cells of bands are longer and blur what is fast: as much as they blur the layer as a whole.
    cell_s = CELL_S * BAND_CELLS
    blurred = float(modulation(loudness.sum(axis=1) ** 2, cell_s))
    sharper = amount / blurred if blurred > 0.0 else 1.0
    amounts = np.minimum(modulation(loudness**2, cell_s) * sharper, 1.0)
    # In which range it strikes is not known: one that hardly moves is held.
    words = [word_of(float(one), strikes_per_s if one >= HELD else 0.0) for one in amounts]
    edges = band_edges_hz()
    found = []
    kept = [k for k in range(len(parts)) if parts[k] >= _LEAST_BAND]
    for word, group in itertools.groupby(kept, key=words.__getitem__):
        run = list(group)
        part = float(parts[run].sum())
        mean = float(amounts[run] @ parts[run]) / part
        found.append(
            MotionRange(
                low_hz=round(edges[run[0]], 1),
                high_hz=round(edges[run[-1] + 1], 1),
                motion=word,
                modulation=round(mean, 3),
                part=round(part, 3),
            )
        )
    large = tuple(one for one in found if one.part >= _LEAST_RANGE)
    amounts_of = [one.modulation for one in large]
    apart = len({one.motion for one in large}) > 1 and max(amounts_of) - min(amounts_of) >= _LEAST_APART
    return large if apart else ()


def _local_mean(values: np.ndarray, cells: float) -> np.ndarray:
    """Return the mean over so many cells around each, at the ends over what there is."""
    half = _half(cells)
    sums = np.concatenate([np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)])
    at = np.arange(len(values))
    first, end = np.maximum(at - half, 0), np.minimum(at + half + 1, len(values))
    count = (end - first).reshape(-1, *[1] * (values.ndim - 1))
    return np.asarray((sums[end] - sums[first]) / count)


def _half(cells: float) -> int:
    """Return how many cells lie to either side of the middle one."""
    return max(1, round(0.5 * cells))
