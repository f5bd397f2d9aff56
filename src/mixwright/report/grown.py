# SPDX-License-Identifier: Apache-2.0
"""What was buried deeper since the last measure, in sentences; what is missed most first."""

from __future__ import annotations

from collections.abc import Sequence

from mixwright.model.hearing import HearingResult
from mixwright.model.ledger import Growth
from mixwright.report.figures import count, number, with_unit
from mixwright.report.findings import finding_place
from mixwright.report.heard import layer_names, takers_words
from mixwright.report.markup import Markup, element, together

#: So many are told; all of them are in JSON.
MOST_GROWN = 5


def grown_sentence(hearing: HearingResult) -> str:
    """Return how many places are buried deeper than they were."""
    places = count(len(hearing.grew), "place is", "places are")
    return f"Since the last measure {places} buried deeper, what is missed most first."


def growth_sentence(one: Growth, names: dict[str, str]) -> str:
    """Return what is buried deeper in words: its place first."""
    return f"{finding_place(one, names)}: {_size(one, names)}"


def grown_part(hearing: HearingResult) -> Markup | None:
    """Return the part of the page; None where nothing grew."""
    if not hearing.grew:
        return None
    names = layer_names(hearing)
    first, rest = hearing.grew[:MOST_GROWN], hearing.grew[MOST_GROWN:]
    more = element("summary", count(len(rest), "more place", "more places"))
    return together(
        element("p", grown_sentence(hearing)),
        _list(first, names, 1),
        element("details", more, _list(rest, names, MOST_GROWN + 1)) if rest else None,
    )


def _list(grew: Sequence[Growth], names: dict[str, str], start: int) -> Markup:
    items = [element("li", element("b", finding_place(one, names)), f": {_size(one, names)}") for one in grew]
    return element("ol", items, class_="worst", start=start)


def _size(one: Growth, names: dict[str, str]) -> str:
    """Return how much is left, which fader would make up for it, and who took it."""
    strict = "beyond any fader, strict" if one.size_db.strict is None else f"{number(one.size_db.strict)} strict"
    makes_up = (
        "no fader makes up for it"
        if one.size_db.cued is None
        else f"{with_unit(one.size_db.cued, 'dB')} of fader ({strict}) would make up for it"
    )
    left = f"{100 * one.share:.0f} % of it is left there, {100 * one.share_before:.0f} % was"
    taken = takers_words(one.caused_by, names)
    return f"{left}; {makes_up}." + (f" Taken by {taken}." if taken else "")
