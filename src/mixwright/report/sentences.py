# SPDX-License-Identifier: Apache-2.0
"""The sentences that text and page share."""

from __future__ import annotations

from collections.abc import Sequence

from mixwright.model.results import PlannedMove, Spread, StartResult, TrackIntake, TrackLevels
from mixwright.report.figures import count, number, position, with_unit

#: A layer this near to the edge of an interval still counts as inside: less than a step anyone hears.
EDGE_LU = 0.05


def sorted_intake(
    result: StartResult,
) -> tuple[tuple[TrackIntake, ...], tuple[TrackIntake, ...], tuple[TrackIntake, ...]]:
    """Return the tracks that are ready, that need a look, and that cannot be used."""
    unusable = tuple(t for t in result.tracks if any(fault.severity == "unusable" for fault in t.faults))
    look = tuple(t for t in result.tracks if t not in unusable and any(f.severity == "look" for f in t.faults))
    return tuple(t for t in result.tracks if t not in unusable and t not in look), look, unusable


def intake_counts(result: StartResult) -> str:
    """Return how many tracks are ready, need a look, cannot be used."""
    ready, look, unusable = sorted_intake(result)
    need = "needs" if len(look) == 1 else "need"
    return f"{len(ready)} ready, {len(look)} {need} a look, {len(unusable)} cannot be used."


def distance(value: float, spread: Spread) -> float:
    """Return how far a value lies outside an interval: negative below it, positive above, 0 inside."""
    if value < spread.low - EDGE_LU:
        return value - spread.low
    return value - spread.high if value > spread.high + EDGE_LU else 0.0


def outside(track: TrackLevels) -> str:
    """Return where a layer stands beside the interval of the engineers, in words."""
    if track.re_mix_lu is None:
        return "not heard"
    if track.spread is None:
        return ""
    off = distance(track.re_mix_lu, track.spread)
    if off == 0.0:
        return "inside"
    return f"{number(abs(off))} LU {'above' if off > 0 else 'below'}"


def spread_sentence(spread: Spread) -> str:
    """Return an interval and where it comes from as one sentence."""
    if spread.unit == "position":
        between = f"{position(spread.low)} and {position(spread.high)}"
    else:
        unit = "LU beside the mix" if spread.unit == "lu_re_mix" else "dB"
        between = f"{number(spread.low)} and {with_unit(spread.high, unit)}"
    return f"Engineers hold it between {between} ({spread.source})."


def total_cost(moves: Sequence[PlannedMove]) -> list[str]:
    """Return what several moves cost together: how many layers, the largest change, each cost once."""
    layers = {move.target for move in moves}
    gains = [move.settings["gain_db"] for move in moves if "gain_db" in move.settings]
    largest = f", the largest {with_unit(max(gains, key=abs), 'dB', sign=True)}" if gains else ""
    costs = list(dict.fromkeys(cost for move in moves for cost in move.costs))
    head = f"Together: {count(len(moves), 'move')} on {count(len(layers), 'layer')}{largest}."
    return [head, *(f"Costs: {cost}" for cost in costs)]
