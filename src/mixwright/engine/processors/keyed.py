# SPDX-License-Identifier: Apache-2.0
"""Keyed processors: what stands in somebody's way is lowered while they sound.

Core of all: ``y = x + (g - 1) B(x)``, where B is a section with fixed coefficients (`core.filters.band_beside`) and g
the gain, which is logged. With g = 1 it is exact bypass; with any g that stays, it is a bell of that gain whose Q is
that of the band divided by the root of g.
Every 32 frames, counted from reset, it looks at what was heard since. Gains go in straight lines from look to look,
dips in straight lines of dB over time, so that they end. `look_ahead_ms` is latency, by which gains come before what
they are for.

A key sounds, by a rule of our own: its power, smoothed over 10 ms, is above a level that is set, and less than
`near_db` below its own recent maximum; it goes on sounding to 4 dB less of both. The maximum fades by 1 dB a second
while the key sounds, by 0.1 dB while it is audible but does not count, and stays in silence: breaths and bleed lie
further below. A dip asks so of the whole key above 80 Hz, and of each band of it with 10 dB more. What it measures of
the key, it measures while that sounds, and goes by it for as long as it stays.

Times: backward masking lasts about 5 to 20 ms, forward masking 100 to 200 ms (Moore, An Introduction to the Psychology
of Hearing; from memory). Paces and depths are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from mixwright.core.filters import band_beside, design_high_pass, design_low_pass, memory_frames
from mixwright.engine.operation import Operation, Row, Stage
from mixwright.engine.processors.insert import made, on
from mixwright.errors import SettingError
from mixwright.jobs.cache import Part
from mixwright.model.filters import Pass
from mixwright.model.keyed_inserts import Dip, Duck, Pace, Peaks, usual_pace
from mixwright.model.song import changed
from mixwright.model.words import Role
from mixwright.native import chain as native
from mixwright.native.keyed import LOOK, dip_states, duck_states, peaks_states
from mixwright.native.mathematics import LOG2_E, exp2, log2

#: Attack, hold and release of each pace, and in how long measured levels fall, in ms.
PACES: dict[Pace, tuple[float, float, float, float]] = {
    "word": (8.0, 30.0, 120.0, 20.0),
    "phrase": (15.0, 400.0, 350.0, 100.0),
}
#: A moment's level and a rise of the measured one; how a struck level falls, and what it was before follows it.
_MOMENT_MS, _RISE_MS, _PEAK_MS, _BEFORE_MS = 10.0, 5.0, 20.0, 50.0
#: No hit comes sooner after another.
_APART_MS = 50.0
_SMOOTH_MS = 30.0
_STAYS_DB, _FADE_OPEN_DB_S, _FADE_SHUT_DB_S = 4.0, 1.0, 0.1
#: By so much more a band of a key may lie below its maximum than the whole key.
_BAND_NEAR_DB = 10.0
_LOG2_10 = 3.321928094887362
_ALL = np.array([[1.0, 0.0, 0.0, 0.0, 0.0]])
#: What lies between two edges is wider than this.
_NARROWEST = 1.000001
#: Coefficients of a dip before those of its bands.
_BEFORE_BANDS = 11


@dataclass(frozen=True, eq=False)
class _Dip:
    """A dip; what else is in the way is heard by an operation before it, into the same state."""

    dips: Stage
    against: str

    @property
    def latency_frames(self) -> int:
        """By how much later audio comes out of it."""
        return self.dips.latency_frames

    def memory_frames(self, rate_hz: int) -> int:
        """Frames for which it sounds on after its input ends."""
        return self.dips.memory_frames(rate_hz)

    def identity(self) -> Part:
        """All of it that can be heard, as part of a key."""
        return "dip", self.against, self.dips.identity()

    def rows(self, channels: int) -> list[Row]:
        """Return what the C core runs."""
        rows = self.dips.rows(channels)
        if not self.against or not rows or rows[-1].kind != self.dips.kind:  # a mono track has no side to dip
            return rows
        where = slice(_BEFORE_BANDS, _BEFORE_BANDS + 5 * self.dips.count)
        moving = self.dips.moving

        def bands(strides: np.ndarray) -> np.ndarray:
            assert moving is not None
            return moving(strides)[:, where]

        heard = Row(
            native.AGAINST,
            self.dips.count,
            self.dips.coefficients[where],
            rows[-1].states,
            key=self.against,
            moving=None if moving is None else bands,
        )
        return [*rows[:-1], heard, rows[-1]._replace(of=1)]

    @property
    def stage(self) -> Stage:
        """What lowers."""
        return self.dips

    def moved(self, stage: Stage) -> _Dip:
        """Return the same with another stage that lowers."""
        return _Dip(stage, self.against)


@made.register
def dip(insert: Dip, rate_hz: int) -> tuple[Operation, ...]:
    """Return a dip; `csrc/dip.c` says what its coefficients are.

    Raises
    ------
    SettingError
        without a key, or for a band at half the rate or above
    """
    _require_key(insert.key, "dip")
    late = _frames(insert.look_ahead_ms, rate_hz)
    whole = design_high_pass(Pass(hz=80.0, slope_db_oct=12), rate_hz)
    sections = np.concatenate([*(band_beside(band.hz, band.q, rate_hz) for band in insert.bands), whole])
    excess = insert.form == "excess"
    common = [
        late,
        *_gate(rate_hz),
        _power(insert.key_above_db),
        _power(-insert.near_db),
        _power(-insert.near_db - _BAND_NEAR_DB),
        _part(_MOMENT_MS, rate_hz),
        _part(_RISE_MS, rate_hz),
        float(excess),
        insert.margin_db if excess else -insert.threshold_db,
    ]
    bands, longest = [], 0
    for band in insert.bands:
        pace = PACES[band.pace or "word"]
        attack, hold, release = (
            usual if said is None else said
            for said, usual in zip((band.attack_ms, band.hold_ms, band.release_ms), pace, strict=False)
        )
        hold_frames = late + _frames(hold, rate_hz)
        slopes = _slope(band.most_db, attack, rate_hz), _slope(band.most_db, release, rate_hz)
        bands += [_part(pace[3], rate_hz), band.most_db, *slopes, _looks(hold_frames)]
        longest = max(longest, hold_frames + _frames(release, rate_hz))
    assert len(common) == _BEFORE_BANDS
    stage = Stage(
        kind=native.DIP,
        coefficients=np.array([*common, *sections.ravel(), *bands]),
        states=(dip_states(len(insert.bands), late),) * 2,
        count=len(insert.bands),
        latency_frames=late,
        remembers_frames=longest + memory_frames(sections, rate_hz),
        key=insert.key,
        gains=len(insert.bands),
        on=on(insert),
    )
    return (_Dip(stage, insert.against),)


@made.register
def duck(insert: Duck, rate_hz: int) -> tuple[Operation, ...]:
    """Return a duck; `csrc/duck.c` says what its coefficients are.

    A hit, by a rule of our own: the level in the key's band (it rises at once and falls over 20 ms) stands by more than
    `rise_db` over the level before (which follows over 50 ms), above `above_db`, less than `near_db` below its recent
    maximum, at least 50 ms after the last one.

    Raises
    ------
    SettingError
        without a key, or for an edge at half the rate or above, or edges that do not enclose anything
    """
    _require_key(insert.key, "duck")
    late = _frames(insert.look_ahead_ms, rate_hz)
    heard = np.concatenate([_between(rule.key_low_hz, rule.key_high_hz, 12, rate_hz) for rule in insert.rules])
    lowered = np.concatenate([_between(rule.low_hz, rule.high_hz, 6, rate_hz) for rule in insert.rules])
    common = [
        late,
        *_gate(rate_hz),
        _part(_MOMENT_MS, rate_hz),
        1.0 - _part(_PEAK_MS, rate_hz),
        _part(_BEFORE_MS, rate_hz),
        _looks(_frames(_APART_MS, rate_hz)),
    ]
    rules, longest = [], 0
    for rule in insert.rules:
        hold_frames = late + _frames(rule.hold_ms, rate_hz)
        rules += [
            float(rule.by == "hits"),
            _power(rule.above_db),
            _power(-rule.near_db),
            _power(rule.rise_db),
            rule.depth_db,
            _slope(rule.depth_db, rule.attack_ms, rate_hz),
            _slope(rule.depth_db, rule.release_ms, rate_hz),
            _looks(hold_frames),
        ]
        longest = max(longest, hold_frames + _frames(rule.release_ms, rate_hz))
    return (
        Stage(
            kind=native.DUCK,
            coefficients=np.array([*common, *heard.ravel(), *lowered.ravel(), *rules]),
            states=(duck_states(len(insert.rules), late),) * 2,
            count=len(insert.rules),
            latency_frames=late,
            remembers_frames=longest + memory_frames(lowered, rate_hz),
            key=insert.key,
            gains=len(insert.rules),
            on=on(insert),
        ),
    )


@made.register
def peaks(insert: Peaks, rate_hz: int) -> tuple[Operation, ...]:
    """Return what lowers peaks; `csrc/peaks.c` says what its coefficients are.

    Bands lie side by side, equally wide in octaves, and meet at -3 dB. What stands out is the level of a band, smoothed
    over 30 ms, over the mean of the levels in dB of its neighbours. What is lowered is taken from what comes in, from
    all bands at once.

    Raises
    ------
    SettingError
        for edges at half the rate or above, or edges that do not enclose anything
    """
    _check_edges(insert.low_hz, insert.high_hz)
    late = _frames(insert.look_ahead_ms, rate_hz)
    octaves = float(log2(insert.high_hz / insert.low_hz))
    width = octaves / insert.bands
    middles = insert.low_hz * exp2((np.arange(insert.bands) + 0.5) * width)
    half = exp2(0.5 * width)  # 1 / (2 sinh(ln(2) / 2 * width)) is the Q of a band so many octaves wide
    q = 1.0 / float(half - 1.0 / half)
    sections = np.concatenate([band_beside(float(hz), q, rate_hz) for hz in middles])
    common = [
        late,
        min(insert.bands, max(1, round(insert.width_oct / width))),
        insert.allowed_db,
        insert.most_db,
        _slope(insert.most_db, insert.attack_ms, rate_hz),
        _slope(insert.most_db, insert.release_ms, rate_hz),
        _part(_SMOOTH_MS, rate_hz),
    ]
    return (
        Stage(
            kind=native.PEAKS,
            coefficients=np.array([*common, *sections.ravel()]),
            states=(peaks_states(insert.bands, late),) * 2,
            count=insert.bands,
            latency_frames=late,
            remembers_frames=late + _frames(insert.release_ms, rate_hz) + memory_frames(sections, rate_hz),
            key=insert.key,
            gains=insert.bands,
            on=on(insert),
        ),
    )


def paced(insert: Dip, role: Role) -> Dip:
    """Return a dip whose bands have a pace, where they say none the one that is usual for a layer of such a role."""
    pace = usual_pace(role)
    return changed(insert, bands=tuple(changed(band, pace=band.pace or pace) for band in insert.bands))


def _between(low_hz: float | None, high_hz: float | None, slope: Literal[6, 12], rate_hz: int) -> np.ndarray:
    """Return the section that lets through what lies between two edges, where it has fallen by 3 dB.

    With one edge it falls by `slope` dB an octave beyond, with two by 6.
    """
    if low_hz is None:
        return _ALL if high_hz is None else design_low_pass(Pass(hz=high_hz, slope_db_oct=slope), rate_hz)
    if high_hz is None:
        return design_high_pass(Pass(hz=low_hz, slope_db_oct=slope), rate_hz)
    _check_edges(low_hz, high_hz)
    middle = float(np.sqrt(low_hz * high_hz))
    return band_beside(middle, middle / (high_hz - low_hz), rate_hz)


def _check_edges(low_hz: float, high_hz: float) -> None:
    if low_hz * _NARROWEST >= high_hz:
        raise SettingError(f"nothing lies between {low_hz:g} and {high_hz:g} Hz", hint="set low_hz below high_hz")


def _require_key(key: str, what: str) -> None:
    if not key:
        raise SettingError(
            f"a {what} names no key", hint="name the track, source, group or send it shall make room for"
        )


def _frames(ms: float, rate_hz: int) -> int:
    return round(ms * rate_hz / 1000.0)


def _looks(frames: int) -> int:
    return round(frames / LOOK)


def _part(ms: float, rate_hz: int) -> float:
    """Return how much of what is missing a level that follows with such a time constant gains in a look."""
    return 1.0 - float(exp2(-LOG2_E * 1000.0 * LOOK / (ms * rate_hz)))


def _power(db: float) -> float:
    return float(exp2(db * _LOG2_10 / 10.0))


def _slope(db: float, ms: float, rate_hz: int) -> float:
    """Return the dB of a look of a line that goes so far in so long."""
    return db * 1000.0 * LOOK / (ms * rate_hz)


def _gate(rate_hz: int) -> tuple[float, float, float]:
    a_look = LOOK / rate_hz
    return _power(-_STAYS_DB), _power(-_FADE_OPEN_DB_S * a_look), _power(-_FADE_SHUT_DB_S * a_look)
