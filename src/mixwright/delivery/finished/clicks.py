# SPDX-License-Identifier: Apache-2.0
"""Clicks: frames that their neighbours on both sides do not foretell, as a cut without a cross-fade leaves them.

Two predictors leave what the sound cannot tell of itself: one fitted to each second (autocorrelation method, order 32),
for sound with a spectrum of its own, and the fixed fourth difference, which a click cannot bend towards itself. An
attack leaves much of both, and goes on doing so; a cut leaves one frame. The residual of a click therefore stands
above all that lies up to 60 ms to either side of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixwright.jobs.progress import Cancel

_ORDER = 32
#: Cells in which the largest residual is looked for; 2 ms is the longest click of common practice (no source).
_CELL_S = 0.002
#: Cells to either side that a click must stand out of; the two next to it hold its own ringing.
_NEAR, _FAR = 2, 30
#: By what factor it must stand out of them: by the one predictor, the other, or both (their geometric mean). Set by
#: benchmarks/checks.py: the beater of a kick drum reaches 4.4 in both.
FITTED, FIXED, BOTH = 5.0, 5.5, 4.6
#: Where the step itself is so many times any other around it, the factors may be lower by this.
PLAIN_STEP, EASED = 2.5, 1.125
#: Residuals at its edges below this are taken as this: -66 and, of a fourth difference, -48 dBFS.
_SMALLEST = 10.0 ** (-66.0 / 20.0), 10.0 ** (-48.0 / 20.0)


@dataclass(frozen=True)
class Click:
    """A click: where, in which channel, and how far it stands out (1 and more)."""

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
    stands_out = np.maximum(np.maximum(fitted / FITTED, fixed / FIXED), np.sqrt(fitted * fixed) / BOTH)
    steps = _ratio(_in_cells(np.diff(sound, prepend=0.0)[_ORDER:], cell).max(axis=1), _SMALLEST[0])
    stands_out[steps > PLAIN_STEP] *= EASED
    chosen = np.flatnonzero(stands_out > 1.0)
    # Of two cells side by side the stronger holds it; those around the second belong to its neighbours.
    own = chosen[(chosen > _FAR) & (chosen < len(fitted) - _FAR - 1)]
    found = []
    for k in own.tolist():
        place = k * cell + int(grids[1][k].argmax())
        if stands_out[k] >= stands_out[k - 1 : k + 2].max() and _steps(sound, _ORDER + place, cell // 2):
            found.append(Click(start + place - (_FAR + 1) * cell, channel, float(stands_out[k])))
    return found


def _steps(sound: npt.NDArray[np.float64], frame: int, near: int) -> bool:
    """Return whether the sound steps there, more than anywhere within a millisecond; a sudden attack only bends."""
    steps = np.abs(np.diff(sound[frame - near - 3 : frame + near + 3]))
    # The residual of the fourth difference is largest up to two frames behind the step.
    at = slice(near - 1, near + 4)
    return float(steps[at].max()) > max(float(steps[: at.start].max()), float(steps[at.stop :].max()))


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
