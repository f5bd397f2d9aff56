# SPDX-License-Identifier: Apache-2.0
"""Which prints a song is delivered as, and which tracks sound in each."""

from __future__ import annotations

from dataclasses import dataclass

from mixwright.delivery.names import words
from mixwright.model.song import Song, Track, sounding_tracks, source_of, used_tracks
from mixwright.model.words import VOICE_ROLES, PrintKind

#: The stem of tracks that belong to no group.
_OTHER = "Other"


@dataclass(frozen=True)
class Print:
    """One print: its kind, its name within the delivery, and the tracks that sound (None: the whole mix)."""

    kind: PrintKind
    name: str
    tracks: frozenset[str] | None


def prints(song: Song) -> tuple[Print, ...]:
    """Return main mix, instrumental, a cappella, and a stem for every group.

    The instrumental is the mix without any voice, the a cappella the voices alone; both are left out where either
    would be silent. Muted tracks sound in none.
    """
    sounding = sounding_tracks(song)
    everything = frozenset(track.id for track in sounding)
    sung = frozenset(track.id for track in voices(song)) & everything
    found = [Print("main", "Main", None)]
    if sung and sung != everything:
        found.append(Print("instrumental", "Instrumental", everything - sung))
        found.append(Print("a_cappella", "ACappella", sung))
    taken = {entry.name.casefold() for entry in found}
    for group, title in (*((g.id, g.name) for g in song.groups), ("", _OTHER)):
        members = frozenset(track.id for track in sounding if track.group == group)
        if members:
            name = _unused(words(title) or words(group) or "Stem", taken)
            found.append(Print("stem", name, members))
    return tuple(found)


def voices(song: Song) -> tuple[Track, ...]:
    """Return the tracks that carry a voice: by role, by reading as one with a voice, or as the return of voices.

    A received return counts when all else in its group is voice: an instrumental must not keep the echo of the singer.
    """
    used = used_tracks(song)
    sung = {source_of(track) for track in used if track.role in VOICE_ROLES}
    direct = [track for track in used if track.role in VOICE_ROLES or source_of(track) in sung]
    ids = {track.id for track in direct}
    groups = {track.group for track in direct if track.group}
    mixed = {track.group for track in used if track.role != "return" and track.id not in ids}
    return tuple(t for t in used if t.id in ids or (t.role == "return" and t.group in groups - mixed))


def _unused(name: str, taken: set[str]) -> str:
    chosen, number = name, 2
    while chosen.casefold() in taken:
        chosen, number = f"{name}{number}", number + 1
    taken.add(chosen.casefold())
    return chosen
