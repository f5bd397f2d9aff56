# SPDX-License-Identifier: Apache-2.0
"""Names of a song that others speak of, and what is said where there is no such name."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterable

from mixwright.errors import SettingError
from mixwright.model.song import Song, source_of


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
