# SPDX-License-Identifier: Apache-2.0
"""Candidates that shape a layer for good: passes, boost beside cut, cuts where nothing of it is essential, tilts."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace

from mixwright.planning import limits
from mixwright.planning.candidate import Candidate, Setting
from mixwright.planning.clash import Clash, Target, crowded, middle_hz
from mixwright.planning.essentials import Essentials
from mixwright.planning.standing import LEAST_BELL_DB, Standing

#: More than this part of a band's energy makes the band essential to who takes there.
_ESSENTIAL_PART = 0.5
#: Who takes more than this part of a loss takes it alone.
_ALONE_PART = 0.5
_SLOPE_DB_OCT = 12.0
#: Where one of kick and bass is tilted by itself.
_TILTS_HZ = (130.0, 250.0, 400.0)
_LOW_ROLES = frozenset({"kick", "bass"})


def band_limits(clash: Clash) -> Iterator[Candidate]:
    """Yield passes on who takes: above or below what is crowded, where the middle of the layer lies beyond."""
    for target in clash.targets:
        middle = middle_hz(clash.excited, target.rows)
        for low_hz, high_hz in clash.bands:
            setting = None
            if high_hz < middle and high_hz <= limits.HIGHEST_LOW_HZ.value and not _low(target):
                lowest = limits.LOWEST_PASS_HZ.value
                setting = Setting("low_hz", lowest, lowest, min(limits.HIGHEST_LOW_HZ.value, 1.5 * high_hz), high_hz)
            elif low_hz > middle and low_hz >= limits.LOWEST_HIGH_HZ.value:
                highest = limits.HIGHEST_PASS_HZ.value
                setting = Setting("high_hz", highest, max(limits.LOWEST_HIGH_HZ.value, low_hz / 1.5), highest, low_hz)
            if setting is not None:
                fixed = {"slope_db_oct": _SLOPE_DB_OCT}
                yield clash.candidate("band_limit", target, (), (setting,), fixed, why="band_limit")


def complements(clash: Clash, held: Essentials) -> Iterator[Candidate]:
    """Yield a boost of who loses, together with a smaller cut of who takes most, in one band each."""
    for k, (low_hz, high_hz) in enumerate(clash.bands):
        pair = f"shape {clash.finding.id} {k}"
        boost = Setting("gain_db", 0.0, 0.0, limits.STRONG_BOOST_DB.value, 2.0)
        yield clash.candidate(
            "shape", clash.itself(), (), (boost,), _bell(low_hz, high_hz), pair=pair, why="complement"
        )
        for target in clash.targets[:1]:
            if not _essential(clash, held, target, low_hz, high_hz):
                cut = Setting("gain_db", 0.0, -_deepest_db(clash, target), 0.0, -1.5)
                yield clash.candidate("shape", target, (), (cut,), _bell(low_hz, high_hz), pair=pair, why="complement")


def cuts(clash: Clash, held: Essentials) -> Iterator[Candidate]:
    """Yield cuts of who takes, where the band is not essential to them."""
    for target in clash.targets:
        for low_hz, high_hz in clash.bands:
            if not _essential(clash, held, target, low_hz, high_hz):
                cut = Setting("gain_db", 0.0, -_deepest_db(clash, target), 0.0, -2.5)
                for sections in clash.where:
                    yield clash.candidate("shape", target, sections, (cut,), _bell(low_hz, high_hz), why="cut")


def as_elsewhere(clash: Clash, standing: Mapping[int, Standing]) -> Iterator[Candidate]:
    """Yield cuts of who takes, where that stands higher in this section than in the others.

    Such a cut leads back to what the layer is elsewhere, so that it is cheaper than others, and may go as far.
    """
    section = clash.finding.section
    for target in clash.targets if section in clash.sections and len(clash.sections) > 1 else ():
        stands = standing.get(max(target.rows, key=lambda row: clash.parts.get(row, 0.0)))
        if stands is None:
            continue
        bells = [(*bell_of(*band_hz, limits.CUT_Q.value), stands.between(*band_hz)) for band_hz in clash.bands]
        if (own := stands.bell()) is not None:
            bells.append((float(f"{own[0]:.2g}"), *own[1:]))
        for hz, q, high_db in bells:
            if high_db >= LEAST_BELL_DB:
                most = min(limits.STRONG_CUT_DB.value, 2.0 * high_db)
                cut = Setting("gain_db", 0.0, -most, 0.0, -0.6 * min(high_db, most))
                one = clash.candidate("shape", target, (section,), (cut,), {"hz": hz, "q": q}, why="elsewhere")
                yield replace(one, price_share=limits.ELSEWHERE_PART.value)


def tilts(clash: Clash) -> Iterator[Candidate]:
    """Yield opposite tilts of kick and bass, the lower of them darker, around where they meet."""
    for target in clash.takers:
        if target.row is None or {clash.row.role, target.row.role} != _LOW_ROLES:
            continue
        both = sorted(((_low_middle_hz(clash, one), one) for one in (clash.itself(), target)), key=lambda one: one[0])
        hz = min(max(math.sqrt(both[0][0] * both[1][0]), limits.TILT_LOW_HZ.value), limits.TILT_HIGH_HZ.value)
        most = limits.TILT_DB.value
        for sign, (_, one) in zip((-1.0, 1.0), both, strict=True):
            setting = Setting("gain_db", 0.0, min(sign * most, 0.0), max(sign * most, 0.0), sign * 1.5)
            fixed = {"hz": float(f"{hz:.2g}")}
            yield clash.candidate("tilt", one, (), (setting,), fixed, pair=f"tilt {clash.finding.id}", why="tilt")
        yield from _tilted_away(clash, target)


def _tilted_away(clash: Clash, target: Target) -> Iterator[Candidate]:
    """Yield tilts of who takes by itself, away from where it takes: who is far too dark or bright is off alone."""
    most = limits.STRONG_TILT_DB.value if clash.need_db > limits.LEVEL_DB.value else limits.TILT_DB.value
    for hz in _TILTS_HZ:
        for low_hz, high_hz in crowded(clash.excited, clash.victim, target.rows, 1):
            sign = 1.0 if math.sqrt(low_hz * high_hz) < hz else -1.0
            setting = Setting("gain_db", 0.0, min(sign * most, 0.0), max(sign * most, 0.0), sign * 2.5)
            for sections in clash.where if not clash.finding.section else clash.where[-1:]:
                yield clash.candidate("tilt", target, sections, (setting,), {"hz": hz}, why="tilt")


def bell_of(low_hz: float, high_hz: float, narrowest: float) -> tuple[float, float]:
    """Return the frequency, to two figures, and the Q of a bell for a band: no narrower than asked, none very wide."""
    hz = math.sqrt(low_hz * high_hz)
    return float(f"{hz:.2g}"), round(min(max(hz / (high_hz - low_hz), limits.WIDEST_Q.value), narrowest), 1)


def _bell(low_hz: float, high_hz: float) -> dict[str, float]:
    hz, q = bell_of(low_hz, high_hz, limits.CUT_Q.value)
    return {"hz": hz, "q": q}


def _deepest_db(clash: Clash, target: Target) -> float:
    """Return how far a target may be cut: further where it takes most of what is far too little."""
    part = sum(clash.parts.get(row, 0.0) for row in target.rows)
    alone = clash.finding.band_hz is not None and part > _ALONE_PART * sum(clash.parts.values())
    far = alone and clash.need_db > limits.LEVEL_DB.value
    return limits.STRONG_CUT_DB.value if far else limits.CUT_DB.value


def _low(target: Target) -> bool:
    return target.row is not None and target.row.role in _LOW_ROLES


def _essential(clash: Clash, held: Essentials, target: Target, low_hz: float, high_hz: float) -> bool:
    """Tell whether a cut would take from a target what is essential to it there; of a bed nothing is held."""
    section = clash.excited.section.name
    rows = [row for row in target.rows if clash.song.rows[row].place_at(section) != "bed"]
    loud = {row: float(clash.excited.own[row].sum()) for row in target.rows}
    whole = sum(loud.values())
    share = sum(loud[row] * held.share(row, section, low_hz, high_hz) for row in rows)
    return whole > 0.0 and share > _ESSENTIAL_PART * whole


def _low_middle_hz(clash: Clash, target: Target) -> float:
    """Return the middle of the low end of a layer: up to an octave above where tilts turn."""
    return middle_hz(clash.excited, target.rows, 2.0 * limits.TILT_HIGH_HZ.value)
