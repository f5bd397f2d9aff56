# SPDX-License-Identifier: Apache-2.0
"""Clicks: frames that their neighbours on both sides do not foretell, as a cut without a cross-fade leaves them.

Two predictors leave what the sound cannot tell of itself: one fitted to each second (autocorrelation method, order 32),
for sound with a spectrum of its own, and the fixed fourth difference, which a click cannot bend towards itself. Both
must leave far more in one place than up to 60 ms to either side of it: so the teeth of a low saw wave are none. And the
sound must step there as nowhere within 4 ms: an attack goes on as it began, and the corner of a clipped top is the end
of a slope.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixwright.jobs.progress import Cancel

_ORDER = 32
#: Cells in which the largest residual is looked for; 2 ms is the longest click of common practice (no source).
_CELL_S = 0.002
#: Cells to either side that a click must stand out of; the two next to it hold its own ringing, and are those within
#: which its step is compared.
_NEAR, _FAR = 2, 30
#: By what factor it must stand out of them, by the geometric mean of both predictors, and its step of those beside it,
#: the frames next to it left out. Set by the pieces of benchmarks/checks.py: of cuts that are heard the least are 2.1
#: and 3.1, of music without, clipped or not, nothing has both above 2.0.
STANDS_OUT, STEPS = 2.1, 2.6
_BESIDE = 5
#: Residuals at its edges below this are taken as this: -66 and, of a fourth difference, -48 dBFS.
_SMALLEST = 10.0 ** (-66.0 / 20.0), 10.0 ** (-48.0 / 20.0)


@dataclass(frozen=True)
class Click:
    """A click: where, in which channel, and how far it stands out (above `STANDS_OUT`)."""

    frame: int
    channel: int
    stands_out: float


def clicks(audio: npt.NDArray[np.float32], rate_hz: int, cancel: Cancel | None = None) -> tuple[Click, ...]:
    """Return the clicks of audio ``(frames, channels)``, in order of time; it may be mapped, and is read by seconds."""
    cell = max(4, round(_CELL_S * rate_hz))
    around = (_FAR + 1) * cell
    found: list[Click] = []
    for start in range(0, len(audio), rate_hz):
        if cancel is not None:
            cancel.check()
        first, end = max(0, start - around - _ORDER), min(len(audio), start + rate_hz + around)
        block = np.asarray(audio[first:end], dtype=np.float64)
        for channel in range(block.shape[1]):
            sound = np.zeros(rate_hz + 2 * around + _ORDER)
            early = max(0, around + _ORDER - start)
            sound[early : early + len(block)] = block[:, channel]
            found += _of_second(sound, start, channel, cell)
    return tuple(sorted(found, key=lambda click: (click.frame, click.channel)))


def _of_second(sound: npt.NDArray[np.float64], start: int, channel: int, cell: int) -> list[Click]:
    """Return the clicks of one second, whose first frame follows `_FAR + 1` cells and the order of the predictor."""
    if not sound.any():
        return []
    residuals = [one[_ORDER:] for one in (_fitted(sound), _fixed(sound))]
    grids = [_in_cells(one, cell) for one in residuals]
    fitted, fixed = (_ratio(grid.max(axis=1), smallest) for grid, smallest in zip(grids, _SMALLEST, strict=True))
    stands_out = np.sqrt(fitted * fixed)
    chosen = np.flatnonzero(stands_out > STANDS_OUT)
    # Of two cells side by side the stronger holds it; those around the second belong to its neighbours.
    own = chosen[(chosen > _FAR) & (chosen < len(stands_out) - _FAR - 1)]
    found = []
    for k in own.tolist():
        place = k * cell + int(grids[1][k].argmax())
        if stands_out[k] >= stands_out[k - 1 : k + 2].max() and _steps(sound, _ORDER + place, _NEAR * cell):
            found.append(Click(start + place - (_FAR + 1) * cell, channel, float(stands_out[k])))
    return found


def _steps(sound: npt.NDArray[np.float64], frame: int, near: int) -> bool:
    """Return whether the sound steps there, far more than beside it; a sudden attack and a clipped top only bend."""
    steps = np.abs(np.diff(sound[frame - near - 1 : frame + near]))
    # The residual of the fourth difference is largest up to two frames behind the step.
    step = float(steps[near - 4 : near + 3].max())
    beside = max(float(steps[: near - _BESIDE - 1].max()), float(steps[near + _BESIDE + 1 :].max()))
    return step > STEPS * beside


def _in_cells(residual: npt.NDArray[np.float64], cell: int) -> npt.NDArray[np.float64]:
    cells = -(-len(residual) // cell)
    padded = np.zeros(cells * cell)
    padded[: len(residual)] = np.abs(residual)
    return padded.reshape(cells, cell)


def _ratio(top: npt.NDArray[np.float64], smallest: float) -> npt.NDArray[np.float64]:
    """Return the largest residual of each cell over the largest before and after it, its neighbours left out."""
    silence = np.zeros(_FAR)
    views = np.lib.stride_tricks.sliding_window_view(np.concatenate((silence, top, silence)), _FAR - _NEAR + 1)
    largest = views.max(axis=1)
    return np.asarray(top / np.maximum(np.maximum(largest[: len(top)], largest[_FAR + _NEAR :]), smallest))


def _fitted(sound: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    from scipy.linalg import solve_toeplitz  # slow to load

    power = np.array([np.dot(sound[k:], sound[: len(sound) - k]) for k in range(_ORDER + 1)])
    power[0] *= 1.0 + 1e-9
    weights = solve_toeplitz(power[:-1], power[1:])
    return np.asarray(np.convolve(sound, np.concatenate(([1.0], -weights)))[: len(sound)])


def _fixed(sound: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return np.convolve(sound, (1.0, -4.0, 6.0, -4.0, 1.0))[: len(sound)]
