# SPDX-License-Identifier: Apache-2.0
"""What would have to hear itself: groups inside each other, keys that come from where they go."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import TypeAlias

from mixwright.errors import SettingError
from mixwright.model.insert import KeyedInsert
from mixwright.model.song import (
    MASTER,
    Group,
    Song,
    Track,
    homes_of,
    keyed_by,
    strips_of,
    targets_of,
    used_tracks,
)

#: Kind and id of a strip; from strip to strip, with the path in the song that says so.
_Strip: TypeAlias = tuple[str, str]
_Leads: TypeAlias = dict[_Strip, dict[_Strip, str]]


def check_loops(song: Song) -> None:
    """Refuse what would have to hear itself: groups inside each other, keys that come from where they go.

    Raises
    ------
    SettingError
        with the way that it takes
    """
    leads = _leads(song)
    done: set[_Strip] = set()
    for start in leads:
        way, open_ = [start], [iter(leads[start].items())]
        while open_ and start not in done:
            end, _ = next(open_[-1], (None, ""))
            if end is None:
                done.add(way.pop())
                open_.pop()
            elif end in way:
                _refuse_loop(leads, [*way[way.index(end) :], end])
            elif end not in done:
                way.append(end)
                open_.append(iter(leads.get(end, {}).items()))


def _leads(song: Song) -> _Leads:
    leads: _Leads = {}
    for path, here, record in _feeding(song):
        home = ("group", record.group) if record.group else (MASTER, MASTER)
        leads.setdefault(here, {})[home] = f"{path}.group"
        for send in (*record.sends, *record.pre_sends):
            leads[here][("send", send)] = f"{path}.sends"
    for path, kind, id_, strip in strips_of(song):
        for i, insert in enumerate(strip.inserts):
            for key in insert.keys if isinstance(insert, KeyedInsert) else ():
                for one in keyed_by(song, key):
                    leads.setdefault(one, {}).setdefault((kind, id_), f"{path}.inserts[{i}].key")
    return leads


def _feeding(song: Song) -> Iterator[tuple[str, _Strip, Track | Group]]:
    for i, track in enumerate(song.tracks):
        yield f"tracks[{i}]", ("track", track.id), track
    for i, group in enumerate(song.groups):
        yield f"groups[{i}]", ("group", group.id), group


def _refuse_loop(leads: _Leads, loop: Sequence[_Strip]) -> None:
    paths = [leads[start][end] for start, end in itertools.pairwise(loop)]
    keys = [path for path in paths if path.endswith(".key")]
    raise SettingError(
        f"this runs in a circle: {' > '.join(id_ for _, id_ in loop)}",
        where=keys[-1] if keys else paths[-1],
        hint="take its key from elsewhere" if keys else "a group cannot lie inside itself",
    )


def check_duck(song: Song, target: str, key: str) -> None:
    """Refuse a duck on something that carries what ducks it: a layer is never lowered under its own hit.

    Parameters
    ----------
    song : Song
    target : str
        on whose strip it stands: a track, group, send or the master
    key : str
        whom it listens to

    Raises
    ------
    SettingError
        where a track feeds both `target` and the key
    """
    both = carried(song, target) & carried(song, key)
    if both:
        names = ", ".join(sorted(both))
        raise SettingError(
            f"{target} is to duck under {key}, and {names} is part of both",
            hint="let it stand on layers without that hit, or name another key",
        )


def carried(song: Song, name: str) -> frozenset[str]:
    """Return the used tracks that are heard in a track, source, group, send or the master."""
    if name == MASTER:
        return frozenset(track.id for track in used_tracks(song))
    tracks = {track.id for track in targets_of(song, name)}
    groups = {group.id for group in song.groups if name in (*group.sends, *group.pre_sends)}
    tracks |= {
        track.id
        for track in used_tracks(song)
        if name in (*track.sends, *track.pre_sends) or not groups.isdisjoint(homes_of(song, track.group))
    }
    return frozenset(tracks)
