# SPDX-License-Identifier: Apache-2.0
"""Who sings: all voices of a song, the lead, its doubles, each with the received returns that are theirs alone."""

from __future__ import annotations

from collections.abc import Collection

from mixwright.model.song import Song, Track, source_of, used_tracks
from mixwright.model.words import VOICE_ROLES


def voices(song: Song) -> tuple[Track, ...]:
    """Return the tracks that carry a voice: by role, by reading as one with a voice, or as the return of voices."""
    used = used_tracks(song)
    sung = {source_of(track) for track in used if track.role in VOICE_ROLES}
    return _with_returns(song, [track.id for track in used if track.role in VOICE_ROLES or source_of(track) in sung])


def lead_voice(song: Song) -> tuple[Track, ...]:
    """Return the lead vocal with all that reads as one with it."""
    used = used_tracks(song)
    led = {source_of(track) for track in used if track.role == "lead vocal"}
    return _with_returns(song, [track.id for track in used if source_of(track) in led])


def lead_alone(song: Song) -> tuple[Track, ...]:
    """Return the lead vocal without doubles and backing voices, also where these read as one with it."""
    led = {source_of(track) for track in used_tracks(song) if track.role == "lead vocal"}
    own = [t.id for t in used_tracks(song) if source_of(t) in led and t.role not in ("double", "backing vocal")]
    return _with_returns(song, own)


def doubles(song: Song) -> tuple[Track, ...]:
    """Return the doubles of the lead, and the received returns that lead and doubles have together."""
    led = [track.id for track in lead_voice(song)]
    own = [track.id for track in used_tracks(song) if track.role == "double"]
    return tuple(track for track in _with_returns(song, [*own, *led]) if track.id not in led)


def _with_returns(song: Song, direct: Collection[str]) -> tuple[Track, ...]:
    """Return these tracks, and the received returns of groups in which all else is of them.

    An instrumental must not keep the echo of the singer.
    """
    used = used_tracks(song)
    ids = set(direct)
    groups = {track.group for track in used if track.id in ids and track.group}
    mixed = {track.group for track in used if track.role != "return" and track.id not in ids}
    return tuple(t for t in used if t.id in ids or (t.role == "return" and t.group in groups - mixed))
