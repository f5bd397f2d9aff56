# SPDX-License-Identifier: Apache-2.0
"""A mix beside its references as rows of one dot on one interval, all on one scale: halves of the interval's width."""

from __future__ import annotations

from collections.abc import Sequence

from mixwright.model.comparison import ComparedRow, CompareResult
from mixwright.reference.stretches import stretch_of
from mixwright.report.compared import (
    FIGURE_WORDS,
    amount,
    attribute_sentences,
    band_words_of,
    lead_sentence,
    outside_words,
    reference_sentence,
    span_words,
)
from mixwright.report.figures import clock, count
from mixwright.report.markup import Markup, element, together
from mixwright.report.strips import Scale, Strip, axis, grid, interval, mark, strip_row

#: The interval reaches from -1 to 1; what lies further than 3 stops at the edge.
SCALE = Scale(-3.0, 3.0, 1.0)
LABELS = ("far below", "", "below", "", "above", "", "far above")
NOTE = (
    "Everything at equal loudness. A bar is what the references span; a dot is the mix, a diamond where it stands "
    "outside. All bars are drawn equally wide, so that rows can be compared; figures are beside them. A difference "
    "may be meant."
)


def row_strips(rows: Sequence[ComparedRow], *, by_section: bool = False) -> list[Strip]:
    """Return a strip for each row, named by its figure or band, or by its section."""
    return [_strip(row, row.section if by_section else _name(row)) for row in rows]


def beside_references(result: CompareResult | None) -> Markup | None:
    """Return the part of the page that stands the mix beside its references; None where nothing was compared."""
    if result is None:
        return None
    whole = [row for row in result.rows if not row.section]
    singles = [row for row in whole if row.low_hz is None]
    bands = [row for row in whole if row.low_hz is not None]
    sentences = attribute_sentences(result)
    used = [element("li", f"{reference_sentence(one)}.") for one in result.references]
    files = [
        element("li", element("a", f"{one.section}, {one.band}: {one.of}", href=one.file),
                f" from {clock(one.start_s)}") for one in result.excerpts
    ]  # fmt: skip
    return together(
        element("p", lead_sentence(result)),
        element("ul", [element("li", sentence) for sentence in sentences]) if sentences else None,
        _chart(row_strips(singles)),
        element("p", " ".join((NOTE, *result.notes)), class_="note"),
        _folded(f"By band ({_outside(bands)})", [(title, row_strips(group)) for title, group in _by_figure(bands)]),
        _folded(f"By section ({_outside([row for row in result.rows if row.section])})", _sections(result)),
        element("details", element("summary", f"References ({len(used)})"), element("ul", used)),
        element("details", element("summary", f"To listen to, start low ({len(files)})"), element("ul", files))
        if files
        else None,
    )


def section_groups(result: CompareResult) -> list[tuple[str, list[Strip]]]:
    """Return small multiples: for each single figure, a row of every section."""
    rows = [row for row in result.rows if row.section and row.low_hz is None]
    return [(title, row_strips(group, by_section=True)) for title, group in _by_figure(rows)]


def band_groups(rows: Sequence[ComparedRow]) -> list[tuple[str, list[Strip]]]:
    """Return for each figure by band a row of every band that lies outside."""
    banded = [row for row in rows if row.low_hz is not None and row.outside]
    return [(f"{title}, outside alone", row_strips(group)) for title, group in _by_figure(banded)]


def _sections(result: CompareResult) -> list[tuple[str, list[Strip]]]:
    return [*section_groups(result), *band_groups([row for row in result.rows if row.section])]


def _by_figure(rows: Sequence[ComparedRow]) -> list[tuple[str, list[ComparedRow]]]:
    found: dict[str, list[ComparedRow]] = {}
    for row in rows:
        found.setdefault(row.figure, []).append(row)
    return [(FIGURE_WORDS[figure][0], group) for figure, group in found.items()]


def _folded(title: str, groups: Sequence[tuple[str, list[Strip]]]) -> Markup | None:
    if not groups:
        return None
    parts = [together(element("h3", name), _chart(strips)) for name, strips in groups]
    return element("details", element("summary", title), parts)


def _chart(strips: Sequence[Strip]) -> Markup | None:
    if not strips:
        return None
    foot = element("div", element("span"), axis(SCALE, LABELS), class_="row level axis")
    return element(
        "div", element("ul", [strip_row(one, "level") for one in strips], class_="rows"), foot, class_="chart heard"
    )


def _outside(rows: Sequence[ComparedRow]) -> str:
    return f"{count(sum(row.outside != 0.0 for row in rows), 'figure')} of {len(rows)} outside"


def _name(row: ComparedRow) -> str:
    band = band_words_of(stretch_of(row))
    return ", ".join(filter(None, (band or FIGURE_WORDS[row.figure][0], row.section)))


def _strip(row: ComparedRow, name: str) -> Strip:
    half = max(0.5 * (row.high - row.low), 1e-9)
    at = (row.value - 0.5 * (row.low + row.high)) / half
    shapes = [
        *grid(SCALE),
        *interval(SCALE, -1.0, 1.0),
        mark(SCALE.across(at), 11, "outside" if row.outside else "inside"),
    ]
    return Strip(
        name=name,
        shapes=shapes,
        figure=amount(row, row.value),
        words=outside_words(row) or "inside",
        more=f" ({span_words(row)})",
        off=bool(row.outside),
    )
