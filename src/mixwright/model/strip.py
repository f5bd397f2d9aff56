# SPDX-License-Identifier: Apache-2.0
"""The strip of a track, group, send or master, as settings; limiter of the master and reverb of sends."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, field

from mixwright.model.filters import EqBand, Hz, Pass
from mixwright.model.inserts import AnyInsert
from mixwright.model.record import Record

Db = Annotated[float, Meta(ge=-120.0, le=24.0)]
Position = Annotated[float, Meta(ge=-1.0, le=1.0)]


class Change(Record, frozen=True, kw_only=True):
    """A setting of a chain that is taken over, and what is done to it: exactly one of `times`, `add`, `set`.

    `at` is its path in the strip, such as ``high_pass.hz`` or ``eq[1].gain_db``; an insert is called by its processor,
    ``compressor.threshold_db``, and where there are several counted from 0, ``compressor[1].threshold_db``.
    """

    at: Annotated[str, Meta(min_length=1, max_length=200)]
    times: float | None = None
    add: float | None = None
    set: float | bool | str | None = None


class Strip(Record, frozen=True, kw_only=True):
    """Trim, polarity, delay, filters, inserts, position and fader of one strip.

    `pan` places a mono track (-1 left, 0 centre, +1 right). `left` and `right` place the two sides
    of a stereo track, group, send or master independently; `width` scales its side signal first
    (0 mono, 1 as it is, 2 side doubled). `delay_ms` is rounded to whole frames; negative = earlier.
    `inserts` come after the filters (of a send: after its reverb) and before the fader, in any order.
    `as` takes over filters and inserts of another strip, with `changes`: see `model.derived`.
    """

    as_: str = field(default="", name="as")
    changes: Annotated[tuple[Change, ...], Meta(max_length=64)] = ()

    trim_db: Db = 0.0
    polarity: Literal["normal", "inverted"] = "normal"
    delay_ms: Annotated[float, Meta(ge=-1000.0, le=1000.0)] = 0.0
    high_pass: Pass | None = None
    low_pass: Pass | None = None
    eq: Annotated[tuple[EqBand, ...], Meta(max_length=16)] = ()
    inserts: Annotated[tuple[AnyInsert, ...], Meta(max_length=16)] = ()
    pan: Position = 0.0
    left: Position = -1.0
    right: Position = 1.0
    width: Annotated[float, Meta(ge=0.0, le=2.0)] = 1.0
    fader_db: Db = 0.0


class Limiter(Record, frozen=True, kw_only=True):
    """A limiter of true peaks with look-ahead; last on the master, after its fader."""

    ceiling_dbtp: Annotated[float, Meta(ge=-20.0, le=0.0)] = -1.0
    release_ms: Annotated[float, Meta(ge=5.0, le=1000.0)] = 100.0


class Reverb(Record, frozen=True, kw_only=True):
    """A reverb of a send; its tail keeps what lies between `low_hz` and `high_hz`.

    `decay_s`: until it has fallen by 60 dB, at `high_hz` in half of that. `pre_delay_ms`: until it starts.
    """

    kind: Literal["voice", "instruments"]
    decay_s: Annotated[float, Meta(ge=0.1, le=6.0)]
    pre_delay_ms: Annotated[float, Meta(ge=0.0, le=200.0)] = 20.0
    low_hz: Hz = 200.0
    high_hz: Hz = 7000.0


class Master(Strip, frozen=True, kw_only=True):
    """The strip of the whole mix; its limiter comes after the fader, where one is set."""

    limiter: Limiter | None = None
