# SPDX-License-Identifier: Apache-2.0
"""A balance as moves that a person can read, with what each does, what fails without it, and what it costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from mixwright.model.moves import move_id
from mixwright.model.results import PlannedMove, Spread
from mixwright.planning.balance import Balance, balance, source_of_interval
from mixwright.planning.elements import Element, Layer
from mixwright.planning.scene import Scene, audible
from mixwright.planning.settle import LARGEST_TRIM_DB
from mixwright.planning.sound import Sound, together
from mixwright.planning.table import DE_MAN, EFFECTS, LEAD, SHI
from mixwright.planning.targets import spread_of
from mixwright.reference.corridor import Corridor

_WORTH_SAYING_LU = 0.1
#: A lead this far off was hardly put there by ear: common practice, no source.
_FAR_LEAD_DB = 12.0
_Figures = Mapping[str, float | None]


@dataclass(frozen=True)
class Proposal:
    """Level moves, and the layers that were looked at and left, each with its reason.

    `gains_db`: by track, what the moves add at their strength, pans apart. `mix_change_lu`: by how much the mix's
    loudness moves.
    """

    moves: tuple[PlannedMove, ...]
    left_as_is: tuple[str, ...]
    notes: tuple[str, ...]
    gains_db: dict[str, float]
    mix_change_lu: float


def propose_balance(
    scene: Scene, corridor: Corridor, *, strength: float = 1.0, placing_db: Mapping[str, float] | None = None
) -> Proposal:
    """Propose a static balance.

    Parameters
    ----------
    scene : Scene
        The song as measured; a lead must sound.
    corridor : Corridor
        What the references span; empty without references.
    strength : float
        0 to 1: scales every move; predictions are those at this strength.
    placing_db : mapping of layer id to dB, optional
        How much louder the planned pans make a layer, where the pan law is not that of equal power.

    Returns
    -------
    Proposal
        Deterministic. Layers inside what engineers differ by, or bound, are in `left_as_is`.
    """
    heard = audible(scene)
    placing = placing_db or {}
    placed = {id_: sound.louder(placing.get(id_, 0.0)) for id_, sound in heard.sounds.items()}
    found = balance(replace(heard, sounds=placed), corridor)
    planned = [part for element in heard.elements for part in _parts(element, found.gains)]
    ledger = _Ledger(heard, found, planned, strength, placing)
    moves = tuple(ledger.move(part, target) for part in planned for target in part.targets)
    silent = [layer for layer in scene.layers() if scene.sounds[layer.id].loudness() is None]
    left = [
        *(
            ledger.left(element, layer)
            for element in heard.elements
            for layer in element.layers
            if _is_left(layer, found)
        ),
        *(f"{layer.name}: silent throughout." for layer in silent),
    ]
    gains = {
        id_: ledger.gain(layer.id) - placing.get(layer.id, 0.0) for layer in heard.layers() for id_ in layer.tracks
    }
    far = [text for part in planned if (text := _far_lead(part))]
    return Proposal(moves, tuple(left), (*far, *found.notes), gains, ledger.mix_change())


def spreads_of(scene: Scene, corridor: Corridor, loudness: Mapping[str, float | None]) -> dict[str, Spread]:
    """Return where engineers hold every track, in LU re the whole mix as it stands.

    A track that is part of a layer has the layer's interval, lower by how far the track lies below the layer.

    Parameters
    ----------
    scene, corridor
        As for :func:`propose_balance`.
    loudness : mapping of track id to LUFS
        Of every track by itself; None where it is silent.
    """
    heard = audible(scene)
    if len(heard.layers()) == 1:
        return {}
    found = balance(heard, corridor)
    shift = _sung(heard, heard.mix) - (heard.mix.loudness() or 0.0)
    spreads = {}
    for element in heard.elements:
        for layer in element.layers:
            inside = found.layers.get(layer.id)
            low, high = inside or found.elements[element.id]
            whole = together(heard.sounds[one.id] for one in ((layer,) if inside else element.layers)).loudness() or 0.0
            for track in layer.tracks:
                own = loudness.get(track)
                if own is not None:
                    part = own - whole if len(layer.tracks) > 1 or not (inside or len(element.layers) == 1) else 0.0
                    spreads[track] = Spread(
                        low=_two(low + shift + part),
                        high=_two(high + shift + part),
                        unit="lu_re_mix",
                        source=source_of_interval(element, layer),
                    )
    return spreads


@dataclass(frozen=True)
class _Part:
    """One move to be: a gain on one or more targets, and the layers that it shifts."""

    targets: tuple[str, ...]
    name: str
    gain_db: float
    element: Element
    layers: tuple[Layer, ...]
    whole: bool


def _parts(element: Element, gains: Mapping[str, float]) -> list[_Part]:
    """Split the gains of an element into one move for all where the song has a word for it, and what is left over."""
    rounded = {layer.id: round(gains.get(layer.id, 0.0), 1) for layer in element.layers}
    together_db = 0.0
    parts = []
    if element.target and len(element.layers) > 1 and not any(layer.bound for layer in element.layers):
        values = list(rounded.values())
        # A lead's own gain, or the one that most layers share; of equally frequent ones the smallest.
        own = [rounded[layer.id] for layer in element.layers if layer.part == "lead"]
        together_db = own[0] if own else max(values, key=lambda value: (values.count(value), -abs(value), value))
        if together_db:
            parts.append(_Part((element.target,), element.name, together_db, element, element.layers, True))
    for layer in element.layers:
        rest = round(rounded[layer.id] - together_db, 1)
        if rest:
            whole = len(element.layers) == 1
            parts.append(_Part(layer.targets, layer.name, rest, element, (layer,), whole))
    return parts


def _is_left(layer: Layer, found: Balance) -> bool:
    return layer.id not in found.gains


def _sung(scene: Scene, sound: Sound) -> float:
    """Return the loudness of a sound while the lead sings, ungated."""
    return float(-0.691 + 10.0 * np.log10(max(1e-30, float(sound.blocks[scene.judged()].mean()))))


class _Ledger:
    """What every layer does in the mix, before and after: powers add, the mix changes as their sum does."""

    def __init__(
        self, scene: Scene, found: Balance, parts: Sequence[_Part], strength: float, placing: Mapping[str, float]
    ) -> None:
        self._scene = scene
        self._found = found
        self._strength = strength
        self._gains = {layer.id: placing.get(layer.id, 0.0) for layer in scene.layers()}
        for part in parts:
            for layer in part.layers:
                self._gains[layer.id] += part.gain_db * strength
        self._before = self._mix({})
        self._after = self._mix(self._gains)

    def gain(self, layer: str) -> float:
        """Return how much louder a layer gets, by moves and pans."""
        return self._gains[layer]

    def mix_change(self) -> float:
        """Return by how much the loudness of the mix moves."""
        return self._after[0] - self._before[0]

    def move(self, part: _Part, target: str) -> PlannedMove:
        """Return a part of the balance as the move of one of its targets."""
        gain = part.gain_db * self._strength
        moved = {layer.id for layer in part.layers}
        without = {id_: g - (gain if id_ in moved else 0.0) for id_, g in self._gains.items()}
        mix_without = self._mix(without)
        now, after = self._levels(part, {}, self._before), self._levels(part, self._gains, self._after)
        left = self._levels(part, without, mix_without)
        spread = self._spread(part)
        others = self._after[0] - mix_without[0]
        return PlannedMove(
            id=move_id("level", target, ()),
            kind="level",
            target=target,
            sections=(),
            settings={"gain_db": part.gain_db},
            state="proposed",
            strength=self._strength,
            by="plan",
            reason=self._reason(part, now, left, spread),
            evidence=self._evidence(part),
            spread=spread,
            measured=now,
            predicted={**after, "mix_change_lu": _two(self.mix_change()), "others_change_lu": _two(-others)},
            without_it=_without(part, left, spread),
            costs=(f"Every other layer stands {others:.1f} LU lower in the mix.",)
            if others >= _WORTH_SAYING_LU
            else (),
        )

    def left(self, element: Element, layer: Layer) -> str:
        """Return the sentence of a layer that is left alone."""
        part = _Part((), "", 0.0, element, (layer,), False)
        now = self._levels(part, {}, self._before)["re_mix_lu"]
        after = self._levels(part, self._gains, self._after)["re_mix_lu"]
        level = f"{layer.name}: {now:+.1f} LU in the mix"
        if f"{now:+.1f}" != f"{after:+.1f}":
            level += f" now, {after:+.1f} after these moves"
        interval = self._interval(element, (layer,))
        if layer.bound:
            return f"{level}; left, {layer.bound}."
        if len(self._scene.layers()) == 1:
            return f"{level}; it sounds alone; left."
        if interval is not None and len(element.layers) == 1:
            return f"{level}; {_holds(element, layer)} {interval[0]:+.1f} to {interval[1]:+.1f}; left."
        return f"{level}, in proportion to the rest of {element.name}; left."

    def _mix(self, gains: Mapping[str, float]) -> tuple[float, float]:
        """Return the loudness of the summed layers: of the whole song, and while the lead sings."""
        scene = self._scene
        whole = together(scene.sounds[layer.id].louder(gains.get(layer.id, 0.0)) for layer in scene.layers())
        return whole.loudness() or 0.0, _sung(scene, whole)

    def _levels(self, part: _Part, gains: Mapping[str, float], mix: tuple[float, float]) -> dict[str, float | None]:
        """Return the level of a part re the mix: as measured, moved by how the sum of the layers moves."""
        scene = self._scene
        own = together(scene.sounds[layer.id].louder(gains.get(layer.id, 0.0)) for layer in part.layers).loudness()
        if own is None:
            return {"integrated_lufs": None, "re_mix_lu": None, "re_mix_while_lead_sings_lu": None}
        whole = (scene.mix.loudness() or 0.0) + mix[0] - self._before[0]
        sung = _sung(scene, scene.mix) + mix[1] - self._before[1]
        return {
            "integrated_lufs": _two(own),
            "re_mix_lu": _two(own - whole),
            "re_mix_while_lead_sings_lu": _two(own - sung),
        }

    def _interval(self, element: Element, layers: Sequence[Layer]) -> tuple[float, float] | None:
        """Return where engineers hold layers, re the whole mix that results; None for a part without proportions."""
        inside = self._found.layers.get(layers[0].id) if len(layers) == 1 else None
        found = self._found.elements[element.id] if len(layers) == len(element.layers) else inside
        shift = self._after[1] - self._after[0]
        return None if found is None else (_two(found[0] + shift), _two(found[1] + shift))

    def _spread(self, part: _Part) -> Spread | None:
        interval = self._interval(part.element, part.layers)
        if interval is None:
            return None
        source = source_of_interval(part.element, part.layers[0])
        return Spread(low=interval[0], high=interval[1], unit="lu_re_mix", source=source)

    def _reason(self, part: _Part, now: _Figures, left: _Figures, spread: Spread | None) -> str:
        """Return the sentence that says what, by how much, and why."""
        gain = part.gain_db * self._strength
        what = f"{'Raise' if gain >= 0 else 'Lower'} {part.name} by {abs(gain):.1f} dB"
        ids = [layer.id for layer in part.layers]
        by_reference = next((self._found.by_reference[id_] for id_ in ids if id_ in self._found.by_reference), "")
        capped = next((self._found.capped[id_] for id_ in ids if id_ in self._found.capped), None)
        if part.element.pool == "lead" and part.whole:
            level = now["re_mix_while_lead_sings_lu"] or 0.0
            low, high = self._found.elements[part.element.id]
            several = sum(element.pool == "lead" for element in self._scene.elements) > 1
            why = f"while {'the leads sing' if several else 'it sounds'} it stands at {level:+.2f} LU in the mix; "
            why += f"engineers put a lead vocal at {LEAD.mean_lu:+.2f}"
            if abs(0.5 * (low + high) - LEAD.mean_lu) > _WORTH_SAYING_LU:
                why += f", and its share of that is {0.5 * (low + high):+.2f}"
        else:
            level = left["re_mix_lu"] or 0.0
            why = f"in the new balance it would stand at {level:+.1f} LU in the mix"
            if spread is not None:
                why += f"; {_holds(part.element, part.layers[0])} {spread.low:+.1f} to {spread.high:+.1f}"
        words = [f"{what}: {why}."]
        if by_reference:
            words.append(by_reference)
        if capped is not None:
            words.append(f"It would need {capped:+.1f} dB; beyond {LARGEST_TRIM_DB:g} dB, ask for a new export.")
        return " ".join(words)

    def _evidence(self, part: _Part) -> str:
        if part.element.pool == "lead" and part.whole:
            voice = f"{DE_MAN}: lead vocal {LEAD.mean_lu:+.2f} LU re mix"
            spread = spread_of(part.element)
            # d(re mix)/d(fader) = 1 - share of the lead in the power of the mix.
            fader = spread / (1.0 - 10.0 ** (LEAD.mean_lu / 10.0))
            if spread == LEAD.spread_lu:
                return f"{voice}, {spread:.2f} LU between engineers, which is about {fader:.1f} dB of its fader."
            return f"{voice}; {spread:.2f} LU between engineers about other sources, so about this one."
        if part.element.pool == "other" and part.layers[0].role not in EFFECTS:
            place = "bed" if part.layers[0].place == "bed" else "support"
            return f"{DE_MAN} and {SHI}: {place} layers share what lead, bass and drums leave."
        source = source_of_interval(part.element, part.layers[0])
        return f"{source[0].upper()}{source[1:]}."


def _holds(element: Element, layer: Layer) -> str:
    """Return the words before an interval: only what was measured of engineers is said of them."""
    if layer.part == "double":
        return "a double thickens unnoticed at"
    return "its share among the other layers is" if element.pool == "other" else "engineers hold it at"


def _far_lead(part: _Part) -> str:
    """Say when a lead came so far from a balance that its level may be meant."""
    if part.element.pool != "lead" or not part.whole or abs(part.gain_db) < _FAR_LEAD_DB:
        return ""
    where = "below" if part.gain_db > 0.0 else "above"
    return (
        f"{part.name} came {abs(part.gain_db):.0f} dB {where} what a lead needs. If the tracks are mixed already, set "
        'tracks_are = "as mixed" in song.toml: then no levels are proposed.'
    )


def _without(part: _Part, left: _Figures, spread: Spread | None) -> str:
    level = left["re_mix_lu"]
    if level is None:
        return ""
    if spread is None:
        return f"Without it {part.name} stays at {level:+.1f} LU in the mix."
    out = level - spread.high if level > spread.high else level - spread.low if level < spread.low else 0.0
    if out == 0.0:
        return f"Without it {part.name} stays at {level:+.1f} LU in the mix, inside its range."
    where = "above" if out > 0 else "below"
    return f"Without it {part.name} stays at {level:+.1f} LU in the mix, {abs(out):.1f} LU {where} its range."


def _two(value: float) -> float:
    return round(value, 2)
