# SPDX-License-Identifier: Apache-2.0
"""Maskers planted in a mix: songs as layers, and layers that cover one of them in a known section and band.

All levels are powers in a band over the time in which the victim sounds; nothing here asks a model of hearing who
covers whom. Only which layers can be victims is taken from the ear: see `planted_trials.py`.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import soundfile
from scipy import fft

from mixwright.demo.layers import LAYERS, Layer, made
from mixwright.demo.pieces import SONG
from mixwright.engine.compiling import compile_mix
from mixwright.engine.render import render
from mixwright.hearing.places import WORKING_DB_SPL, calibration_db
from mixwright.jobs.pool import in_order
from mixwright.meter.measure import Meter
from mixwright.model.song import Section, Song, Track
from mixwright.model.strip import Strip
from mixwright.model.words import Place

RATE_HZ = 48000
#: Sections are heard with so much of their neighbours.
AROUND_S = 3.0
#: A cell is as long as one of the ear's.
CELL = 768
#: The most by which a layer's own content is raised.
MOST_BOOST_DB = 24.0
#: A twelfth of a third octave apart, from 20 Hz up.
BELOW_LOG_HZ = np.log(20.0) + np.arange(360) * np.log(2.0) / 36.0
KINDS = ("boost", "chord", "noise")
#: Invented mix of the seven stems: faders in dB and places. The voice lies far down in them as they come.
STEMS: Mapping[str, tuple[float, Place]] = {
    "VOX_LEAD": (15.0, "lead"),
    "BGVOX": (6.0, "support"),
    "DRUMS_MAIN": (0.0, "support"),
    "DRUMS_2": (-2.0, "support"),
    "MINILOGUE_SYNTH": (-5.0, "support"),
    "MELODY_BREAK": (0.0, "support"),
    "PLUCK": (4.0, "bed"),
}


@dataclass(frozen=True, eq=False)
class Mix:
    """A mix as its layers: float32 (frames, 2) each, all of one length at RATE_HZ, their sum is the mix."""

    layers: Mapping[str, np.ndarray]
    places: Mapping[str, Place]
    sections: tuple[Section, ...]
    offset_db: float

    @functools.cached_property
    def whole(self) -> np.ndarray:
        """The mix."""
        return np.sum(list(self.layers.values()), axis=0, dtype=np.float32)

    @property
    def judged(self) -> tuple[str, ...]:
        """Layers that must be heard."""
        return tuple(id_ for id_ in self.layers if self.places[id_] != "bed")

    def around(self, section: str) -> Mix:
        """Return a section with what lies up to AROUND_S to either side, which keeps the names of its sections."""
        part = next(part for part in self.sections if part.name == section)
        length_s = len(next(iter(self.layers.values()))) / RATE_HZ
        start_s, end_s = max(0.0, part.start_s - AROUND_S), min(length_s, part.end_s + AROUND_S)
        inside = tuple(
            Section(name=one.name, start_s=max(one.start_s, start_s) - start_s, end_s=min(one.end_s, end_s) - start_s)
            for one in self.sections
            if one.start_s < end_s and one.end_s > start_s
        )
        first, end = round(start_s * RATE_HZ), round(end_s * RATE_HZ)
        layers = {id_: audio[first:end] for id_, audio in self.layers.items() if audio[first:end].any()}
        return Mix(layers, self.places, inside, self.offset_db)

    def cut(self, section: str) -> slice:
        """Return the frames of a section."""
        part = next(part for part in self.sections if part.name == section)
        return slice(round(part.start_s * RATE_HZ), round(part.end_s * RATE_HZ))


@dataclass(frozen=True)
class Masker:
    """What is planted: `layer` is the row that it is heard as, a new one unless it is a boost."""

    kind: str
    layer: str
    victim_over_db: float
    gain_db: float = 0.0


def of_layers(layers: Mapping[str, np.ndarray], places: Mapping[str, Place], sections: tuple[Section, ...]) -> Mix:
    """Return a mix heard at the working level."""
    meter = Meter(RATE_HZ, 2, spectrum=False, true_peak=False)
    meter.push(np.sum(list(layers.values()), axis=0, dtype=np.float32))
    loudness = meter.result().integrated_lufs or -20.0
    return Mix(layers, places, sections, calibration_db(loudness, WORKING_DB_SPL, "headphones"))


def demo(read_as: Callable[[Layer], str] = lambda layer: layer.source) -> Mix:
    """Return the demo song in the faders of its rough mix, without what is wrong with it on purpose.

    `read_as`: what a recording is heard as part of; its source, unless other layers are asked for.
    """
    takes = dict(zip((layer.file for layer in LAYERS), in_order(lambda one: made(one, SONG), LAYERS), strict=True))
    tracks = tuple(
        Track(
            id=layer.file,
            name=layer.file,
            file=layer.file,
            strip=Strip(
                fader_db=layer.mix.rough_db,
                pan=layer.mix.pan,
                polarity="inverted" if layer.turned_over else "normal",
            ),
        )
        for layer in LAYERS
    )
    graph = compile_mix(Song(title=SONG.title, rate_hz=RATE_HZ, tracks=tracks), (), dict.fromkeys(takes, SONG.frames))
    sources: dict[str, list[str]] = {}
    places: dict[str, Place] = {}
    for layer in LAYERS:
        sources.setdefault(read_as(layer), []).append(layer.file)
        before = places.get(read_as(layer), "bed")
        places[read_as(layer)] = min(before, layer.place, key=("lead", "support", "bed").index)
    layers = {
        source: np.concatenate([np.array(b) for b in render(graph, takes, tracks=files)]).astype(np.float32)
        for source, files in sources.items()
    }
    spans = map(SONG.section_s, range(len(SONG.parts)))
    sections = tuple(
        Section(name=part.name, start_s=start_s, end_s=end_s)
        for part, (start_s, end_s) in zip(SONG.parts, spans, strict=True)
    )
    return of_layers(layers, places, sections)


def stems(folder: Path) -> Mix:
    """Return the seven stems in the mix of STEMS; sections of 7 s, the last to the end, by the clock alone."""
    layers = {}
    for name, (gain_db, _) in STEMS.items():
        audio, rate_hz = soundfile.read(folder / f"{name}.flac", dtype="float32", always_2d=True)
        if rate_hz != RATE_HZ:
            raise ValueError(f"{name} is not at {RATE_HZ} Hz")
        layers[name] = audio * np.float32(10.0 ** (gain_db / 20.0))
    end_s = len(layers["VOX_LEAD"]) / RATE_HZ
    edges = (0.0, 7.0, 14.0, end_s)
    sections = tuple(Section(name=f"part {k + 1}", start_s=edges[k], end_s=edges[k + 1]) for k in range(3))
    return of_layers(layers, {name: place for name, (_, place) in STEMS.items()}, sections)


def in_band(audio: np.ndarray, band_hz: tuple[float, float]) -> np.ndarray:
    """Return what of audio (frames, channels) lies in a band: flat inside, nothing from a twelfth octave beyond."""
    size = fft.next_fast_len(len(audio) + RATE_HZ // 4, real=True)
    octaves = np.log2(np.maximum(fft.rfftfreq(size, 1.0 / RATE_HZ), 1.0))
    low, high = np.log2(band_hz)
    beyond = np.clip(12.0 * np.maximum(low - octaves, octaves - high), 0.0, 1.0)
    gains = (0.5 + 0.5 * np.cos(np.pi * beyond)).astype(np.float32)
    return np.asarray(fft.irfft(fft.rfft(audio, size, axis=0) * gains[:, None], size, axis=0)[: len(audio)])


def energy_below(audio: np.ndarray) -> np.ndarray:
    """Return the energy below each of BELOW_LOG_HZ, both channels together."""
    power = np.sum(np.abs(fft.rfft(audio, axis=0)) ** 2, axis=1, dtype=np.float64) * 2.0 / len(audio)
    log_hz = np.log(np.maximum(fft.rfftfreq(len(audio), 1.0 / RATE_HZ), 1.0))
    return np.interp(BELOW_LOG_HZ, log_hz, np.cumsum(power))


def cell_powers(audio: np.ndarray) -> np.ndarray:
    """Return the power of both channels together in every cell."""
    cells = len(audio) // CELL
    return np.asarray(np.sum(audio[: cells * CELL].reshape(cells, -1).astype(np.float64) ** 2, axis=1) / CELL)


def chord(rng: np.random.Generator, band_hz: tuple[float, float], frames: int) -> np.ndarray:
    """Return a held triad of bright tones, three slightly detuned players each, cut to a band; both sides alike."""
    root_hz = band_hz[0] / 4.0 * 2.0 ** float(rng.uniform(0.0, 1.0))
    at_s = np.arange(frames) / RATE_HZ
    sound = np.zeros(frames)
    for interval in (0, int(rng.choice((3, 4))), 7):
        for cents in (-6.0, 0.0, 7.0):
            hz = root_hz * 2.0 ** (interval / 12.0 + cents / 1200.0)
            partials = np.arange(max(1, int(0.9 * band_hz[0] / hz)), int(1.1 * band_hz[1] / hz) + 2)
            for partial in partials:
                sound += np.sin(2.0 * np.pi * (hz * partial * at_s + rng.random())) / partial
    return np.repeat(in_band(sound[:, None], band_hz), 2, axis=1)


def noise(rng: np.random.Generator, band_hz: tuple[float, float], frames: int) -> np.ndarray:
    """Return noise cut to a band, as strong in every third of an octave, another on each side."""
    white = rng.standard_normal((frames, 2)).astype(np.float32)
    size = fft.next_fast_len(frames, real=True)
    tilt = 1.0 / np.sqrt(np.maximum(fft.rfftfreq(size, 1.0 / RATE_HZ), 20.0))
    return in_band(fft.irfft(fft.rfft(white, size, axis=0) * tilt[:, None], size, axis=0)[:frames], band_hz)


def planted(
    mix: Mix,
    section: str,
    victim_power: np.ndarray,
    band_hz: tuple[float, float],
    masker: Masker,
    rng: np.random.Generator,
) -> tuple[Mix, Masker] | None:
    """Return the mix with a masker in one section, faded over 20 ms; None where a boost cannot do it.

    `victim_power`: power in the band of what is to be covered in every cell of the section, 0 where it is silent. A
    boost must raise its layer by at least 3 dB and by no more than MOST_BOOST_DB, and must cover: in at least half of
    the cells that count it is at least as strong, beside the victim, as 6 dB below the level asked for.
    """
    cut = mix.cut(section)
    frames = cut.stop - cut.start
    counts = victim_power > 0.0
    wanted = float(victim_power.mean()) * 10.0 ** (-masker.victim_over_db / 10.0)
    if masker.kind == "boost":
        sound = in_band(mix.layers[masker.layer][cut], band_hz)
        powers = cell_powers(sound)[: len(counts)]
        power = float(np.where(counts, powers, 0.0).mean())
        if power <= 0.0:
            return None
        gain_db = 10.0 * np.log10(wanted / power)
        if not 3.0 <= gain_db <= MOST_BOOST_DB:
            return None
        steady = _steady(powers * wanted / power)[counts] >= 0.25 * wanted / counts.mean()
        if steady.mean() < 0.5:
            return None
        sound *= 10.0 ** (gain_db / 20.0) - 1.0
    else:
        sound = (chord if masker.kind == "chord" else noise)(rng, band_hz, frames)
        powers = cell_powers(sound)[: len(counts)]
        power, gain_db = float(np.where(counts, powers, 0.0).mean()), 0.0
        sound *= np.sqrt(wanted / power)
    fade = np.clip((np.minimum(np.arange(frames), np.arange(frames)[::-1]) + 0.5) / (0.02 * RATE_HZ), 0.0, 1.0)
    layer = np.array(mix.layers.get(masker.layer, np.zeros_like(mix.whole)))
    layer[cut] += (sound * fade[:, None]).astype(np.float32)
    places = {**mix.places, masker.layer: mix.places.get(masker.layer, "bed")}
    changed = replace(mix, layers={**mix.layers, masker.layer: layer}, places=places)
    return changed, replace(masker, gain_db=float(gain_db))


def _steady(powers: np.ndarray) -> np.ndarray:
    """Return powers averaged over about 0.2 s: what comes between is covered by what is around it."""
    return np.convolve(powers, np.full(13, 1.0 / 13.0), mode="same")
