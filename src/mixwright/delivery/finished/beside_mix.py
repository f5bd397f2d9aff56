# SPDX-License-Identifier: Apache-2.0
"""How a finished file stands beside the mix that it belongs to: late, turned over, sides changed over, louder.

A part of a sum, multiplied with the sum and added up, gives its own energy: whatever else sounds is unrelated to it.
So the regression of the mix on the part is 1 for the middle and for the sides of a part as it is in the mix, -1 for
the middle where it is turned over, and -1 for the sides where they are changed over.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixwright.core.align import Look, lag_and_polarity
from mixwright.jobs.progress import Cancel
from mixwright.units import db_from_ratio

#: Offsets up to this are looked for.
SEARCH_S = 5.0
_NEAR_SEARCH_S = 0.1
_WINDOW_S = 4.0
#: Share of the mix's power that a file explains from which on it is the whole mix, and not a part.
WHOLE = 0.98
#: The least that a part explains of the mix before anything is said of it: -26 dB.
_TELLS = 0.0025
#: Regressions within this of -1 tell of a part that is turned over or has changed sides.
_AROUND = 0.5
_BLOCK_FRAMES = 1 << 17


@dataclass(frozen=True)
class BesideMix:
    """What a file is to the mix; a field is None where it cannot be told.

    `late_frames`: by how many frames it lies behind. `explains`: share of the power of the mix. `middle`, `sides`: the
    regression of the mix on the file (1: as it is in the mix).
    """

    late_frames: int | None
    explains: float
    middle: float | None
    sides: float | None

    @property
    def whole(self) -> bool:
        """Whether it is the mix itself, whatever its level."""
        return self.explains >= WHOLE

    @property
    def turned_over(self) -> bool:
        """Whether it moves against the mix."""
        return (
            self.middle is not None and abs(self.middle + 1.0) < _AROUND
            if not self.whole
            else bool(self.middle is not None and self.middle < 0.0)
        )

    @property
    def sides_changed_over(self) -> bool:
        """Whether left is right."""
        return (
            self.sides is not None and self.middle is not None and self.middle > 0.0 and abs(self.sides + 1.0) < _AROUND
        )

    @property
    def gain_db(self) -> float | None:
        """Level of the whole mix in the file, over its level in the mix."""
        return None if not self.whole or not self.middle else db_from_ratio(1.0 / abs(self.middle))


def beside_mix(
    mix: npt.NDArray[np.float32], file: npt.NDArray[np.float32], rate_hz: int, cancel: Cancel | None = None
) -> BesideMix:
    """Return how a file stands beside its mix, both ``(frames, channels)`` at one rate, mono or stereo."""
    look = (cancel or Cancel()).check
    late = 0
    sure = False
    for search_s in (_NEAR_SEARCH_S, SEARCH_S):
        found = lag_and_polarity(
            mix, file, rate_hz, search_s=search_s, window_s=max(_WINDOW_S, search_s * 1.5), look=look
        )
        if found is not None and found.sure and found.spread_frames <= 1.0:
            late, sure = round(found.lag_frames), True
            break
    regression = _regression(mix, file, late, look)
    return BesideMix(late if sure else None, *regression)


def _regression(
    mix: npt.NDArray[np.float32], file: npt.NDArray[np.float32], late: int, look: Look
) -> tuple[float, float | None, float | None]:
    mix, file = mix[max(0, -late) :], file[max(0, late) :]
    sums = np.zeros((2, 3))
    for start in range(0, min(len(mix), len(file)), _BLOCK_FRAMES):
        look()
        count = min(len(mix), len(file)) - start
        whole, part = (_middle_and_sides(one[start : start + min(_BLOCK_FRAMES, count)]) for one in (mix, file))
        for k in range(2):
            sums[k] += np.sum(whole[k] * part[k]), np.sum(part[k] * part[k]), np.sum(whole[k] * whole[k])
    (mp, pp, mm), (sp, qq, ss) = sums.tolist()
    total = mm + ss
    if total <= 0.0 or pp + qq <= 0.0:
        return 0.0, None, None
    explains = sum(x * x / y for x, y in ((mp, pp), (sp, qq)) if y > 0.0) / total
    middle = mp / pp if pp * 1000.0 > qq and mp * mp / pp > _TELLS * total else None
    # A share of the sides that could be chance says nothing.
    sides = sp / qq if qq * 1000.0 > pp and sp * sp > 0.01 * qq * ss else None
    return explains, middle, sides


def _middle_and_sides(block: npt.NDArray[np.float32]) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    audio = block.astype(np.float64)
    if audio.shape[1] == 1:
        return audio[:, 0], np.zeros(len(audio))
    return (audio[:, 0] + audio[:, 1]) / 2.0, (audio[:, 0] - audio[:, 1]) / 2.0
