# SPDX-License-Identifier: Apache-2.0
"""Layers as they are heard: loudness alone as a mark, what the mix leaves as an interval, who takes most beside it."""

from __future__ import annotations

from mixwright.model.hearing import HeardLayer, HeardSection, HearingResult, Range
from mixwright.report.figures import number, with_unit
from mixwright.report.heard import (
    FADER_EQUIVALENT,
    by_equivalent,
    circumstances,
    heard_notes,
    heard_sentence,
    inaudible,
    layer_names,
    left_words,
    place_word,
    range_words,
    takers_words,
)
from mixwright.report.markup import Markup, element, together
from mixwright.report.strips import Scale, Strip, axis, grid, interval, mark, span, strip_row
from mixwright.report.tables import scrolled, table_of

_STEP_PHON = 10.0


def heard_part(hearing: HearingResult) -> Markup:
    """Return the part of the page that tells how layers are heard."""
    note = (
        "A dot is how loud a layer is alone, while it sounds; the bar, what the mix leaves of it, from the strict to "
        f"the cued reading of the ear. The figure tells {FADER_EQUIVALENT}, cued; beside it, who takes most of the "
        "rest. To be covered may be meant: it is a difference, not a fault. The order of layers is more certain than "
        "the figures; what wide layers lose is overstated."
    )
    return together(
        element("p", f"Heard {circumstances(hearing)}. {heard_sentence(hearing)}"),
        heard_rows(hearing),
        element("p", note, class_="note"),
        *(element("p", told, class_="note") for told in heard_notes(hearing)),
        element("details", element("summary", "The same in figures"), scrolled(_table(hearing), "Layers")),
    )


def heard_rows(hearing: HearingResult) -> Markup:
    """Return the rows, those that would have to rise most first."""
    scale = phon_scale(hearing)
    names = layer_names(hearing)
    rows = [_row(layer, scale, names) for layer in by_equivalent(hearing)]
    labels = [number(tick, 0) for tick in scale.ticks]
    foot = element("div", element("span", "phon", class_="unit"), axis(scale, labels), class_="row level axis")
    return element("div", element("ul", rows, class_="rows"), foot, class_="chart heard")


def phon_scale(hearing: HearingResult) -> Scale:
    """Return the scale on which all layers fit."""
    known = [layer for layer in hearing.layers if layer.alone_phon is not None]
    low = min((_low(layer) for layer in known), default=20.0)
    high = max((layer.alone_phon or 0.0 for layer in known), default=80.0) + 3.0
    return Scale(max(0.0, min(low - 3.0, high - 2.0 * _STEP_PHON)), high, _STEP_PHON)


def _low(layer: HeardLayer) -> float:
    return min(found for found in (layer.alone_phon, *_ends(layer.in_mix_phon)) if found is not None)


def _ends(found: Range | None) -> tuple[float | None, float | None]:
    return (None, None) if found is None else (found.strict, found.cued)


def _row(layer: HeardLayer, scale: Scale, names: dict[str, str]) -> Markup:
    shapes: list[Markup] = [*grid(scale)]
    strict, cued = _ends(layer.in_mix_phon)
    if strict is not None and cued is not None and layer.alone_phon is not None:
        shapes += [span(scale, cued, layer.alone_phon)]
        shapes += [] if inaudible(layer) else interval(scale, strict, cued)
    if layer.alone_phon is not None:
        shapes.append(mark(scale.across(layer.alone_phon), 11, "inside"))
    equivalent = with_unit(layer.fader_equivalent_db.cued if layer.fader_equivalent_db else None, "dB")
    row = Strip(layer.name, shapes, place_word(layer), equivalent)
    if layer.share is None:
        return strip_row(row._replace(words="", more=layer.why), "level")
    taken = takers_words(layer.taken_by[:1], names, layer.correlated)
    told = f"{number(layer.alone_phon, 0)} alone, {left_words(layer)}"
    return strip_row(row._replace(words=told, more=f"; {taken}" if taken else ""), "level")


def _table(hearing: HearingResult) -> Markup:
    names = layer_names(hearing)
    head = ("layer", "to rise, cued", "strict", "alone", "in the mix", "share heard", "most of the loss to")
    body = []
    for layer in by_equivalent(hearing):
        rise = layer.fader_equivalent_db or Range(cued=None, strict=None)
        alone = "-" if layer.alone_phon is None else f"{number(layer.alone_phon)} phon, {number(layer.alone_sone)} sone"
        taken = takers_words(layer.taken_by, names, layer.correlated) or layer.why
        figures = with_unit(rise.cued, "dB"), with_unit(rise.strict, "dB"), alone, left_words(layer)
        body.append((layer.name, *figures, _share(layer), taken))
    return table_of(head, body)


def share_by_section(hearing: HearingResult) -> Markup | None:
    """Return the share of every layer in every section as a table, folded away; None for a song without sections."""
    known = [layer for layer in hearing.layers if layer.sections]
    if not known:
        return None
    head = ("share heard", *(part.name for part in known[0].sections))
    body = [(layer.name, *map(_share, layer.sections)) for layer in known]
    summary = element("summary", "Section by section")
    return element("details", summary, scrolled(table_of(head, body), "Sections"))


def _share(found: HeardLayer | HeardSection) -> str:
    share = found.share
    if share is None or share.cued is None or share.strict is None:
        return "-"
    return range_words(Range(cued=100.0 * share.cued, strict=100.0 * share.strict), "%")
