# SPDX-License-Identifier: Apache-2.0
"""What a received file may be at most, and how a person raises it.

The decoding child imports this module: it needs the standard library alone.
"""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

#: The lowest sample rate that is read: nothing that is mixed comes lower.
LOWEST_RATE_HZ = 8000
_GIB = 1 << 30


@dataclass(frozen=True)
class Limits:
    """The largest file, most channels, highest sample rate and longest duration that are read.

    Each is set by an environment variable (:data:`VARIABLES`), because it belongs to the machine, not to a song.
    """

    file_gib: float = 16.0
    channels: int = 64
    rate_hz: int = 384_000
    hours: float = 24.0

    def over_size(self, size_bytes: int) -> Excess | None:
        """Return what is said of a file that is too large; None if it is not."""
        if size_bytes <= self.file_gib * _GIB:
            return None
        return Excess(f"is {size_bytes / _GIB:.1f} GiB large, more than the limit of {self.file_gib:g} GiB", "file_gib")

    def over(self, channels: int, rate_hz: int, frames: int) -> Excess | None:
        """Return what is said of audio that is out of the limits; None if it is not."""
        if not 1 <= channels <= self.channels:
            return Excess(f"has {channels} channels, the limit is {self.channels}", "channels")
        if rate_hz < LOWEST_RATE_HZ:
            return Excess(f"has a sample rate of {rate_hz} Hz, less than {LOWEST_RATE_HZ} Hz", "")
        if rate_hz > self.rate_hz:
            return Excess(f"has a sample rate of {rate_hz} Hz, the limit is {self.rate_hz} Hz", "rate_hz")
        if frames > self.hours * 3600 * rate_hz:
            return Excess(f"lasts {frames / rate_hz / 3600:.1f} hours, the limit is {self.hours:g} hours", "hours")
        return None


@dataclass(frozen=True)
class Excess:
    """What is out of the limits, in words, and which limit it is."""

    message: str
    limit: str

    @property
    def hint(self) -> str:
        """How to mend it."""
        if not self.limit:
            return "export it at the rate of the session"
        return f"if it is meant to be so, raise {VARIABLES[self.limit].name} in the environment"


@dataclass(frozen=True)
class Variable:
    """An environment variable that sets a limit, the highest value it may have, and an example."""

    name: str
    highest: float
    example: str


VARIABLES: Mapping[str, Variable] = {
    "file_gib": Variable("MIXWRIGHT_MAX_FILE_GIB", 1e6, "GiB, such as 16"),
    "channels": Variable("MIXWRIGHT_MAX_CHANNELS", 1024, "a number of channels, such as 64"),
    "rate_hz": Variable("MIXWRIGHT_MAX_RATE_HZ", 1_536_000, "Hz, such as 384000"),
    "hours": Variable("MIXWRIGHT_MAX_HOURS", 1000, "hours, such as 24"),
}


class NoLimit(ValueError):
    """A variable that does not hold a limit: `variable`, and what it holds."""

    def __init__(self, variable: Variable, given: str) -> None:
        super().__init__(given)
        self.variable = variable


def limits_from(environment: Mapping[str, str] = os.environ) -> Limits:
    """Return the limits as the environment sets them.

    Raises
    ------
    NoLimit
        when a variable holds no number, or one that is out of reason
    """
    chosen: dict[str, Any] = {}
    for field in fields(Limits):
        variable = VARIABLES[field.name]
        given = environment.get(variable.name, "").strip()
        if not given:
            continue
        kind = int if isinstance(field.default, int) else float
        try:
            value = kind(given)
        except ValueError:
            value = math.nan
        if not 0 < value <= variable.highest:
            raise NoLimit(variable, given)
        chosen[field.name] = value
    return Limits(**chosen)
