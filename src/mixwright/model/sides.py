# SPDX-License-Identifier: Apache-2.0
"""The words of a name that tell one side of a pair from the other (common practice, no source)."""

from __future__ import annotations

import re
from typing import Literal

Side = Literal["l", "r"]

#: Words for a side, in lower case.
SIDES: dict[str, Side] = {"l": "l", "left": "l", "lft": "l", "lt": "l", "r": "r", "right": "r", "rgt": "r"}

_LONG = "|".join(word for word in SIDES if len(word) > 2)
_SHORT = "|".join(word for word in SIDES if len(word) <= 2)
#: A long word may be run together with the rest; a short one stands apart, or is a capital behind a small letter.
_AT_THE_END = re.compile(
    rf"^(?P<stem>.+?)[\s_.\-]*(?P<side>(?:{_LONG})|(?<=[\s_.\-])(?:{_SHORT})|(?<=[a-z0-9])(?:L|R))$"
)


def split_side(name: str) -> tuple[str, Side] | None:
    """Return a name in lower case without the side at its end, and the side; None where it names none."""
    name = name.strip()
    found = _AT_THE_END.match(name) or _AT_THE_END.match(name.lower())
    return (found["stem"].lower(), SIDES[found["side"].lower()]) if found else None
