# SPDX-License-Identifier: Apache-2.0
"""Ids: slugs of names, unique in their song."""

from __future__ import annotations

import re
import unicodedata

_LONGEST = 60
#: Letters that decomposition does not turn into ASCII.
_SPELLED = str.maketrans({"ß": "ss", "æ": "ae", "œ": "oe", "ø": "o", "đ": "d", "ð": "d", "þ": "th", "ł": "l"})


def slug(name: str) -> str:
    """Return a name as lower-case letters, digits and single hyphens, at most 60; empty if nothing is left."""
    plain = unicodedata.normalize("NFKD", name.lower().translate(_SPELLED))
    return re.sub(r"[^a-z0-9]+", "-", plain.encode("ascii", "ignore").decode()).strip("-")[:_LONGEST].rstrip("-")


class Ids:
    """Hands out ids, each only once.

    Parameters
    ----------
    taken : set of str
        Ids that are in use already.
    """

    def __init__(self, taken: set[str]) -> None:
        self._taken = set(taken)

    def new(self, wanted: str, otherwise: str = "") -> str:
        """Return `wanted` if it is free, else `otherwise`, else the first free with a number."""
        for candidate in (wanted, otherwise):
            if candidate and candidate not in self._taken:
                self._taken.add(candidate)
                return candidate
        number = 2
        while f"{wanted}-{number}" in self._taken:
            number += 1
        self._taken.add(f"{wanted}-{number}")
        return f"{wanted}-{number}"
