# SPDX-License-Identifier: Apache-2.0
"""Inserts that follow levels."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta

from mixwright.model.filters import EqBand, Hz, Pass
from mixwright.model.insert import Insert, KeyedInsert
from mixwright.model.record import Record

ThresholdDb = Annotated[float, Meta(ge=-100.0, le=20.0)]
KneeDb = Annotated[float, Meta(ge=0.0, le=24.0)]
AttackMs = Annotated[float, Meta(ge=0.1, le=200.0)]
ReleaseMs = Annotated[float, Meta(ge=5.0, le=3000.0)]


class Detector(Record, frozen=True, kw_only=True):
    """How a compressor or expander listens.

    `peak`: magnitudes, dBFS. `rms`: mean squares over about `rms_ms` (a time constant), dBFS; a sine reads 3 dB below
    its peak. `loudness`: K-weighted mean squares over about `rms_ms` in LUFS (ITU-R BS.1770), both channels summed.
    `link`: 1 is one gain for both channels, by the louder of them (loudness: by their sum); 0 is each by itself;
    between, what both ask for counts that much in each. `high_pass` and `bands` are heard by the detector alone.
    """

    kind: Literal["peak", "rms", "loudness"] = "peak"
    rms_ms: Annotated[float, Meta(ge=0.1, le=3000.0)] = 30.0
    link: Annotated[float, Meta(ge=0.0, le=1.0)] = 1.0
    high_pass: Pass | None = None
    bands: Annotated[tuple[EqBand, ...], Meta(max_length=4)] = ()


class Compressor(KeyedInsert, frozen=True, kw_only=True, tag="compressor"):
    """A compressor; on a group or the master, with these slow settings, it is the bus compressor.

    The gain falls by ``1 - 1/ratio`` dB for every dB above the threshold, softened over `knee_db` around it, by
    `range_db` at most. `attack_ms` and `release_ms` are time constants of the reduction in dB. With `slow_release_ms`
    the release depends on what is played: it goes at `release_ms` down to the mean reduction of about that time, and
    then at that pace. After a short peak the mean is small and the gain is back at once; under a steady reduction it
    is nearly all of it, and nothing pumps.
    """

    threshold_db: ThresholdDb
    ratio: Annotated[float, Meta(ge=1.0, le=20.0)]
    knee_db: KneeDb = 6.0
    attack_ms: AttackMs = 30.0
    release_ms: ReleaseMs = 200.0
    slow_release_ms: Annotated[float, Meta(ge=5.0, le=10000.0)] | None = None
    range_db: Annotated[float, Meta(ge=0.0, le=60.0)] | None = None
    detector: Detector = Detector()


class Expander(KeyedInsert, frozen=True, kw_only=True, tag="expander"):
    """A downward expander; with a high ratio, a gate. With a key it opens when the key sounds.

    The gain falls by ``ratio - 1`` dB for every dB below the threshold, softened over `knee_db` around it, by
    `range_db` at most. It opens by `attack_ms` and closes by `release_ms` (time constants of the gain in dB). Once
    open, it stays so until the level has been `hysteresis_db` below the threshold for `hold_ms`; a hold shorter than
    half a period of what is listened to lets a peak detector close within a wave.
    """

    threshold_db: ThresholdDb
    ratio: Annotated[float, Meta(ge=1.0, le=100.0)] = 2.0
    range_db: Annotated[float, Meta(ge=0.0, le=120.0)] = 24.0
    knee_db: KneeDb = 6.0
    hysteresis_db: Annotated[float, Meta(ge=0.0, le=24.0)] = 4.0
    attack_ms: Annotated[float, Meta(ge=0.02, le=200.0)] = 1.0
    hold_ms: Annotated[float, Meta(ge=0.0, le=2000.0)] = 40.0
    release_ms: ReleaseMs = 150.0
    detector: Detector = Detector()


class Transients(Insert, frozen=True, kw_only=True, tag="transients"):
    """Raises or lowers attacks and what rings after them, at any level alike; both channels by one gain.

    `attack_db` is reached where a level rises by 9 dB or more within about `attack_ms`, `sustain_db` where it falls by
    as much within about `sustain_ms` (time constants); of what rises or falls less, a smaller part.
    """

    attack_db: Annotated[float, Meta(ge=-15.0, le=15.0)] = 0.0
    sustain_db: Annotated[float, Meta(ge=-15.0, le=15.0)] = 0.0
    attack_ms: Annotated[float, Meta(ge=5.0, le=200.0)] = 20.0
    sustain_ms: Annotated[float, Meta(ge=100.0, le=3000.0)] = 300.0


class DeEsser(Insert, frozen=True, kw_only=True, tag="de_esser"):
    """Takes down hissing sounds by as much as their band is above the threshold, by `range_db` at most.

    The band lies around `hz`; it is heard with slopes of 12 dB/oct. `split` takes down the band alone, as a bell with
    this `q`; `wide` takes down all. With `relative`, `threshold_db` is that of the band beside the level of the voice
    as a whole, so that it works at any level; otherwise dBFS of the band (RMS). The threshold is softened over 6 dB.
    """

    mode: Literal["split", "wide"] = "split"
    hz: Annotated[float, Meta(ge=1000.0, le=20000.0)] = 7000.0
    q: Annotated[float, Meta(ge=0.3, le=10.0)] = 1.0
    relative: bool = True
    threshold_db: Annotated[float, Meta(ge=-80.0, le=20.0)] = -15.0
    range_db: Annotated[float, Meta(ge=0.0, le=24.0)] = 6.0
    attack_ms: Annotated[float, Meta(ge=0.1, le=50.0)] = 1.0
    release_ms: Annotated[float, Meta(ge=5.0, le=500.0)] = 40.0


class LevelRange(Record, frozen=True, kw_only=True):
    """One range of `Levels`: moved towards `target_db` (dBFS, RMS), up by `raise_db` and down by `lower_db` at most.

    It is raised by no more than it lies above `floor_db`: what lies below is left as it is. `attack_ms` and
    `release_ms` are time constants of the gain in dB as it falls and as it rises.
    """

    target_db: Annotated[float, Meta(ge=-80.0, le=0.0)]
    raise_db: Annotated[float, Meta(ge=0.0, le=24.0)] = 3.0
    lower_db: Annotated[float, Meta(ge=0.0, le=24.0)] = 6.0
    floor_db: Annotated[float, Meta(ge=-120.0, le=0.0)] = -50.0
    attack_ms: AttackMs = 20.0
    release_ms: ReleaseMs = 200.0


class Levels(Insert, frozen=True, kw_only=True, tag="levels"):
    """Levels a signal in three to five ranges, split at `hz` by 24 dB/oct; each `LevelRange` for itself.

    `rms_ms` is how long a level is listened for (time constant). With all gains at 0 dB the ranges add up flat but for
    their phase, which turns around each split: parallel to what goes in (`mix`), they would not.
    """

    hz: Annotated[tuple[Hz, ...], Meta(min_length=2, max_length=4)] = (150.0, 2500.0)
    ranges: Annotated[tuple[LevelRange, ...], Meta(min_length=3, max_length=5)]
    rms_ms: Annotated[float, Meta(ge=1.0, le=3000.0)] = 50.0


class Clipper(Insert, frozen=True, kw_only=True, tag="clipper"):
    """Clips what is above a ceiling, without time constants.

    `knee_db` 0 clips hard; more bends earlier, from so far below the ceiling on. What it makes above the range of the
    rate is computed at `oversampling` times the rate and taken out; by that, peaks come out somewhat above the ceiling
    again (docs/processors.md): where it must hold, set a limiter.
    """

    ceiling_db: Annotated[float, Meta(ge=-60.0, le=0.0)] = -1.0
    knee_db: Annotated[float, Meta(ge=0.0, le=24.0)] = 3.0
    oversampling: Literal[4, 8] = 4
