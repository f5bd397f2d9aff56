# SPDX-License-Identifier: Apache-2.0
"""What a move does, and what several cost together, as sentences."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from mixwright.errors import listed
from mixwright.model.move_settings import settings_of
from mixwright.model.results import PlannedMove
from mixwright.model.song import Move
from mixwright.report.figures import count, hertz, number, position, with_unit

#: By how much a move lowers or raises something, of those that do.
_AMOUNTS = ("gain_db", "most_db", "depth_db")


def do_sentence(move: Move | PlannedMove, name: str, names: Mapping[str, str] | None = None) -> str:
    """Return what a person would do by hand, as one sentence.

    Parameters
    ----------
    move : Move or PlannedMove
    name : str
        what it aims at
    names : mapping, optional
        of keys and sends, by id
    """
    where = f" in {', '.join(move.sections)}" if move.sections else ""
    at = _settings_of(move)
    by_db = next((number(abs(at[key]) * move.strength) for key in _AMOUNTS if key in at), "")
    nothing = move.kind in ("level", "send", "shape", "tilt", "dip", "duck") and by_db == number(0.0)
    if move.strength == 0.0 or nothing:
        return f"Leave {name} as it is{where}."
    other = (names or {}).get(move.key or move.send, move.key or move.send)
    return f"{_do(move, at, name, other, by_db)}{where}."


def _do(move: Move | PlannedMove, at: Mapping[str, float], name: str, other: str, by_db: str) -> str:
    """Return what is done to a layer; `other`: the key or send, `by_db`: by how much at its strength."""
    up = at.get("gain_db", 0.0) > 0.0
    match move.kind:
        case "level":
            return f"{'Raise' if up else 'Lower'} {name} by {by_db} dB"
        case "pan":
            sides = [position(move.settings[key]) for key in ("pan", "left", "right") if key in move.settings]
            placed = f" from {' to '.join(sides)}" if len(sides) > 1 else f" {sides[0]}" if sides else ""
            return f"Place {name}{placed}"
        case "width":
            percent = round(100.0 * (1.0 + (at["width"] - 1.0) * move.strength))
            return f"{'Narrow' if at['width'] <= 1.0 else 'Widen'} {name} to {percent} % of its width"
        case "send":
            return f"Send {by_db} dB {'more' if up else 'less'} of {name} to {other}"
        case "dip":
            return f"Dip {name} by up to {by_db} dB at {hertz(at['hz'])}, Q {at['q']:g}, while {other} is heard there"
        case "duck":
            when = f"at each hit of {other}" if at["by_hits"] else f"while {other} is loud"
            within = f" {_range(at)}" if at["low_hz"] or at["high_hz"] else ""
            return f"Duck {name}{within} by {by_db} dB {when}"
        case _:
            return _shape(move, at, name, f"{by_db} dB", up)


def _shape(move: Move | PlannedMove, at: Mapping[str, float], name: str, by: str, up: bool) -> str:
    match move.kind:
        case "band_limit":
            return f"Keep of {name} what lies {_range(at)}"
        case "shape":
            return f"{'Boost' if up else 'Cut'} {name} by {by} at {hertz(at['hz'])}, Q {at['q']:g}"
        case "tilt":
            return f"Tilt {name} {'brighter' if up else 'darker'} by {by} around {hertz(at['hz'])}"
        case "even_out":
            return f"Even out {name}, {number(at['ratio'])} to 1 above {with_unit(at['threshold_db'], 'dB')}"
        case _:
            mixed = "" if at["mix"] == 1.0 else f", {round(100.0 * at['mix'])} % of it mixed in"
            part = f" from {hertz(at['low_hz'])} to {hertz(at['high_hz'])}" if "low_hz" in at else ""
            return f"Colour {name}{part} with {number(at['drive_db'])} dB of drive{mixed}"


def _settings_of(move: Move | PlannedMove) -> dict[str, float]:
    return settings_of(Move(id=move.id, kind=move.kind, target=move.target, settings=move.settings))


def _range(at: Mapping[str, float]) -> str:
    low_hz, high_hz = at.get("low_hz"), at.get("high_hz")
    if low_hz and high_hz:
        return f"between {hertz(low_hz)} and {hertz(high_hz)}"
    return f"above {hertz(low_hz)}" if low_hz else f"below {hertz(high_hz or 0.0)}"


def total_cost(moves: Sequence[PlannedMove]) -> list[str]:
    """Return what several moves cost together: which on how many layers, the largest change, each cost once."""
    layers = {move.target for move in moves}
    kinds = Counter(move.kind.replace("_", " ") for move in moves)
    amounts = [(abs(move.settings[key]) * move.strength, move, key) for move in moves for key in _AMOUNTS
               if key in move.settings]  # fmt: skip
    largest = ""
    if amounts:
        _, move, key = max(amounts, key=lambda one: one[0])
        gain_db = move.settings[key] * move.strength * (1.0 if key == "gain_db" else -1.0)
        largest = f", the largest {with_unit(gain_db, 'dB', sign=True)}"
    costs = list(dict.fromkeys(f"{move.target}: {cost}" for move in moves for cost in move.costs))
    sorts = f" ({listed([f'{many} {kind}' for kind, many in kinds.items()], 12)})" if len(kinds) > 1 else ""
    head = f"Together: {count(len(moves), 'move')}{sorts} on {count(len(layers), 'layer')}{largest}."
    return [head, *(["Costs:"] if costs else []), *(f"  {cost}" for cost in costs)]
