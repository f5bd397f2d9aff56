# SPDX-License-Identifier: Apache-2.0
"""Chains of inserts: as files of their own, and as measured in a song."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta

from mixwright.model.inserts import AnyInsert
from mixwright.model.record import Record

CHAIN_SCHEMA = 1


class ChainFile(Record, frozen=True, kw_only=True):
    """The inserts of a strip, saved to be used on others: settings alone, so they fit songs of any rate.

    `in_lufs`: how loud what goes in was, which is what levels and thresholds are for.
    """

    chain: int = CHAIN_SCHEMA
    name: Annotated[str, Meta(max_length=200)] = ""
    note: Annotated[str, Meta(max_length=2000)] = ""
    in_lufs: Annotated[float, Meta(ge=-120.0, le=20.0)] | None = None
    inserts: Annotated[tuple[AnyInsert, ...], Meta(max_length=16)] = ()


class ChainStage(Record, frozen=True, kw_only=True):
    """One insert at work on a song's own audio, measured where it is heard: its sections, or the whole song.

    `at` is its path in the strip. `in_lufs` and `out_lufs`: before it and after its `gain_db`; None where it is silent.
    `reduction_*_db`: what a processor that follows levels takes off, in the band where most; the mean is that of the
    time while something sounds. `overloads`: the stage after it that bends what is loud, or ``print``, and gets peaks
    above full scale because of this one.
    """

    at: str
    insert: AnyInsert
    in_lufs: float | None
    out_lufs: float | None
    gain_db: float
    held: bool
    true_peak_dbtp: float | None
    reduction_mean_db: float | None = None
    reduction_max_db: float | None = None
    overloads: str = ""


class ChainResult(Record, frozen=True, kw_only=True):
    """The chain of a strip, stage by stage; `overloads`: what gets too much by what goes in, as in a stage.

    `used` and `saved` are the files of chains that were.
    """

    target: str
    kind: Literal["track", "group", "send", "master"]
    name: str
    in_lufs: float | None
    true_peak_in_dbtp: float | None
    stages: tuple[ChainStage, ...]
    overloads: str = ""
    asked_to_hold: bool = False
    used: str = ""
    saved: str = ""
    notes: tuple[str, ...] = ()
