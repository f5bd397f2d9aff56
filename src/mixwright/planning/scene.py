# SPDX-License-Identifier: Apache-2.0
"""The song as measured, as a plan sees it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from mixwright.planning.elements import Element, Layer
from mixwright.planning.sound import Array, Mask, Sound
from mixwright.planning.targets import judged_blocks


@dataclass(frozen=True, eq=False)
class Scene:
    """The song as measured: its elements, the sound of every layer by id, and the mix as it stands."""

    elements: tuple[Element, ...]
    sounds: Mapping[str, Sound]
    mix: Sound
    hz: Array

    def layers(self) -> tuple[Layer, ...]:
        """Return the layers of all elements."""
        return tuple(layer for element in self.elements for layer in element.layers)

    def judged(self) -> Mask:
        """Return the blocks in which levels re mix are judged."""
        return judged_blocks(self.elements, self.sounds)


def audible(scene: Scene) -> Scene:
    """Return the scene without layers that are silent throughout."""
    elements = []
    for element in scene.elements:
        layers = tuple(layer for layer in element.layers if scene.sounds[layer.id].loudness() is not None)
        if layers:
            elements.append(replace(element, layers=layers))
    return replace(scene, elements=tuple(elements))
