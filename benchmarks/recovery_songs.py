# SPDX-License-Identifier: Apache-2.0
"""Songs of 20 s to be harmed: layers as mixed around a section of the demo song or of seven stems. See recovery.py."""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from planting import RATE_HZ, Mix, demo, stems
from scipy import fft

from mixwright.demo.layers import LAYERS, Layer
from mixwright.io.song_file import create_song
from mixwright.io.write import write_wav
from mixwright.meter.measure import Meter
from mixwright.model.song import Group, Section, Song, Track
from mixwright.model.words import Place, Role

EXCERPT_S = 20.0
#: A section counts from so many seconds on; what an excerpt has of a neighbour is one from here on.
LEAST_SECTION_S, LEAST_PART_S = 5.0, 1.0
#: The reverb of an instrument, printed as a layer: decay by 60 dB, delay ahead of it, level beside the instrument.
DECAY_S, DELAY_S, WET_DB = 1.6, 0.02, -12.0
#: What the rough mix of the demo song leaves too low is raised by so many dB: a song that nobody harmed is in order.
RAISED_DB: Mapping[str, float] = {"kick": 4.0, "snare": 1.5, "keys": 3.0, "clean-guitar": 1.0}
#: Roles of the seven stems, by what they sound like, and groups that an engineer would make of them.
STEM_ROLES: Mapping[str, tuple[Role, str]] = {
    "VOX_LEAD": ("lead vocal", ""),
    "BGVOX": ("backing vocal", ""),
    "DRUMS_MAIN": ("drums", "drums"),
    "DRUMS_2": ("drums", "drums"),
    "MINILOGUE_SYNTH": ("synth", "synths"),
    "MELODY_BREAK": ("synth", "synths"),
    "PLUCK": ("synth", "synths"),
}
#: The loudest of these in a section has a reverb of its own.
WET_ROLES: tuple[Role, ...] = ("keys", "electric guitar", "synth", "pad")


@dataclass(frozen=True, eq=False)
class Excerpt:
    """Layers as mixed, float32 (frames, 2) each; `section`: the one that is harmed; `wet`: the layer of a reverb."""

    name: str
    layers: Mapping[str, np.ndarray]
    places: Mapping[str, Place]
    roles: Mapping[str, Role]
    groups: Mapping[str, str]
    sections: tuple[Section, ...]
    section: Section
    wet: str

    @property
    def judged(self) -> tuple[str, ...]:
        """Layers that must be heard."""
        return tuple(id_ for id_ in self.layers if self.places[id_] != "bed")

    @property
    def cut(self) -> slice:
        """The frames of the section."""
        return slice(round(self.section.start_s * RATE_HZ), round(self.section.end_s * RATE_HZ))

    def inside(self, audio: np.ndarray) -> np.ndarray:
        """Return what of audio lies in the section."""
        return audio[self.cut]

    def with_layers(self, layers: Mapping[str, np.ndarray]) -> Excerpt:
        """Return the excerpt with some layers replaced."""
        return replace(self, layers={**self.layers, **layers})

    @functools.cached_property
    def whole(self) -> np.ndarray:
        """The mix."""
        return np.sum(list(self.layers.values()), axis=0, dtype=np.float32)

    def lufs(self) -> float:
        """Return the integrated loudness of the mix."""
        meter = Meter(RATE_HZ, 2, spectrum=False, true_peak=False)
        meter.push(self.whole)
        return meter.result().integrated_lufs or -70.0


def excerpts_of_demo() -> tuple[Excerpt, ...]:
    """Return excerpts of the demo song, its kick and snare as layers of their own."""

    def read_as(layer: Layer) -> str:
        return slug(layer.role if layer.role in ("kick", "snare") else layer.source)

    roles: dict[str, Role] = {}
    groups: dict[str, str] = {}
    for layer in LAYERS:
        own = layer.role if layer.source != "drums" or layer.role in ("kick", "snare") else "drums"
        first = roles.get(read_as(layer), own)
        roles[read_as(layer)] = "lead vocal" if "lead vocal" in (own, first) else first
        groups[read_as(layer)] = layer.group
    mix = demo(read_as)
    return excerpts("demo", replace(mix, layers=_raised(mix.layers, RAISED_DB)), roles, groups)


def excerpts_of_stems(folder: Path) -> tuple[Excerpt, ...]:
    """Return excerpts of the seven stems."""
    mix = stems(folder)
    layers = {slug(name): audio for name, audio in mix.layers.items()}
    layers["drums-main"] = layers["drums-main"] + layers.pop("drums-2")  # one kit, which is in nobody's way
    places = {slug(name): place for name, place in mix.places.items()}
    roles = {slug(name): role for name, (role, _) in STEM_ROLES.items()}
    groups = {slug(name): group for name, (_, group) in STEM_ROLES.items()}
    return excerpts("stems", replace(mix, layers=layers, places=places), roles, groups)


def _raised(layers: Mapping[str, np.ndarray], gains_db: Mapping[str, float]) -> dict[str, np.ndarray]:
    return {id_: audio * np.float32(10.0 ** (gains_db.get(id_, 0.0) / 20.0)) for id_, audio in layers.items()}


def excerpts(name: str, mix: Mix, roles: Mapping[str, Role], groups: Mapping[str, str]) -> tuple[Excerpt, ...]:
    """Return an excerpt around every section of a mix that is long enough and in which its lead sounds."""
    lead = next(id_ for id_, place in mix.places.items() if place == "lead")
    found = []
    for part in mix.sections:
        if part.name == "bridge":  # its snare lies under a roll of toms: no mix that a plan should leave alone
            continue
        if part.end_s - part.start_s < LEAST_SECTION_S:
            continue
        if np.mean(np.abs(mix.layers[lead][mix.cut(part.name)]).max(axis=1) > 1e-3) < 0.2:
            continue
        found.append(_around(name, mix, part, roles, groups))
    return tuple(found)


def _around(name: str, mix: Mix, part: Section, roles: Mapping[str, Role], groups: Mapping[str, str]) -> Excerpt:
    length_s = len(mix.whole) / RATE_HZ
    start_s = float(np.clip((part.start_s + part.end_s - EXCERPT_S) / 2.0, 0.0, max(length_s - EXCERPT_S, 0.0)))
    end_s = min(start_s + EXCERPT_S, length_s)
    cut = slice(round(start_s * RATE_HZ), round(end_s * RATE_HZ))
    layers = {id_: audio[cut] for id_, audio in mix.layers.items() if np.abs(audio[cut]).max() > 1e-4}
    sections = tuple(
        Section(name=one.name, start_s=max(one.start_s, start_s) - start_s, end_s=min(one.end_s, end_s) - start_s)
        for one in mix.sections
        if min(one.end_s, end_s) - max(one.start_s, start_s) >= LEAST_PART_S
    )
    section = next(one for one in sections if one.name == part.name)
    inside = slice(round(section.start_s * RATE_HZ), round(section.end_s * RATE_HZ))
    played = [id_ for id_ in layers if roles[id_] in WET_ROLES]
    dry = max(played, key=lambda id_: float(np.mean(np.square(layers[id_][inside]))))
    wet = f"{dry}-reverb"
    return Excerpt(
        f"{name}, {part.name}",
        {**layers, wet: reverberated(layers[dry])},
        {**mix.places, wet: "bed"},
        {**roles, wet: "return"},
        {**groups, wet: groups[dry]},
        sections,
        section,
        wet,
    )


def reverberated(audio: np.ndarray) -> np.ndarray:
    """Return noise that dies away, another on each side, played by what both sides of a layer have in common."""
    rng = np.random.default_rng(5)
    frames = round(1.2 * DECAY_S * RATE_HZ)
    response = rng.standard_normal((frames, 2)) * 10.0 ** (-3.0 * np.arange(frames) / (DECAY_S * RATE_HZ))[:, None]
    response = np.concatenate([np.zeros((round(DELAY_S * RATE_HZ), 2)), response])
    size = fft.next_fast_len(len(audio) + len(response), real=True)
    hz = fft.rfftfreq(size, 1.0 / RATE_HZ)
    shape = 1.0 / np.sqrt((1.0 + (250.0 / np.maximum(hz, 1.0)) ** 4) * (1.0 + (hz / 5000.0) ** 4))
    played = fft.rfft(audio.mean(axis=1), size) * shape
    wet = fft.irfft(fft.rfft(response, size, axis=0) * played[:, None], size, axis=0)[: len(audio)]
    power = np.mean(np.square(audio, dtype=np.float64)) / np.mean(np.square(wet))
    return (wet * np.sqrt(power) * 10.0 ** (WET_DB / 20.0)).astype(np.float32)


def write_song(folder: Path, excerpt: Excerpt) -> Path:
    """Write an excerpt as a song of tracks as mixed with a confirmed lead; return its folder."""
    for id_, audio in excerpt.layers.items():
        write_layer(folder / "tracks" / f"{id_}.wav", audio)
    lead = tuple(id_ for id_ in excerpt.layers if excerpt.places[id_] == "lead")
    groups = dict.fromkeys(excerpt.groups[id_] for id_ in excerpt.layers if excerpt.groups[id_])
    tracks = tuple(
        Track(
            id=id_,
            name=id_,
            file=f"../tracks/{id_}.wav",
            role=excerpt.roles[id_],
            role_confidence=1.0,
            place=excerpt.places[id_],
            group=group_id(excerpt.groups[id_]),
        )
        for id_ in excerpt.layers
    )
    song = Song(
        title=excerpt.name,
        rate_hz=RATE_HZ,
        tracks_are="as mixed",
        lead=lead,
        tracks=tracks,
        groups=tuple(Group(id=group_id(id_), name=id_) for id_ in groups),
        sections=excerpt.sections,
    )
    create_song(folder / "song", song)
    return folder / "song"


def write_layer(path: Path, audio: np.ndarray) -> None:
    """Write a layer in floating point."""
    path.parent.mkdir(parents=True, exist_ok=True)
    write_wav(path, [audio], rate_hz=RATE_HZ, channels=2, frames=len(audio), sample_format="float32")


def group_id(name: str) -> str:
    """Return the id that a group has in a written song, "" for none."""
    return f"all-{name}" if name else ""  # a group shares its id with no track


def slug(name: str) -> str:
    """Return a name as an id."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower())
