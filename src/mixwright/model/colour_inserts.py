# SPDX-License-Identifier: Apache-2.0
"""Inserts that add harmonics or change the low end or the width."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta

from mixwright.model.filters import Hz
from mixwright.model.insert import Insert


class Saturation(Insert, frozen=True, kw_only=True, tag="saturation"):
    """A curve that bends what is loud: adds harmonics and takes peaks down.

    `drive_db` is how far up the curve the signal is sent; it comes back down by as much, and then up again so that a
    sine of -12 dBFS is as loud as it was. How loud the track itself has become is for `gain_db` to even out.
    `smooth` bends from the start, `gentle` more widely, `hard` hardly until near its limit. `bias` shifts the signal
    along the curve: 0 adds odd harmonics alone, more of it more even ones. What the curve makes above the range of the
    rate is computed at `oversampling` times the rate and taken out.
    """

    curve: Literal["smooth", "gentle", "hard"] = "smooth"
    drive_db: Annotated[float, Meta(ge=-12.0, le=36.0)] = 6.0
    bias: Annotated[float, Meta(ge=0.0, le=1.0)] = 0.0
    oversampling: Literal[2, 4, 8] = 4


class BassHarmonics(Insert, frozen=True, kw_only=True, tag="bass_harmonics"):
    """Harmonics of a low range, added above it: a bass is followed on loudspeakers that do not play its fundamental.

    Only what lies between `low_hz` and `high_hz` makes harmonics, and only those above `high_hz` are added, so that
    nothing else is bent. `level_db` is how loud all harmonics of a sine of -12 dBFS are beside it; louder basses make
    more. `drive_db` is how far up the curve they are sent: more of it makes higher harmonics; `bias` makes even ones.
    """

    low_hz: Annotated[float, Meta(ge=20.0, le=200.0)] = 40.0
    high_hz: Annotated[float, Meta(ge=50.0, le=500.0)] = 120.0
    level_db: Annotated[float, Meta(ge=-48.0, le=12.0)] = -12.0
    drive_db: Annotated[float, Meta(ge=6.0, le=36.0)] = 18.0
    bias: Annotated[float, Meta(ge=0.0, le=1.0)] = 0.5


class LowEnd(Insert, frozen=True, kw_only=True, tag="low_end"):
    """The range below `hz` taken towards a level, then a resonant shelf with a dip above it.

    The lower of two ranges of `Levels`, split at `hz`: moved towards `target_db` (dBFS, RMS over about 100 ms, the
    louder channel), up by `raise_db`, but by no more than it lies above `floor_db`, and down by `lower_db` at most;
    `attack_ms` and `release_ms` are time constants of the gain in dB as it falls and as it rises. `shelf_db` lifts what
    lies below `hz`, most of all just there; `dip_db` takes as much out an octave above it.
    """

    target_db: Annotated[float, Meta(ge=-80.0, le=0.0)]
    hz: Annotated[float, Meta(ge=30.0, le=250.0)] = 90.0
    raise_db: Annotated[float, Meta(ge=0.0, le=12.0)] = 3.0
    lower_db: Annotated[float, Meta(ge=0.0, le=12.0)] = 3.0
    floor_db: Annotated[float, Meta(ge=-120.0, le=0.0)] = -50.0
    attack_ms: Annotated[float, Meta(ge=5.0, le=1000.0)] = 50.0
    release_ms: Annotated[float, Meta(ge=5.0, le=3000.0)] = 300.0
    shelf_db: Annotated[float, Meta(ge=-12.0, le=12.0)] = 0.0
    dip_db: Annotated[float, Meta(ge=0.0, le=12.0)] = 0.0


class Width(Insert, frozen=True, kw_only=True, tag="width"):
    """Width by ranges, and the levels of middle and side; the sum of left and right stays as it was, times `middle_db`.

    `widths`: the factor of the side signal in each range, the lowest first (0 mono, 1 as it is, 2 doubled); `splits_hz`
    where one range ends and the next begins, so one fewer. Widths change by at most 24 dB/oct around a split. 0 for the
    lowest range makes what lies below its split mono.
    """

    splits_hz: Annotated[tuple[Hz, ...], Meta(max_length=3)] = ()
    widths: Annotated[tuple[Annotated[float, Meta(ge=0.0, le=2.0)], ...], Meta(min_length=1, max_length=4)] = (1.0,)
    middle_db: Annotated[float, Meta(ge=-24.0, le=24.0)] = 0.0
    side_db: Annotated[float, Meta(ge=-24.0, le=24.0)] = 0.0
