# SPDX-License-Identifier: Apache-2.0
"""What a mix with moves would have of the figures by which it stands beside records, and how far outside that is."""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.hearing.components import components
from mixwright.hearing.ear_filter import transmission_db
from mixwright.hearing.moments import Moments
from mixwright.hearing.place_loudness import place_hz
from mixwright.meter.loudness import k_gain
from mixwright.model.comparison import ComparedRow
from mixwright.model.profile import BANDS_HZ, FIGURES, THIRDS_HZ
from mixwright.planning.candidate import Candidate
from mixwright.planning.excited import Excited
from mixwright.planning.filter_gains import band_limit, bell, tilt
from mixwright.planning.objective import Chosen
from mixwright.planning.powers import factor
from mixwright.reference.low_end import octave_shares
from mixwright.reference.spectrum import shares, slope_db_oct
from mixwright.units import db_from_power

#: The figures that moves of levels, filters, places and width are known to change, by how much.
FORETOLD = frozenset(
    {"third_octaves_db", "low_end_db", "low_octaves_db", "top_end_db", "slope_db_oct", "side_to_mid_db",
     "contrast_loudness_lu"}
)  # fmt: skip
#: What a band counts of a figure that has many: three thirds, or two octaves of the bottom, as much as one figure.
_BAND_COUNTS = {"thirds": 1.0 / 3.0, "bottom": 0.5}
_LEAST = 1e-30


def band_energy(moments: Moments) -> np.ndarray:
    """Return the energy of each layer in thirds of an octave, as its part of the mix, float64 (layers, 31)."""
    together = moments.power.sum(axis=0)
    part = np.divide(moments.mix, together, out=np.zeros_like(together), where=together > 0.0)
    weighted = (moments.power * (part * moments.time_s[:, None])).sum(axis=(1, 2), dtype=np.float64)
    return np.asarray(weighted @ _thirds())


@functools.cache
def _thirds() -> np.ndarray:
    """Return in which third each component of the running spectrum lies, over what reaches the cochlea of it."""
    hz = components().hz
    low, high = np.array(BANDS_HZ["thirds"]).T
    inside = (hz[:, None] >= low) & (hz[:, None] < high)
    return np.asarray(inside / 10.0 ** (transmission_db(hz)[:, None] / 10.0))


@dataclass(frozen=True, eq=False)
class _Sum:
    """What a part of a song has: energy in thirds, (31,), of middle and of side."""

    thirds: np.ndarray
    middle: float
    side: float

    @property
    def loudness(self) -> float:
        return 10.0 * math.log10(max(float(self.thirds @ k_gain(THIRDS_HZ)), _LEAST))

    def figure(self, name: str) -> tuple[float | None, ...]:
        """Return a figure of `model.profile.FIGURES` in all of its bands."""
        if name == "third_octaves_db":
            loudness = self.loudness
            levels = (db_from_power(float(power)) for power in self.thirds)
            return tuple(None if level is None else level - loudness for level in levels)
        if name == "low_octaves_db":
            return octave_shares(self.thirds)
        if name == "slope_db_oct":
            return (slope_db_oct(self.thirds),)
        if name == "side_to_mid_db":
            return (db_from_power(self.side / self.middle) if self.middle > 0.0 else None,)
        low, top = shares(np.array(THIRDS_HZ), self.thirds)
        return (low if name == "low_end_db" else top,)


class RecordFigures:
    """Where a mix would stand beside records with moves.

    Energies of layers are added, and only the change of each figure is believed: layers that have something in common
    make the mix differ from their sum.

    Parameters
    ----------
    rows : sequence of ComparedRow
        where the mix stands without moves; those of figures that are not `FORETOLD` are passed over
    sections : sequence of Excited
        all sections of the song
    energy : mapping
        by the name of a section, as of :func:`band_energy`
    side_share : sequence of float
        of each layer, the power of its side over all of it
    contrast_lu : mapping
        by the name of each section that tells of contrast, its loudness beside that of the whole
    """

    def __init__(
        self,
        rows: Sequence[ComparedRow],
        sections: Sequence[Excited],
        energy: Mapping[str, np.ndarray],
        side_share: Sequence[float],
        contrast_lu: Mapping[str, float],
    ) -> None:
        self.energy, self.side_share = energy, side_share
        self._sections = {one.section.name: one for one in sections}
        # Where the sections of the mix were found by themselves, they are not those that are heard.
        self.contrast_lu = contrast_lu if contrast_lu.keys() <= self._sections.keys() else {}
        whole_s = sum(one.section.end_s - one.section.start_s for one in sections)
        self._parts = {
            name: (one.section.end_s - one.section.start_s) / max(whole_s, 1e-9) for name, one in self._sections.items()
        }
        self.rows = tuple(
            row for row in rows if row.figure in FORETOLD and (not row.section or row.section in self._sections)
        )
        self._heard_db: dict[tuple[Candidate, bytes, int, str], np.ndarray] = {}
        self._before = self._sums(())

    def energy_of(self, section: str) -> np.ndarray:
        """Return the energy of each layer in thirds of an octave, (layers, 31), in a section or, "", in all of them."""
        return self.energy[section] if section else np.sum(list(self.energy.values()), axis=0)

    def part_of(self, row: ComparedRow) -> float:
        """Return what a row counts: 1 of the whole song, of a section by its length, less of one band of many."""
        band = _BAND_COUNTS.get(FIGURES[row.figure].bands, 1.0)
        return band * (self._parts[row.section] if row.section else 1.0)

    def outside(self, chosen: Chosen) -> dict[ComparedRow, float]:
        """Return how far each row lies outside with moves: above (+), below (-), 0 inside."""
        now = self._sums(chosen)
        found = {}
        for row in self.rows:
            value = row.value + self._change(row, now)
            found[row] = value - row.high if value > row.high else min(0.0, value - row.low)
        return found

    def missing(self, outside: Mapping[ComparedRow, float]) -> float:
        """Return how far all of it lies outside: halves of intervals, by how much is heard and what each counts."""
        return sum(
            self.part_of(row) * row.heard * abs(far) / max(0.5 * (row.high - row.low), 1e-9)
            for row, far in outside.items()
        )

    def _change(self, row: ComparedRow, now: Mapping[str, _Sum]) -> float:
        if row.figure == "contrast_loudness_lu":
            stands = [(lu, now[name].loudness - self._before[name].loudness) for name, lu in self.contrast_lu.items()]
            after, before = [lu + change for lu, change in stands], [lu for lu, _ in stands]
            return (max(after) - min(after)) - (max(before) - min(before)) if stands else 0.0
        band = next(
            (k for k, edges in enumerate(BANDS_HZ[FIGURES[row.figure].bands]) if edges[0] == (row.low_hz or 0.0)), 0
        )
        then, was = (sums[row.section].figure(row.figure)[band] for sums in (now, self._before))
        return 0.0 if then is None or was is None else then - was

    def _gain_db(self, candidate: Candidate, values: np.ndarray, row: int, excited: Excited) -> np.ndarray:
        found = _filter_db(candidate, values)
        if found is not None:
            return found
        key = (candidate, values.tobytes(), row, excited.section.name)  # candidates are told apart by identity
        if key not in self._heard_db:
            self._heard_db[key] = _heard_db(candidate, values, row, excited)
        return self._heard_db[key]

    def _sums(self, chosen: Chosen) -> dict[str, _Sum]:
        found = {name: self._sum(name, chosen) for name in self._sections}
        every = tuple(found.values())
        thirds = np.sum([one.thirds for one in every], axis=0)
        return {"": _Sum(thirds, sum(one.middle for one in every), sum(one.side for one in every)), **found}

    def _sum(self, name: str, chosen: Chosen) -> _Sum:
        energy = self.energy[name].copy()
        side = np.array(self.side_share, dtype=np.float64)
        excited = self._sections[name]
        for candidate, values in chosen:
            if candidate.sections and name not in candidate.sections:
                continue
            for row in candidate.rows:
                if candidate.kind in ("width", "pan"):
                    more, side[row] = _placed(candidate, values, float(side[row]))
                    energy[row] *= more
                else:
                    energy[row] *= factor(self._gain_db(candidate, values, row, excited))
        power = energy.sum(axis=1)
        return _Sum(energy.sum(axis=0), float(power @ (1.0 - side)), float(power @ side))


def _placed(candidate: Candidate, values: np.ndarray, side: float) -> tuple[float, float]:
    """Return by what the power of a layer is multiplied when it is placed, and the part of its side then.

    A side that is w times what it was has w^2 times the power. Of one channel at p (-1 to 1, gains are cosine and sine)
    the side holds ``(1 - cos(p pi / 2)) / 2``. What is kept to a part of its width is taken to stay as it is.
    """
    settings = candidate.all_settings(values)
    if "width" in settings:
        sides = side * settings["width"] ** 2
        power = 1.0 - side + sides
        return power, sides / max(power, _LEAST)
    return 1.0, (1.0 - math.cos(settings["pan"] * math.pi / 2.0)) / 2.0 if "pan" in settings else side


def _filter_db(candidate: Candidate, values: np.ndarray) -> np.ndarray | None:
    """Return the gain of a level or a filter in thirds of an octave, (31,), by its formula; None of anything else."""
    settings, hz = candidate.all_settings(values), np.array(THIRDS_HZ)
    if candidate.kind == "level":
        return np.full(len(hz), settings["gain_db"])
    if candidate.kind == "shape":
        return bell(settings["hz"], settings["gain_db"], settings["q"], hz).db
    if candidate.kind == "tilt":
        return tilt(settings["hz"], settings["gain_db"], hz).db
    if candidate.kind == "band_limit":
        slope = settings.get("slope_db_oct", 12.0)
        return band_limit(hz, slope, settings.get("low_hz"), settings.get("high_hz")).db
    return None


def _heard_db(candidate: Candidate, values: np.ndarray, row: int, excited: Excited) -> np.ndarray:
    """Return the gain of a row in thirds of an octave, (31,), as a mean over what is heard of it."""
    hz = np.array(THIRDS_HZ)
    gain = candidate.gains_db(values, excited).get(row)
    if gain is None:
        return np.zeros(len(hz))
    own = excited.k_power[row].astype(np.float64)
    whole, moved = own.sum(axis=(0, 1)), (own * factor(gain)).sum(axis=(0, 1))
    at_places = 10.0 * np.log10(np.where(whole > 0.0, np.maximum(moved, _LEAST) / np.maximum(whole, _LEAST), 1.0))
    return np.asarray(np.interp(np.log(hz), np.log(place_hz()), at_places))
