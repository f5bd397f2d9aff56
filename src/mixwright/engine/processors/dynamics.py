# SPDX-License-Identifier: Apache-2.0
"""Processors that follow levels, as operations of the C core.

Compressor and expander: D. Giannoulis, M. Massberg, J. D. Reiss, "Digital dynamic range compressor design: a tutorial
and analysis", J. Audio Eng. Soc. 60(6), 2012: feed-forward, gain computer with a soft knee on log levels, smooth
decoupled detector on the reduction. Loudness: K-weighting of ITU-R BS.1770-5.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from mixwright.core.crossover import crossover
from mixwright.core.filters import band_beside, memory_frames, moving_band_at, strip_sections
from mixwright.engine.operation import Operation, Stage
from mixwright.engine.processors.insert import made, movable, on
from mixwright.errors import SettingError
from mixwright.meter.loudness import k_weighting
from mixwright.model.dynamics_inserts import (
    Clipper,
    Compressor,
    DeEsser,
    Detector,
    Expander,
    LevelRange,
    Levels,
    Transients,
)
from mixwright.model.insert import Insert
from mixwright.model.strip import Strip
from mixwright.native import chain as native
from mixwright.native import colour, oversample
from mixwright.native.crossover import states as crossover_states
from mixwright.native.mathematics import LOG2_E, exp2, ratio

OCTAVES_A_DB = 0.16609640474436811739  # log2(10) / 20
_NO_LIMIT = 1000.0  # octaves: more than any float has
_KINDS = {"peak": 0, "rms": 1, "loudness": 2}
_LUFS_OF_POWER_1 = -0.691
#: A gain that still moves counts as at rest when this many time constants have passed: e^-14 is below 1e-6.
_SETTLED = 14

_CROSSOVER_ORDER = 4
#: Peaks of transients are let go with this time constant, and followed fast with the next.
_TRANSIENT_RELEASE_MS, _TRANSIENT_FAST_MS = 60.0, 1.0
#: Of a de-esser: softness of the threshold; how long it listens to the band, and to the voice as it rises and falls.
_DE_ESSER_KNEE_DB, _DE_ESSER_MS, _VOICE_RISES_MS, _VOICE_FALLS_MS = 6.0, 3.0, 200.0, 3000.0


def kept(milliseconds: float, rate_hz: int) -> float:
    """Return what one frame leaves of a difference that decays with a time constant."""
    return float(exp2(-LOG2_E / (milliseconds / 1000.0 * rate_hz)))


def settled_frames(milliseconds: float, rate_hz: int) -> int:
    """Return the frames after which nothing moves that moves with time constants of so much in all."""
    return math.ceil(_SETTLED * milliseconds / 1000.0 * rate_hz)


@made.register
def compressor(insert: Compressor, rate_hz: int) -> tuple[Operation, ...]:
    """Return a compressor (csrc/compressor.c), without latency."""
    return (_compressor(insert, rate_hz, moves=False),)


@movable.register
def movable_compressor(insert: Compressor, rate_hz: int) -> tuple[Operation, ...]:
    """Return a compressor that has a gain for each channel, and all its detector's bands, needed or not."""
    return (_compressor(insert, rate_hz, moves=True),)


def _compressor(insert: Compressor, rate_hz: int, *, moves: bool) -> Stage:
    slow_ms = insert.slow_release_ms
    settings = [
        insert.threshold_db * OCTAVES_A_DB,
        1.0 - 1.0 / insert.ratio,
        insert.knee_db * OCTAVES_A_DB,
        _NO_LIMIT if insert.range_db is None else insert.range_db * OCTAVES_A_DB,
        kept(insert.attack_ms, rate_hz),
        kept(insert.release_ms, rate_hz),
        1.0 if slow_ms is None else kept(slow_ms, rate_hz),
    ]
    moves_ms = insert.attack_ms + insert.release_ms + (slow_ms or 0.0)
    return _following(insert, native.COMPRESSOR, settings, 3, moves_ms, rate_hz, moves=moves)


@made.register
def expander(insert: Expander, rate_hz: int) -> tuple[Operation, ...]:
    """Return an expander (csrc/expander.c), without latency."""
    return (_expander(insert, rate_hz, moves=False),)


@movable.register
def movable_expander(insert: Expander, rate_hz: int) -> tuple[Operation, ...]:
    """Return an expander that has a gain for each channel, and all its detector's bands, needed or not."""
    return (_expander(insert, rate_hz, moves=True),)


def _expander(insert: Expander, rate_hz: int, *, moves: bool) -> Stage:
    settings = [
        insert.threshold_db * OCTAVES_A_DB,
        insert.ratio - 1.0,
        insert.knee_db * OCTAVES_A_DB,
        insert.range_db * OCTAVES_A_DB,
        insert.hysteresis_db * OCTAVES_A_DB,
        kept(insert.attack_ms, rate_hz),
        kept(insert.release_ms, rate_hz),
        round(insert.hold_ms / 1000.0 * rate_hz),
    ]
    moves_ms = insert.attack_ms + insert.hold_ms + insert.release_ms
    return _following(insert, native.EXPANDER, settings, 4, moves_ms, rate_hz, moves=moves)


@made.register
def transients(insert: Transients, rate_hz: int) -> tuple[Operation, ...]:
    """Return a shaper of transients (csrc/transients.c), without latency.

    Two envelopes of one signal: common practice, no source; the curve and its times are our own.
    """
    times = _TRANSIENT_RELEASE_MS, insert.sustain_ms, _TRANSIENT_FAST_MS, insert.attack_ms
    return (
        Stage(
            kind=native.TRANSIENTS,
            coefficients=np.array(
                [
                    insert.attack_db * OCTAVES_A_DB,
                    insert.sustain_db * OCTAVES_A_DB,
                    *(kept(milliseconds, rate_hz) for milliseconds in times),
                ]
            ),
            states=(5, 5),
            remembers_frames=settled_frames(insert.sustain_ms + insert.attack_ms, rate_hz),
            gains=1,
            on=on(insert),
        ),
    )


@made.register
def de_esser(insert: DeEsser, rate_hz: int) -> tuple[Operation, ...]:
    """Return a de-esser (csrc/deesser.c), without latency.

    Gain computer and detector as in the compressor; the level of the band beside that of the voice: our own.
    """
    times = insert.attack_ms, insert.release_ms, _DE_ESSER_MS, _VOICE_RISES_MS, _VOICE_FALLS_MS
    band = band_beside(insert.hz, insert.q, rate_hz).ravel()
    settings = [
        *(db * OCTAVES_A_DB for db in (insert.threshold_db, _DE_ESSER_KNEE_DB, insert.range_db)),
        *(kept(milliseconds, rate_hz) for milliseconds in times),
        float(insert.relative),
        float(insert.mode == "split"),
    ]
    return (
        Stage(
            kind=native.DE_ESSER,
            coefficients=np.array([*settings, *band, *band]),
            states=(15, 15),
            remembers_frames=settled_frames(insert.release_ms + _VOICE_FALLS_MS, rate_hz),
            gains=1,
            on=on(insert),
        ),
    )


@made.register
def levels(insert: Levels, rate_hz: int) -> tuple[Operation, ...]:
    """Return levelling in ranges (csrc/levelling.c), without latency but for the phase of its crossover.

    The crossover is that of Linkwitz and Riley (`core.crossover`), the gains follow as in Giannoulis, Massberg and
    Reiss (smooth branching); target, limits and floor: our own.

    Raises
    ------
    SettingError
        where the ranges are not one more than the frequencies between them
    """
    if len(insert.ranges) != len(insert.hz) + 1:
        raise SettingError(
            f"levels has {len(insert.ranges)} ranges and {len(insert.hz)} frequencies between them",
            hint=f"name {len(insert.ranges) - 1} frequencies, or {len(insert.hz) + 1} ranges",
        )
    return (levelled(insert, insert.hz, insert.ranges, insert.rms_ms, rate_hz),)


def levelled(insert: Insert, hz: Sequence[float], ranges: Sequence[LevelRange], rms_ms: float, rate_hz: int) -> Stage:
    """Return two ranges or more, split at `hz`, levelled for an insert; raises SettingError like `core.crossover`."""
    coefficients = [kept(rms_ms, rate_hz)]
    for one in ranges:
        coefficients += [db * OCTAVES_A_DB for db in (one.target_db, one.raise_db, one.lower_db, one.floor_db)]
        coefficients += [kept(one.attack_ms, rate_hz), kept(one.release_ms, rate_hz)]
    count = len(ranges)
    slowest_ms = max(max(one.attack_ms, one.release_ms) for one in ranges)
    states = [3 * count + crossover_states(count, _CROSSOVER_ORDER, channels) for channels in (1, 2)]
    return Stage(
        kind=native.LEVELS,
        coefficients=np.array([*coefficients, *crossover(hz, rate_hz)]),
        states=(states[0], states[1]),
        count=count,
        remembers_frames=settled_frames(rms_ms + slowest_ms, rate_hz),
        gains=count,
        on=on(insert),
    )


@made.register
def clipper(insert: Clipper, rate_hz: int) -> tuple[Operation, ...]:  # noqa: ARG001
    """Return a curve that ends at the ceiling, oversampled (csrc/saturation.c); late by the oversampling.

    The knee is that of the compressor with an infinite ratio (Giannoulis, Massberg and Reiss), on magnitudes.
    """
    bent = 1.0 - float(ratio(-insert.knee_db))
    late = oversample.LATENCY_FRAMES[insert.oversampling]
    states = oversample.STATES + 2 + late
    return (
        Stage(
            kind=native.SATURATION,
            coefficients=np.array([float(ratio(-insert.ceiling_db)), bent, 1.0]),
            states=(states, 2 * states),
            count=insert.oversampling.bit_length() - 1 + 4 * colour.CLIP,
            latency_frames=late,
            remembers_frames=2 * late,
            gains=(insert.oversampling, 2 * insert.oversampling),
            on=on(insert),
        ),
    )


def _following(
    insert: Compressor | Expander,
    kind: int,
    settings: list[float],
    lane: int,
    moves_ms: float,
    rate_hz: int,
    *,
    moves: bool,
) -> Stage:
    """Return a stage whose settings are followed by its detector's; `lane`: doubles of state of a channel."""
    detector = insert.detector
    sections = _listens_through(detector, rate_hz, moves=moves)
    listening = [
        _KINDS[detector.kind],
        kept(detector.rms_ms, rate_hz),
        _LUFS_OF_POWER_1 * OCTAVES_A_DB if detector.kind == "loudness" else 0.0,
        detector.link,
        2.0 if detector.link < 1.0 or moves else 1.0,
    ]
    states = 2 * lane + 2 + 4 * len(sections)
    moves_ms += 0.0 if detector.kind == "peak" else detector.rms_ms
    return Stage(
        kind=kind,
        coefficients=np.concatenate([settings, listening, sections.ravel()]),
        states=(states, states),
        count=len(sections),
        remembers_frames=settled_frames(moves_ms, rate_hz) + memory_frames(sections, rate_hz),
        key=insert.key,
        gains=(1, int(listening[-1])),
        on=on(insert),
    )


def _listens_through(detector: Detector, rate_hz: int, *, moves: bool) -> np.ndarray:
    sections = strip_sections(Strip(high_pass=detector.high_pass, eq=() if moves else detector.bands), rate_hz)
    if moves:
        sections = np.concatenate([sections, *(moving_band_at(band, rate_hz) for band in detector.bands)])
    if detector.kind != "loudness":
        return sections
    *shelf, a1, a2 = k_weighting(rate_hz)
    return np.concatenate([sections, [shelf, [1.0, -2.0, 1.0, a1, a2]]])
