# SPDX-License-Identifier: Apache-2.0
"""What a person changes about a song in one step: names, roles, places, what reads as one, groups, sections, leads."""

from __future__ import annotations

from typing import Annotated

from msgspec import UNSET, Meta, UnsetType

from mixwright.model.record import Record
from mixwright.model.song import Seconds
from mixwright.model.words import Place, Role

Name = Annotated[str, Meta(min_length=1, max_length=200)]


class TrackEdit(Record, frozen=True, kw_only=True):
    """What becomes of a track; what is not given stays.

    `place_in`: its place by section, None: as in the rest of the song. `source` and `group`: the id or the name of one
    that the song has, the name of a new one, or "" for none. `use`: False leaves it out of the mix.
    """

    name: Name | UnsetType = UNSET
    role: Role | UnsetType = UNSET
    place: Place | UnsetType = UNSET
    place_in: dict[str, Place | None] | UnsetType = UNSET
    source: str | UnsetType = UNSET
    group: str | UnsetType = UNSET
    use: bool | UnsetType = UNSET


class SectionEdit(Record, frozen=True, kw_only=True):
    """A section as it is to be; `was`: the name that it had, "" for a new one."""

    name: Name
    start_s: Seconds
    end_s: Seconds
    was: str = ""


class SongEdit(Record, frozen=True, kw_only=True):
    """One step of edits; what is not given stays.

    `tracks`: by id. `source_names`, `group_names`: new names by id. `sections`: all of them, in order. `lead`: whom the
    song follows, tracks or sources by id; given, it is confirmed.
    """

    tracks: dict[str, TrackEdit] = {}
    source_names: dict[str, Name] = {}
    group_names: dict[str, Name] = {}
    sections: tuple[SectionEdit, ...] | UnsetType = UNSET
    lead: tuple[str, ...] | UnsetType = UNSET
