# SPDX-License-Identifier: Apache-2.0
"""What was agreed to be handed over: which prints, at which rates and depths, named how."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta

from mixwright.model.record import Record
from mixwright.model.words import Depth, Keys, PrintKind

Rate = Annotated[int, Meta(ge=8000, le=384000)]


class Agreement(Record, frozen=True, kw_only=True):
    """The prints owed. Every one is printed at each rate and depth.

    Parameters
    ----------
    prints
        kinds; ``stem`` means all groups, ``layer`` all layers
    rates_hz
        empty: the song's own
    depths
        bits of a sample, or ``float``
    stem_depths
        of what belongs to one group or layer alone; empty: as `depths`
    file_format
        FLAC holds 16 and 24 bit; what is float stays WAV
    keys
        ``held``: voices that are left out still drive keys and buses, so that parts add up; ``released``: they do not
    vocal_step_db
        by how much the lead voice is up, and down
    over_full_scale
        what becomes of prints that pass full scale: all that add up to the mix ``lowered`` as one, or written as
        ``float``
    template
        how files are named; empty: as usual (`mixwright.delivery.names`)
    approved_preview
        folder of the preview that the artist approved, as seen from the song: goes beside the mix for mastering
    credits
        roles of which somebody must be named in the song's own credits
    isrc
        kinds of prints that must have an ISRC in the song
    """

    prints: Annotated[tuple[PrintKind, ...], Meta(min_length=1, max_length=32)] = (
        "main",
        "instrumental",
        "a_cappella",
        "stem",
    )
    rates_hz: Annotated[tuple[Rate, ...], Meta(max_length=8)] = ()
    depths: Annotated[tuple[Depth, ...], Meta(min_length=1, max_length=3)] = ("24",)
    stem_depths: Annotated[tuple[Depth, ...], Meta(max_length=3)] = ()
    file_format: Literal["wav", "flac"] = "wav"
    keys: Keys = "held"
    vocal_step_db: Annotated[float, Meta(ge=0.1, le=6.0)] = 1.0
    over_full_scale: Literal["lowered", "float"] = "lowered"
    template: str = ""
    approved_preview: str = ""
    credits: Annotated[tuple[str, ...], Meta(max_length=200)] = ()
    isrc: Annotated[tuple[PrintKind, ...], Meta(max_length=32)] = ()


#: What is printed where nothing was agreed.
USUAL = Agreement(stem_depths=("24", "float"))
