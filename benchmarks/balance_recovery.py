# SPDX-License-Identifier: Apache-2.0
"""How far lead and other elements lie from where engineers put them, before and after a plan.

The demo song and made-up songs start from random faders (seeded). Three balances are judged: *empty* (the faders as
they came), *naive* (every layer as loud as every other, a target that listeners rate low: De Man 2015), and *plan*.
Printed: how far the lead lies from -2.65 LU re the mix while it sings (De Man et al. 2014), how far the other
elements lie outside the interval that engineers differ by (mean, LU), and how many of them do; moves, and dB a move.

Run: ``python benchmarks/balance_recovery.py [TRIALS]``
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from mixwright.app.plan import plan
from mixwright.app.scene import scene_of
from mixwright.app.session import open_song
from mixwright.app.start import start
from mixwright.demo.answers import answered
from mixwright.demo.record import write_demo
from mixwright.io.song_file import edit_song
from mixwright.model.song import Group, Song, Track
from mixwright.planning.balance import balance
from mixwright.planning.elements import elements_of
from mixwright.planning.level_moves import propose_balance
from mixwright.planning.scene import Scene, audible
from mixwright.planning.sound import Sound, together
from mixwright.planning.table import LEAD
from mixwright.reference.profile import Corridor

ROLES = (
    "lead vocal",
    "kick",
    "snare",
    "overheads",
    "hats",
    "bass",
    "electric guitar",
    "keys",
    "synth",
    "pad",
    "strings",
)
HZ = 1000.0 * 10.0 ** (0.1 * np.arange(-17, 14))


def demo_scene() -> Scene:
    """Return the demo song as measured."""
    with tempfile.TemporaryDirectory() as folder:
        demo = write_demo(Path(folder) / "demo")
        song = Path(folder) / "song"
        start(demo.tracks, song, references=demo.references)
        edit_song(song, "answers of the artist", answered)
        plan(song, lead="auto")
        with open_song(song) as session:
            scene = audible(scene_of(session))
            return replace(scene, sounds={id_: copied(sound) for id_, sound in scene.sounds.items()})


def copied(sound: Sound) -> Sound:
    return Sound(np.array(sound.blocks), np.array(sound.bands))


def made_scene(rng: np.random.Generator) -> Scene:
    """Return a song of 6 to 18 layers that come and go."""
    roles = ["lead vocal", *rng.choice(ROLES[1:], size=int(rng.integers(5, 18)))]
    drums = ("kick", "snare", "overheads", "hats")
    tracks = tuple(
        Track(
            id=f"{role.replace(' ', '-')}-{n}",
            name=role,
            file="x",
            role=role,
            place="lead" if n == 0 else "bed" if role in ("pad", "strings") else "support",
            group="drums" if role in drums else "",
        )
        for n, role in enumerate(roles)
    )
    song = Song(
        title="t", rate_hz=48000, lead=(tracks[0].id,), tracks=tracks, groups=(Group(id="drums", name="Drums"),)
    )
    elements = elements_of(song)
    sounds = {}
    for element in elements:
        for layer in element.layers:
            blocks = np.where(np.repeat(rng.random(24) < 0.75, 80), 1e-2, 1e-13) * rng.uniform(0.3, 1.7, 1920)
            bands = 10.0 ** (-0.5 * np.log2(HZ / rng.uniform(60.0, 4000.0)) ** 2)
            sounds[layer.id] = Sound(blocks, bands / bands.sum() * blocks.mean())
    return Scene(elements, sounds, together(sounds.values()), HZ)


def with_gains(scene: Scene, gains_db: Mapping[str, float]) -> Scene:
    sounds = {id_: sound.louder(gains_db.get(id_, 0.0)) for id_, sound in scene.sounds.items()}
    return replace(scene, sounds=sounds, mix=together(sounds[layer.id] for layer in scene.layers()))


def judged(scene: Scene) -> tuple[float, float, int]:
    """Return how far the lead is off, how far the others are outside (mean), and how many are."""
    found = balance(scene, Corridor())
    mask = scene.judged()
    mix = -0.691 + 10.0 * np.log10(scene.mix.blocks[mask].mean())
    lead, outside = 0.0, []
    for element in scene.elements:
        level = (together(scene.sounds[layer.id] for layer in element.layers).loudness() or -70.0) - mix
        low, high = found.elements[element.id]
        if element.pool == "lead":
            lead = abs(level - LEAD.mean_lu)
        else:
            outside.append(max(0.0, low - level, level - high))
    return lead, float(np.mean(outside)), sum(out > 0.5 for out in outside)


def run(name: str, scenes: list[Scene]) -> None:
    rows: dict[str, list[tuple[float, ...]]] = {"empty": [], "naive": [], "plan": []}
    sizes = []
    for scene in scenes:
        rows["empty"].append(judged(scene))
        level = {layer.id: -(scene.sounds[layer.id].loudness() or 0.0) - 23.0 for layer in scene.layers()}
        rows["naive"].append(judged(with_gains(scene, level)))
        proposal = propose_balance(scene, Corridor())
        by_layer = {layer.id: proposal.gains_db[layer.tracks[0]] for layer in scene.layers()}
        rows["plan"].append(judged(with_gains(scene, by_layer)))
        sizes.append((len(proposal.moves), *(abs(move.settings["gain_db"]) for move in proposal.moves)))
    for kind, found in rows.items():
        lead, outside, count = np.mean(found, axis=0)
        worst = max(row[0] for row in found)
        others = f"others {outside:.2f} LU outside, {count:.1f} of them"
        print(f"{name:13} {kind:6} lead off {lead:5.2f} LU, at most {worst:5.2f}; {others}")
    moves = np.mean([size[0] for size in sizes])
    mean_db = np.mean([db for size in sizes for db in size[1:]] or [0.0])
    layers = np.mean([len(scene.layers()) for scene in scenes])
    print(f"{name:13} plan   {moves:.1f} moves of {mean_db:.1f} dB for {layers:.1f} layers")


def main() -> None:
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    rng = np.random.default_rng(2)
    demo = demo_scene()
    run("demo", [demo])
    run(
        "demo +-10 dB",
        [with_gains(demo, {x.id: rng.uniform(-10.0, 10.0) for x in demo.layers()}) for _ in range(trials)],
    )
    made = [made_scene(rng) for _ in range(trials)]
    run("made +-10 dB", [with_gains(s, {x.id: rng.uniform(-10.0, 10.0) for x in s.layers()}) for s in made])


if __name__ == "__main__":
    main()
