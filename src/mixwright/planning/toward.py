# SPDX-License-Identifier: Apache-2.0
"""Low end and top end towards the references: kick and bass, or hats, cymbals and overheads, shifted jointly."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np

from mixwright.model.words import Role
from mixwright.planning.elements import Layer
from mixwright.planning.scene import Scene
from mixwright.planning.sound import Array, Mask
from mixwright.reference.corridor import Corridor, Interval
from mixwright.reference.spectrum import LOW_HZ, MIDDLE_HZ, TOP_HZ, in_range, shares

End = Literal["low", "top"]
_ENDS: tuple[End, ...] = ("low", "top")
_TOP_ROLES: frozenset[Role] = frozenset({"hats", "cymbals", "overheads"})
_NEAR_DB = 0.1
_SMALLEST_SHIFT_DB = 0.25
_FAR_DB = 60.0


def toward_references(
    scene: Scene,
    corridor: Corridor,
    judged: Mask,
    gains: Mapping[str, float],
    rooms: Mapping[str, tuple[float, float]],
) -> tuple[dict[str, float], dict[str, str], tuple[str, ...]]:
    """Shift the layers that carry an end of the spectrum until the mix enters the references' corridor.

    The leads that were moved keep their level against the rest.

    Parameters
    ----------
    scene, corridor, judged
        The song, what the references span, and the blocks in which the lead sings.
    gains : mapping of layer id to dB
        The balance so far.
    rooms : mapping of element id to (low, high)
        How far each element may be shifted in dB.

    Returns
    -------
    gains : dict
        The new balance.
    by_reference : dict
        Layer id to the sentence that moved it.
    notes : tuple of str
        Ends that level moves cannot bring in.
    """
    found = dict(gains)
    because: dict[str, str] = {}
    notes: list[str] = []
    for end in _ENDS:
        interval = corridor.low_end_db if end == "low" else corridor.top_end_db
        value = _share(scene, found, end)
        if interval is None or value is None or abs(interval.outside(value)) < _NEAR_DB:
            continue
        text = _sentence(end, value, interval)
        movers = {layer.id: element.id for element in scene.elements for layer in element.layers if _moves(layer, end)}
        if not movers:
            carriers = "kick or bass" if end == "low" else "hats, cymbals or overheads"
            notes.append(f"{text} No track of {carriers} by itself is free to shift that.")
            continue
        before = dict(found)
        for _ in range(3):  # a moved lead follows, which shifts the share a little
            shift = _shift_into(scene, found, tuple(movers), end, interval)
            shift += max((found.get(id_, 0.0) - before.get(id_, 0.0) for id_ in movers), default=0.0)
            for element in movers.values():
                shift = float(np.clip(shift, *rooms[element]))
            found.update({id_: before.get(id_, 0.0) + shift for id_ in movers})
            found = _leads_follow(scene, judged, before, found)
        value = _share(scene, found, end)
        if abs(shift) < _SMALLEST_SHIFT_DB or value is None:
            notes.append(f"{text} Level moves within what engineers do cannot mend that.")
            found = before
            continue
        because.update(dict.fromkeys(movers, text))
        if abs(interval.outside(value)) > 2.0 * _NEAR_DB:
            notes.append(f"{text} Level moves within what engineers do take it to {value:+.1f} dB.")
    return found, because, tuple(notes)


def _moves(layer: Layer, end: End) -> bool:
    if layer.bound:
        return False
    return layer.part in ("bass", "kick") if end == "low" else layer.role in _TOP_ROLES


def _power(scene: Scene, gains: Mapping[str, float]) -> dict[str, Array]:
    return {
        layer.id: scene.sounds[layer.id].bands * 10.0 ** (gains.get(layer.id, 0.0) / 10.0) for layer in scene.layers()
    }


def _share(scene: Scene, gains: Mapping[str, float], end: End) -> float | None:
    """Return the share of an end in the mix after gains: what the layers' sum predicts, as a change of the mix.

    Layers that are not uncorrelated make the mix differ from the sum of powers, so only the change is predicted.
    """
    which = 0 if end == "low" else 1
    now = shares(scene.hz, scene.mix.bands)[which]
    before = shares(scene.hz, np.sum(list(_power(scene, {}).values()), axis=0))[which]
    after = shares(scene.hz, np.sum(list(_power(scene, gains).values()), axis=0))[which]
    return None if now is None or before is None or after is None else now + after - before


def _shift_into(
    scene: Scene, gains: Mapping[str, float], movers: tuple[str, ...], end: End, interval: Interval
) -> float:
    """Return the common gain in dB that takes the share to the edge of the interval, as far as it can.

    Energies of layers add: with l and m what the movers hold in the end and in the middle, L and M what all others
    hold, the share reaches c where 10^(d/10) = (c M - L) / (l - c m).
    """
    value = _share(scene, gains, end)
    away = 0.0 if value is None else interval.outside(value)
    if value is None or away == 0.0 or not movers:
        return 0.0
    power = _power(scene, gains)
    in_end = in_range(scene.hz, LOW_HZ if end == "low" else TOP_HZ)
    in_middle = in_range(scene.hz, MIDDLE_HZ)
    own = np.sum([power[id_] for id_ in movers], axis=0)
    rest = np.sum(list(power.values()), axis=0) - own
    ratio = (own + rest)[in_end].sum() / (own + rest)[in_middle].sum() * 10.0 ** (-away / 10.0)
    top = ratio * rest[in_middle].sum() - rest[in_end].sum()
    bottom = own[in_end].sum() - ratio * own[in_middle].sum()
    if top <= 0.0 or bottom <= 0.0:  # out of reach: as far as the room allows, in the direction wanted
        return -_FAR_DB if away > 0.0 else _FAR_DB
    return float(10.0 * np.log10(top / bottom))


def _leads_follow(
    scene: Scene, judged: Mask, before: Mapping[str, float], after: Mapping[str, float]
) -> dict[str, float]:
    """Return the gains with every moved lead as far from the rest as it was before."""
    leads = [layer.id for element in scene.elements if element.pool == "lead" for layer in element.layers]
    rest = [layer.id for layer in scene.layers() if layer.id not in leads]
    change = [
        float(sum(scene.sounds[id_].blocks[judged].mean() * 10.0 ** (gains.get(id_, 0.0) / 10.0) for id_ in rest))
        for gains in (before, after)
    ]
    if min(change) <= 0.0:
        return dict(after)
    follow = 10.0 * float(np.log10(change[1] / change[0]))
    return {**after, **{id_: before[id_] + follow for id_ in leads if id_ in before}}


def _sentence(end: End, value: float, interval: Interval) -> str:
    what = "low end (20 to 160 Hz" if end == "low" else "top (5 to 16 kHz"
    many = "the reference spans" if interval.references == 1 else f"the {interval.references} references span"
    return (
        f"The {what} against 200 Hz to 4 kHz) would stand at {value:+.1f} dB; "
        f"{many} {interval.low:+.1f} to {interval.high:+.1f} dB."
    )
