# SPDX-License-Identifier: Apache-2.0
"""Names of a song that others speak of, and what is said where there is no such name."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterable

from mixwright.errors import SettingError
from mixwright.model.song import MASTER, Song, return_of, source_of


def names_of(song: Song) -> dict[str, str]:
    """Return the names of everything a move can aim at, by id."""
    groups = {group.id: group.name for group in song.groups}
    sources = {source.id: source.name for source in song.sources}
    sends = {send.id: send.name for send in song.sends} | {return_of(s): f"the return of {s.name}" for s in song.sends}
    tracks = {track.id: track.name for track in song.tracks}
    return {MASTER: "the master"} | sends | groups | sources | tracks


def target_names(song: Song) -> frozenset[str]:
    """Return the ids of all tracks, sources and groups."""
    return frozenset(
        {track.id for track in song.tracks} | {source_of(t) for t in song.tracks} | {group.id for group in song.groups}
    )


def key_names(song: Song) -> frozenset[str]:
    """Return everything that a processor can listen to: tracks, sources, groups and sends."""
    return target_names(song) | {send.id for send in song.sends}


def require_known(names: Iterable[str], known: Collection[str], where: str, what: str) -> None:
    """Refuse the first name that is not known.

    Raises
    ------
    SettingError
        with the nearest known name
    """
    for name in names:
        if name not in known:
            raise SettingError(f"no {what} is called {name!r}", where=where, hint=_hint(name, known, what))


def _hint(name: str, known: Collection[str], what: str) -> str:
    if not known:
        return f"the song has no {what} yet"
    near = difflib.get_close_matches(name, known, n=1, cutoff=0.5)
    return f"{f'did you mean {near[0]}? ' if near else ''}known: {', '.join(sorted(known))}"
