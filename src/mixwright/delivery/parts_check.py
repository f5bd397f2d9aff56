# SPDX-License-Identifier: Apache-2.0
"""Whether finished files add up to a mix, and which of them is off."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixwright.delivery.check_lines import line
from mixwright.delivery.finished.parts import ADDS_UP_DB, SumOfParts, sum_of_parts
from mixwright.errors import listed, printable
from mixwright.jobs.progress import Cancel
from mixwright.model.results import CheckLine


@dataclass(frozen=True, eq=False)
class Part:
    """A finished file by its name, with its sound (frames, channels), which may be mapped, at its own rate."""

    name: str
    rate_hz: int
    audio: npt.NDArray[np.float32]


def parts_check(mix: Part, parts: Sequence[Part], cancel: Cancel | None = None) -> tuple[CheckLine, SumOfParts | None]:
    """Return whether parts add up to a mix, with which part is off and how where that is known."""
    name = "parts add up to the mix"
    wrong = [one.name for one in parts if one.rate_hz != mix.rate_hz or one.audio.shape[1] != mix.audio.shape[1]]
    if wrong:
        return line(name, False, f"{listed(wrong)}: another rate or other channels than the mix"), None
    found = sum_of_parts(mix.audio, [one.audio for one in parts], mix.rate_hz, cancel)
    if found.residual_db is None:
        return line(name, True, "exactly"), found
    told = f"what is left lies {-found.residual_db:.0f} dB below the mix"
    if found.adds_up:
        return line(name, True, told), found
    off = "; ".join(f"{printable(parts[one.part].name)} is {one.words}" for one in found.off)
    unknown = "a part is missing, too many, or mixed otherwise"
    return line(name, False, f"{told}, wanted are {-ADDS_UP_DB:.0f}; {off or unknown}"), found
