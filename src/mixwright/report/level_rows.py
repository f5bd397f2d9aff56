# SPDX-License-Identifier: Apache-2.0
"""Loudness of each layer beside the mix, as a dot on the interval that engineers hold."""

from __future__ import annotations

from mixwright.model.results import MeasureResult, TrackLevels
from mixwright.report.figures import count, number, with_unit
from mixwright.report.markup import Markup, element
from mixwright.report.sentences import distance, outside
from mixwright.report.strips import Scale, axis, grid, interval, mark, picture

_LOWEST_LU, _HIGHEST_LU, _STEP_LU = -60.0, 6.0, 10.0


def level_rows(measure: MeasureResult) -> Markup:
    """Return the rows, the loudest first, with a switch that shows only those outside their interval."""
    scale = level_scale(measure)
    ordered = sorted(measure.tracks, key=lambda t: -1e9 if t.re_mix_lu is None else t.re_mix_lu, reverse=True)
    rows = [_row(track, scale) for track in ordered]
    labels = [number(tick, 0) for tick in scale.ticks]
    labels[-1] += " LU"
    foot = element("div", element("span"), axis(scale, labels), class_="row level axis")
    switch = element(
        "label", element("input", type="checkbox", id="only-outside"), " only layers outside their interval"
    )
    known = any(t.spread for t in measure.tracks)
    return element("div", switch if known else None, element("ul", rows, class_="rows"), foot, class_="chart levels")


def levels_sentence(measure: MeasureResult) -> str:
    """Return how many layers stand outside their interval, and which one the furthest."""
    known = [t for t in measure.tracks if t.re_mix_lu is not None and t.spread is not None]
    if not known:
        return "Where engineers hold these layers is known once the lead is confirmed by a plan: then measure again."
    off = {t.name: outside(t) for t in sorted(known, key=_off, reverse=True) if _off(t) > 0}
    if not off:
        return f"All {len(known)} layers with a known interval stand inside it: nothing asks for a change of level."
    name, far = next(iter(off.items()))
    stands = "stands" if len(off) == 1 else "stand"
    return f"{count(len(off), 'layer')} of {len(known)} {stands} outside the interval; the furthest is {name}, {far}."


def level_scale(measure: MeasureResult) -> Scale:
    """Return the scale on which all layers and their intervals fit."""
    values = [t.re_mix_lu for t in measure.tracks if t.re_mix_lu is not None]
    values += [edge for t in measure.tracks if t.spread for edge in (t.spread.low, t.spread.high)]
    low = min([*values, -20.0]) - 1.0
    high = max([*values, 0.0]) + 0.5
    return Scale(max(low, _LOWEST_LU), min(high, _HIGHEST_LU), _STEP_LU)


def _off(track: TrackLevels) -> float:
    if track.re_mix_lu is None or track.spread is None:
        return 0.0
    return abs(distance(track.re_mix_lu, track.spread))


def _row(track: TrackLevels, scale: Scale) -> Markup:
    off = _off(track) > 0
    shapes: list[Markup] = [*grid(scale)]
    if track.spread is not None:
        shapes += interval(scale, track.spread.low, track.spread.high)
    if track.re_mix_lu is not None:
        shapes.append(mark(scale.across(track.re_mix_lu), 11, "outside" if off else "inside"))
    held = None
    if track.spread is not None:
        held = f" (held {number(track.spread.low)} to {number(track.spread.high)})"
    told = element("b", outside(track)) if off else outside(track) or element("small", "no interval known")
    words = element("span", told, element("small", held) if held else None)
    name = element("span", track.name, " ", element("small", track.role), class_="name", title=track.name)
    value = element("span", with_unit(track.re_mix_lu, "LU"), class_="figure")
    return element("li", name, value, picture(shapes), words, class_="row level" + (" off" if off else ""))
