# SPDX-License-Identifier: Apache-2.0
"""A static balance: the gain of every layer, from the references, the published levels, and what was received."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from mixwright.planning.elements import Element, Layer
from mixwright.planning.scene import Scene
from mixwright.planning.settle import LARGEST_TRIM_DB, Array, Wanted, level_of_sum, settle
from mixwright.planning.sound import Mask, Sound, together
from mixwright.planning.table import DE_MAN, DOUBLE_BELOW_LEAD, EFFECTS, PRACTICE, SHI
from mixwright.planning.targets import element_sound, inside, spread_of, wanted
from mixwright.planning.toward import toward_references
from mixwright.reference.corridor import Corridor

#: An element that stays behind its gain by less than this got it.
_HELD_DB = 0.1
_NOTHING = 1e-30


@dataclass(frozen=True, eq=False)
class Balance:
    """The proposal as numbers.

    Attributes
    ----------
    gains : dict
        Layer id to gain in dB; layers left alone are missing.
    capped : dict
        Layer id to the gain it would have needed beyond the limit of a trim.
    elements, layers : dict
        Interval (low, high) of every element by id, and of every layer inside one that has proportions; LU re the
        mix while the lead sings.
    by_reference : dict
        Layer id to the sentence of the references that moved it.
    notes : tuple of str
        What level moves cannot mend.
    """

    gains: dict[str, float]
    capped: dict[str, float]
    elements: dict[str, tuple[float, float]]
    layers: dict[str, tuple[float, float]]
    by_reference: dict[str, str]
    notes: tuple[str, ...]


def balance(scene: Scene, corridor: Corridor) -> Balance:
    """Return the gain of every layer at full strength.

    First the layers inside an element, then all elements at once, then low and top end towards the references,
    then the lead once more, so that it has its share of what the others settled at.

    Parameters
    ----------
    scene : Scene
        Without silent layers (:func:`audible`), with at least one lead.
    corridor : Corridor
        What the references span; an empty one when there are none.
    """
    judged = scene.judged()
    proportions = {element.id: inside(element, scene.sounds) for element in scene.elements}
    inner = {id_: gain for found in proportions.values() for id_, gain in found.gains.items()}
    heard = [element_sound(element, scene.sounds, inner) for element in scene.elements]
    want = wanted(scene.elements, heard, judged)
    gains, by_layer = _settled(scene, want, inner, judged)
    room = [(2.0 * want.spread * sign - _place(want, gains)) for sign in (-1.0, 1.0)]
    rooms = {e.id: (float(low), float(high)) for e, low, high in zip(scene.elements, *room, strict=True)}
    by_layer, by_reference, notes = toward_references(scene, corridor, judged, by_layer, rooms)
    fields = list(zip(scene.elements, want.centre, want.spread, strict=True))
    capped = {id_: gain for id_, gain in by_layer.items() if abs(gain) > LARGEST_TRIM_DB}
    return Balance(
        gains={id_: gain for id_, gain in _limited(by_layer).items() if abs(gain) >= 0.05},
        capped=capped,
        elements={e.id: (float(c - s), float(c + s)) for e, c, s in fields},
        layers={
            layer: (float(c) + centre - spread, float(c) + centre + spread)
            for e, c, _ in fields
            for layer, (centre, spread) in proportions[e.id].places.items()
        },
        by_reference=by_reference,
        notes=notes,
    )


def _place(want: Wanted, gains: Array) -> Array:
    return np.asarray(want.loudness + gains - level_of_sum(want.energy, gains) - want.centre)


def source_of_interval(element: Element, layer: Layer) -> str:
    """Return where the interval of a layer comes from."""
    if layer.part == "double":
        return f"doubles {abs(DOUBLE_BELOW_LEAD.mean_lu):g} LU below what they double: {PRACTICE}; upper end {SHI}"
    if element.pool == "other" and layer.role in EFFECTS:
        return f"as for other layers ({DE_MAN}, {SHI}); its width for effects: {PRACTICE}"
    if element.pool == "other":
        return f"what the table of {DE_MAN} leaves beside lead, bass and drums, shared by the tiers of {SHI}"
    return DE_MAN


def _settled(scene: Scene, want: Wanted, inner: Mapping[str, float], judged: Mask) -> tuple[Array, dict[str, float]]:
    """Return what every element gains, and every layer's gain without the limit of a trim.

    An element that bound layers or that limit hold back goes as far as it comes, and the others settle around it; not
    around a lead, whose file is at fault then.
    """
    held = np.zeros(len(scene.elements), dtype=bool)
    reached = np.zeros(len(scene.elements))
    settled: dict[str, float] = {}
    while True:
        power = 10.0 ** (reached / 10.0)
        there = replace(want, loudness=want.loudness + reached, energy=want.energy * power, free=want.free & ~held)
        gains = np.where(held, reached, settle(there))
        shared = [_shared(e, float(gain), inner, scene.sounds) for e, gain in zip(scene.elements, gains, strict=True)]
        by_layer = settled | {
            id_: g for own, stays in zip(shared, held, strict=True) if not stays for id_, g in own.items()
        }
        limited = _limited(by_layer)
        energy = [element_sound(element, scene.sounds, limited).blocks[judged].mean() for element in scene.elements]
        found = 10.0 * np.log10(np.maximum(energy, _NOTHING) / np.maximum(want.energy, _NOTHING))
        late = ~held & ~want.exact & (np.abs(found - gains) > _HELD_DB)
        if not late.any():
            return gains, by_layer
        settled |= {id_: g for own, stays in zip(shared, late, strict=True) if stays for id_, g in own.items()}
        held |= late
        reached = np.where(late, found, reached)


def _limited(gains: Mapping[str, float]) -> dict[str, float]:
    return {id_: float(np.clip(gain, -LARGEST_TRIM_DB, LARGEST_TRIM_DB)) for id_, gain in gains.items()}


def _shared(element: Element, gain: float, inner: Mapping[str, float], sounds: Mapping[str, Sound]) -> dict[str, float]:
    """Return the gains of an element's layers.

    The free ones make up for those that are bound, as long as they do not leave them by more than engineers differ:
    with x the gain of the free ones as a power, they move against the sum by x (own + fixed) / (x own + fixed).
    """
    bound = [sounds[layer.id] for layer in element.layers if layer.bound]
    free = {layer.id: inner.get(layer.id, 0.0) for layer in element.layers if not layer.bound}
    if bound and free and gain != 0.0:
        fixed = float(together(bound).blocks.mean())
        own = float(together(sounds[id_].louder(g) for id_, g in free.items()).blocks.mean())
        needed = (10.0 ** (gain / 10.0) * (own + fixed) - fixed) / own
        away = 10.0 ** (spread_of(element) / 10.0)
        least = fixed / (away * (own + fixed) - own)
        most = away * fixed / (own + fixed - away * own) if own + fixed > away * own else np.inf
        gain = 10.0 * float(np.log10(np.clip(needed, least, most)))
    return {id_: inside + gain for id_, inside in free.items() if inside + gain != 0.0}
