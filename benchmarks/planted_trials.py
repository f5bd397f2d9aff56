# SPDX-License-Identifier: Apache-2.0
"""Trials of planted maskers: drawn by number, heard, and compared with what was planted. See planted.py."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from planting import (
    BELOW_LOG_HZ,
    CELL,
    KINDS,
    MOST_BOOST_DB,
    RATE_HZ,
    Masker,
    Mix,
    cell_powers,
    energy_below,
    in_band,
    planted,
)

from mixwright.hearing.feed import held
from mixwright.hearing.hear import hear
from mixwright.hearing.heard import ACTIVE_SONE, ALONE, CUED, Hearing
from mixwright.hearing.scale import filter_hz
from mixwright.ledger.findings import LedgerRow, ledger_of
from mixwright.ledger.growth import growth
from mixwright.model.ledger import Finding, Growth
from mixwright.model.song import Section
from mixwright.model.words import Place

LEAST_SOUNDING, LEAST_HELD, LEAST_LEFT = 0.4, 0.1, 0.4
#: How far maskers stand from the level asked for, in dB of the victim over them.
APART_DB = {1: (0.0,), 2: (-2.0, 2.0)}
#: Least intersection over union of bands in octaves.
LEAST_IOU = 0.5
CONTROLS = ("quiet", "silent", "bed")
#: A control harms nobody: who must be heard has less than this part of its loudness there, or is so much stronger.
HARMLESS, HARMLESS_DB = 0.05, 15.0


@dataclass(frozen=True, eq=False)
class Heard:
    """What was heard of a section and its neighbours, and what the ledger finds in them; `stretches` by section."""

    hearing: Hearing
    sections: tuple[Section, ...]
    section: str
    stretches: Mapping[str, int]
    findings: tuple[Finding, ...]
    places: Mapping[str, Place]

    def active(self, layer: str) -> np.ndarray:
        """Return in which cells of the section a layer sounds."""
        if layer not in self.hearing.layers:
            return np.zeros(1, dtype=bool)
        return np.asarray(self.hearing.layers[layer].stretches[self.stretches[self.section]].total[ALONE] > ACTIVE_SONE)

    def sounding(self, layer: str) -> float:
        """Return in which part of the section a layer sounds."""
        return float(self.active(layer).mean())

    def held(self, layer: str, band_hz: tuple[float, float], section: str = "") -> tuple[float, float]:
        """Return which part of a layer's loudness alone lies in a band, and how much of that the mix leaves, cued."""
        if layer not in self.hearing.layers:
            return 0.0, 0.0
        stretch = self.stretches[section or self.section]
        patterns = self.hearing.layers[layer].stretches[stretch].patterns.astype(np.float64)
        inside = (filter_hz() >= band_hz[0]) & (filter_hz() <= band_hz[1])
        alone, whole = patterns[ALONE, inside].sum(), patterns[ALONE].sum()
        if alone <= 0.0:
            return 0.0, 0.0
        return float(alone / whole), float(patterns[CUED, inside].sum() / alone)


def heard(mix: Mix, section: str) -> Heard:
    """Hear a section with its neighbours, and ask the ledger."""
    edges = [edge for part in mix.sections for edge in (part.start_s, part.end_s)]
    hearing = hear(
        {id_: held(audio) for id_, audio in mix.layers.items()},
        rate_hz=RATE_HZ,
        frames=len(mix.whole),
        offset_db=mix.offset_db,
        edges_s=edges,
        leads=[id_ for id_ in mix.layers if mix.places[id_] == "lead"],
    )
    # The last section of a song may leave a sliver of its end beside it.
    stretches = {
        part.name: max(hearing.inside(part.start_s, part.end_s), key=lambda k: hearing.stretches[k].length_s)
        for part in mix.sections
    }
    findings = ledger_of(hearing, rows_of(hearing, mix.places), mix.sections)
    return Heard(hearing, mix.sections, section, stretches, findings, mix.places)


def rows_of(hearing: Hearing, places: Mapping[str, Place]) -> list[LedgerRow]:
    """Return what is known of the layers that are heard."""
    return [LedgerRow(id_, places[id_]) for id_ in hearing.layers]


@dataclass(frozen=True)
class Trial:
    """What was planted: a control where `control` is not empty."""

    number: int
    kind: str
    victim: str
    section: str
    band_hz: tuple[float, float]
    maskers: tuple[Masker, ...]
    control: str = ""

    def __str__(self) -> str:
        low, high = self.band_hz
        by = ", ".join(f"{one.kind} {one.layer} {one.victim_over_db:+.0f} dB" for one in self.maskers)
        return f"{self.number:3} {self.victim} in {self.section}, {low:.0f}-{high:.0f} Hz, by {by}"


@dataclass(frozen=True)
class Named:
    """What some method names as the thing that grew most."""

    victim: str
    section: str
    band_hz: tuple[float, float] | None
    by: tuple[str, ...]
    grew: float = 0.0


@dataclass
class Bench:
    """A song, and its sections as heard without anything planted."""

    name: str
    mix: Mix
    plain: dict[str, tuple[Mix, Heard]] = field(default_factory=dict)

    spectra: dict[tuple[str, str], np.ndarray] = field(default_factory=dict)

    def before(self, section: str) -> tuple[Mix, Heard]:
        """Return a section with its neighbours, and how it is heard."""
        if section not in self.plain:
            around = self.mix.around(section)
            self.plain[section] = around, heard(around, section)
        return self.plain[section]

    def energy(self, section: str, layer: str, band_hz: tuple[float, float]) -> float:
        """Return about what energy a layer has in a band of a section."""
        if (section, layer) not in self.spectra:
            self.spectra[section, layer] = energy_below(self.mix.layers[layer][self.mix.cut(section)])
        low, high = np.interp(np.log(band_hz), BELOW_LOG_HZ, self.spectra[section, layer])
        return float(high - low)

    def holds(self, section: str, layer: str, band_hz: tuple[float, float]) -> tuple[float, float]:
        """Return how much of a layer's loudness a band holds, and how much of that the mix leaves."""
        return self.before(section)[1].held(layer, band_hz)

    def raisable(self, section: str, victim: str, band_hz: tuple[float, float], victim_over_db: float) -> list[str]:
        """Return the layers of which a boost is worth a try; `planted` has the last word."""
        wanted = self.energy(section, victim, band_hz) * 10.0 ** (-victim_over_db / 10.0)
        least, most = wanted / 10.0 ** (MOST_BOOST_DB / 10.0), wanted
        layers = self.before(section)[0].layers
        return [id_ for id_ in layers if least < self.energy(section, id_, band_hz) < most]

    def victims(self, section: str, band_hz: tuple[float, float]) -> list[str]:
        """Return the leads and supports that something planted there would cover."""
        mix, before = self.before(section)
        return [
            layer
            for layer in mix.judged
            if layer in mix.layers
            and before.sounding(layer) >= LEAST_SOUNDING
            and (held := self.holds(section, layer, band_hz))[0] >= LEAST_HELD
            and held[1] >= LEAST_LEFT
        ]

    def harmless(self, section: str, band_hz: tuple[float, float], energy: float, but: str = "") -> bool:
        """Whether so much energy planted there harms no lead or support, but for one that is named.

        Each of them that sounds in the section has less than HARMLESS of its loudness in the band, or at least
        HARMLESS_DB more energy there.
        """
        least = energy * 10.0 ** (HARMLESS_DB / 10.0)
        others = (layer for layer in self.present(section, band_hz) if layer != but)
        return all(self.energy(section, layer, band_hz) >= least for layer in others)

    def present(self, section: str, band_hz: tuple[float, float]) -> list[str]:
        """Return the leads and supports that sound in a section and have HARMLESS of their loudness in a band."""
        mix, before = self.before(section)
        judged = (layer for layer in mix.judged if layer in mix.layers and before.active(layer).any())
        return [layer for layer in judged if self.holds(section, layer, band_hz)[0] >= HARMLESS]


def drawn(bench: Bench, seed: int, number: int, over_db: float = -10.0, control: str = "") -> tuple[Trial, Mix]:
    """Draw the trial of a number, the same for every level, and plant it."""
    rng = np.random.default_rng((seed, number, len(control)))
    count = 2 if number % 9 in (2, 3, 7) and not control else 1  # of every nine one of each kind
    levels_db = [(15.0 if control == "quiet" else over_db) + apart for apart in APART_DB[count]]
    for _ in range(3000):
        section = str(rng.choice([part.name for part in bench.mix.sections]))
        width = float(rng.uniform(1.0 / 3.0, 1.0))
        low_hz = float(np.exp(rng.uniform(np.log(80.0), np.log(8000.0))))
        band_hz = low_hz, low_hz * 2.0**width
        found = _victim(bench, rng, section, band_hz, control, levels_db[0])
        if found is None:
            continue
        victim, power = found
        mix, maskers = bench.before(section)[0], []
        kinds = [KINDS[number % 3], str(rng.choice(KINDS))][:count]
        for kind, level_db in zip(kinds, levels_db, strict=True):
            layer = f"planted {kind} {len(maskers) + 1}"
            if kind == "boost":
                taken = (victim, *(one.layer for one in maskers))
                layers = [id_ for id_ in bench.raisable(section, victim, band_hz, level_db) if id_ not in taken]
                if not layers:
                    break
                layer = str(rng.choice(layers))
            done = planted(mix, section, power, band_hz, Masker(kind, layer, level_db), rng)
            if done is None:
                break
            mix, masker = done
            maskers.append(masker)
        if len(maskers) == count:
            return Trial(number, KINDS[number % 3], victim, section, band_hz, tuple(maskers), control), mix
    raise LookupError(f"{bench.name}: nothing can be planted as trial {number} {control}")


def _victim(
    bench: Bench, rng: np.random.Generator, section: str, band_hz: tuple[float, float], control: str, over_db: float
) -> tuple[str, np.ndarray] | None:
    """Return who is to be covered in a band, if anybody, and its power there in every cell, 0 where it is silent."""
    mix, before = bench.before(section)
    # Silent here: as strong as it would have to be in another section, where the victim sounds.
    there = str(rng.choice([part.name for part in bench.mix.sections])) if control == "silent" else section
    if control == "bed":
        victims = [
            layer
            for layer in mix.layers
            if mix.places[layer] == "bed"
            and before.sounding(layer) >= LEAST_SOUNDING
            and bench.holds(section, layer, band_hz)[0] >= LEAST_HELD
        ]
    else:
        victims = bench.victims(there, band_hz)
    if control == "quiet" and victims:
        # The weakest of all that must be heard there.
        victims = [min(bench.present(section, band_hz), key=lambda one: bench.energy(section, one, band_hz))]
    if control == "silent":
        victims = [layer for layer in victims if before.sounding(layer) < 0.05]
    if not victims or (not control and len(victims) > 1):
        return None
    victim = str(rng.choice(victims))
    if control:
        energy = bench.energy(there, victim, band_hz) * 10.0 ** (-over_db / 10.0)
        if not bench.harmless(section, band_hz, energy, but=victim):
            return None
    power = _power(*bench.before(there), there, victim, band_hz)
    if not power.any():
        return None
    if there == section:
        return victim, power
    cut = mix.cut(section)
    return victim, np.full((cut.stop - cut.start) // CELL, power[power > 0.0].mean())


def _power(mix: Mix, before: Heard, section: str, layer: str, band_hz: tuple[float, float]) -> np.ndarray:
    power = cell_powers(in_band(mix.layers[layer][mix.cut(section)], band_hz))
    active = before.active(layer)
    both = min(len(power), len(active))
    return np.where(active[:both], power[:both], 0.0)


def iou(one: tuple[float, float] | None, other: tuple[float, float]) -> float:
    """Return the intersection of two bands over their union, in octaves."""
    if one is None:
        return 0.0
    (a, b), (c, d) = np.log2(one), np.log2(other)
    return float(max(0.0, min(b, d) - max(a, c)) / (max(b, d) - min(a, c)))


def grew(before: Heard, after: Heard) -> tuple[Growth, ...]:
    """Return what `measure` tells since the last measure."""
    return growth(before.hearing, after.hearing, rows_of(after.hearing, after.places), after.sections)


def grew_most(growths: Sequence[Growth]) -> Named | None:
    """Return the first thing that is told to have grown."""
    if not growths:
        return None
    one = growths[0]
    by = tuple(by.track for by in one.caused_by)
    return Named(one.track, one.section, one.band_hz, by, one.excess_db + one.step_db)


def overlap_grew_most(before: Mix, after: Mix) -> Named | None:
    """Return lead or support, other layer, section and third octave whose energy at the same time grew most."""
    most: tuple[float, Named] | None = None
    old, new = _third_octaves(before), _third_octaves(after)
    hz = 1000.0 * 10.0 ** (0.1 * np.arange(-13, 13))
    for victim in after.judged:
        for other in after.layers:
            if other == victim or victim not in new:
                continue
            shared = np.minimum(new[victim], new[other])
            if victim in old and other in old:
                shared = shared - np.minimum(old[victim], old[other])
            for part in after.sections:
                cut = after.cut(part.name)
                mean = shared[cut.start // 2048 : cut.stop // 2048].sum(axis=0)
                k = int(np.argmax(mean))
                if most is None or mean[k] > most[0]:
                    edges = float(hz[k] * 10.0**-0.05), float(hz[k] * 10.0**0.05)
                    most = float(mean[k]), Named(victim, part.name, edges, (other,), float(mean[k]))
    return None if most is None else most[1]


def _third_octaves(mix: Mix) -> dict[str, np.ndarray]:
    return {id_: _third_octaves_of(audio) for id_, audio in mix.layers.items()}


def _third_octaves_of(audio: np.ndarray) -> np.ndarray:
    """Return the energy of windows of 85 ms in third octaves from 50 Hz to 16 kHz, base ten (IEC 61260-1)."""
    window = np.hanning(4096).astype(np.float32)
    windows = sliding_window_view(audio, 4096, axis=0)[::2048]
    power = np.sum(np.abs(np.fft.rfft(windows * window, axis=2)) ** 2, axis=1)
    edges = 1000.0 * 10.0 ** (0.1 * np.arange(-13, 14) - 0.05) * 4096 / RATE_HZ
    return np.asarray(np.add.reduceat(power, np.round(edges).astype(int), axis=1)[:, :-1])


def reason(trial: Trial, named: Named | None) -> str:
    """Return why a trial failed, "" where it did not."""
    if named is None:
        return "nothing grew"
    if named.victim != trial.victim:
        return "victim"
    if named.section != trial.section:
        return "section"
    planted_by = tuple(one.layer for one in trial.maskers)
    if named.by[:1] != planted_by[:1]:
        return "layer"
    if iou(named.band_hz, trial.band_hz) < LEAST_IOU:
        return "band"
    return "" if named.by[: len(planted_by)] == planted_by else "second layer"
