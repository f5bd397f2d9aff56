# SPDX-License-Identifier: Apache-2.0
"""Tables of figures on the page."""

from __future__ import annotations

from collections.abc import Sequence

from mixwright.report.markup import Markup, element


def table_of(head: Sequence[str], body: Sequence[Sequence[str]]) -> Markup:
    """Return a table; the first cell of every row is its title."""
    titles = element("tr", [element("th", title, scope="col") for title in head])
    lines = [
        element("tr", element("th", row[0], scope="row"), [element("td", cell) for cell in row[1:]]) for row in body
    ]
    return element("table", element("thead", titles), element("tbody", lines))


def scrolled(table: Markup, label: str) -> Markup:
    """Return a table that scrolls by itself where it is too wide, by keyboard too."""
    return element("div", table, class_="scroll", tabindex="0", role="region", aria_label=label)
