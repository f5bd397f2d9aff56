# SPDX-License-Identifier: Apache-2.0
"""Where every element of a song belongs: the published levels, shared out over the layers that it has."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.model.words import VOICE_ROLES
from mixwright.planning.elements import Element, Layer
from mixwright.planning.settle import Array, Wanted, settle
from mixwright.planning.sound import Mask, Sound, power_of, together
from mixwright.planning.table import (
    BASS,
    DOUBLE_BELOW_LEAD,
    DRUM_LAYER_SPREAD_LU,
    DRUM_PARTS,
    DRUMS_SPREAD_LU,
    EFFECTS,
    EFFECTS_SPREAD_LU,
    HIGH_PERCUSSION,
    HIGH_PERCUSSION_LU,
    INSTRUMENT_LEAD_SPREAD_LU,
    LEAD,
    POOL_SHARE,
    SPREAD_LU,
    TIER_LU,
    power,
)


def judged_blocks(elements: Sequence[Element], sounds: Mapping[str, Sound]) -> Mask:
    """Return the blocks in which levels re mix are judged: those in which a lead sings.

    The published levels were measured in verse and chorus, and a lead's level means nothing while it is silent.
    """
    leads = [element_sound(element, sounds) for element in elements if element.pool == "lead"]
    return np.asarray(np.any([lead.gated() for lead in leads], axis=0))


def element_sound(element: Element, sounds: Mapping[str, Sound], gains: Mapping[str, float] | None = None) -> Sound:
    """Return what the layers of an element sound like together, after gains by layer."""
    return together(sounds[layer.id].louder((gains or {}).get(layer.id, 0.0)) for layer in element.layers)


def wanted(elements: Sequence[Element], sounds: Sequence[Sound], judged: Mask) -> Wanted:
    """Return the interval of every element re the mix while the lead sings.

    Leads have the lead's share. The pools of bass, drums and other layers share the rest in the proportions of the
    table, so a pool that the song does not have gives its share to the others; each of the other layers has the
    part of its pool that its tier earns among those that sound when it sounds.
    """
    loudness = _loudness(sounds)
    energy = np.array([sound.blocks[judged].mean() for sound in sounds])
    share = np.zeros(len(elements))
    for pool in ("bass", "drums", "other", "lead"):
        inside = [i for i, element in enumerate(elements) if element.pool == pool]
        weights = [_tier(elements[i]) if pool == "other" else 1.0 for i in inside]
        parts = shared_out([sounds[i] for i in inside], weights)
        share[inside] = POOL_SHARE[pool] * parts
    lead = np.array([element.pool == "lead" for element in elements])
    # How much of the judged time a layer fills: the shares that sound then must make up what the lead leaves.
    fills = energy / power_of(loudness)
    taken = float((share * fills)[lead].sum())
    filled = float((share * fills)[~lead].sum())
    if filled > 0.0:
        share[~lead] *= max(0.05, 1.0 - taken) / filled
    return Wanted(
        loudness=loudness,
        energy=energy,
        centre=10.0 * np.log10(share),
        spread=np.array([spread_of(element) for element in elements]),
        free=np.array([not all(layer.bound for layer in element.layers) for element in elements]),
        exact=lead,
    )


def spread_of(element: Element) -> float:
    """Return how far engineers differ about an element, in LU re mix."""
    if element.pool == "bass":
        return BASS.spread_lu
    if element.pool == "drums":
        return DRUMS_SPREAD_LU
    first = element.layers[0]
    if element.pool == "lead":
        sung = any(layer.role in VOICE_ROLES for layer in element.layers)
        return LEAD.spread_lu if sung else INSTRUMENT_LEAD_SPREAD_LU
    return EFFECTS_SPREAD_LU if first.role in EFFECTS else SPREAD_LU[first.place]


@dataclass(frozen=True)
class Inside:
    """What is wanted inside an element.

    Attributes
    ----------
    gains : dict
        Layer id to the gain in dB that brings it into proportion; only what must move.
    places : dict
        Layer id to (centre, spread): where it belongs, in LU re the element.
    """

    gains: dict[str, float]
    places: dict[str, tuple[float, float]]


def inside(element: Element, sounds: Mapping[str, Sound]) -> Inside:
    """Return the proportions inside an element.

    Drums: kick, snare and the rest, as the table has them. Leads: doubles below what they double. Basses and other
    sources read as one and keep their own balance.
    """
    if len(element.layers) > 1 and element.pool == "lead":
        return _doubles(element.layers, sounds)
    if len(element.layers) > 1 and element.pool == "drums":
        return _drum_parts(element.layers, sounds)
    return Inside({}, {})


def shared_out(sounds: Sequence[Sound], weights: Sequence[float]) -> Array:
    """Return each sound's part of one share: its weight over the weights that sound, on average, when it sounds."""
    weight = np.array(weights, dtype=np.float64)
    if not len(weight):
        return weight
    active = np.array([sound.active() for sound in sounds], dtype=np.float64)
    company = active.T @ weight
    return np.array(
        [w / np.mean(company[mask > 0]) if mask.any() else 1.0 for w, mask in zip(weight, active, strict=True)]
    )


def _tier(element: Element) -> float:
    first = element.layers[0]
    return power(TIER_LU[first.place] + (HIGH_PERCUSSION_LU if first.role in HIGH_PERCUSSION else 0.0))


def _drum_parts(layers: Sequence[Layer], sounds: Mapping[str, Sound]) -> Inside:
    heard = [sounds[layer.id] for layer in layers]
    share, spread = np.zeros(len(layers)), np.zeros(len(layers))
    for part, level in DRUM_PARTS.items():
        those = [i for i, layer in enumerate(layers) if layer.part == part]
        weights = [power(HIGH_PERCUSSION_LU) if layers[i].role in HIGH_PERCUSSION else 1.0 for i in those]
        share[those] = power(level.mean_lu) * shared_out([heard[i] for i in those], weights)
        spread[those] = level.spread_lu if part != "rest" or len(those) == 1 else DRUM_LAYER_SPREAD_LU
    judged = together(heard).gated()
    loudness = _loudness(heard)
    energy = np.array([sound.blocks[judged].mean() for sound in heard])
    share /= float(np.sum(share * energy / power_of(loudness)))
    centre = 10.0 * np.log10(share)
    free = np.array([not layer.bound for layer in layers])
    gains = settle(Wanted(loudness, energy, centre, spread, free, np.zeros(len(layers), dtype=bool)))
    return Inside(
        {layer.id: float(gain) for layer, gain in zip(layers, gains, strict=True) if gain != 0.0},
        {layer.id: (float(c), float(s)) for layer, c, s in zip(layers, centre, spread, strict=True)},
    )


def _doubles(layers: Sequence[Layer], sounds: Mapping[str, Sound]) -> Inside:
    own = [layer for layer in layers if layer.part == "lead"]
    doubles = [layer for layer in layers if layer.part == "double"]
    if not own or not doubles:
        return Inside({}, {})
    lead = together(sounds[layer.id] for layer in own).loudness() or 0.0
    parts = shared_out([sounds[layer.id] for layer in doubles], [1.0] * len(doubles))
    centres = DOUBLE_BELOW_LEAD.mean_lu + 10.0 * np.log10(parts)
    below = -10.0 * float(np.log10(1.0 + np.sum(10.0 ** (centres / 10.0))))
    gains: dict[str, float] = {}
    for layer, centre in zip(doubles, centres, strict=True):
        out = ((sounds[layer.id].loudness() or 0.0) - lead - float(centre)) / DOUBLE_BELOW_LEAD.spread_lu
        if abs(out) > 1.0 and not layer.bound:
            keep = 0.5 * min(1.0, max(0.0, 2.0 - abs(out))) * (1.0 if out > 0 else -1.0)
            gains[layer.id] = (keep - out) * DOUBLE_BELOW_LEAD.spread_lu
    places = {
        layer.id: (float(c) + below, DOUBLE_BELOW_LEAD.spread_lu) for layer, c in zip(doubles, centres, strict=True)
    }
    return Inside(gains, places | {layer.id: (below, LEAD.spread_lu) for layer in own})


def _loudness(sounds: Sequence[Sound]) -> Array:
    return np.array([sound.loudness() for sound in sounds], dtype=np.float64)
