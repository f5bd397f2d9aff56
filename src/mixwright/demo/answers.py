# SPDX-License-Identifier: Apache-2.0
"""What an engineer sets by hand before a plan: what brief, time stamps and the artist say of the demo song."""

from __future__ import annotations

from pathlib import PurePosixPath

from mixwright.demo.layers import LAYERS
from mixwright.demo.truth import first_frame_of
from mixwright.model.filters import Pass
from mixwright.model.song import Lock, Song, Track, changed

#: Layers whose places the artist asks to keep.
_KEPT = ("Gtr Crunch L.wav", "Gtr Crunch R.wav")
#: What each record is liked for, in the words of :data:`mixwright.model.profile.ATTRIBUTES`.
_LIKED_FOR = (("low_end", "dynamics"), ("top_end", "width", "spectrum"))


def answered(song: Song) -> Song:
    """Return the received demo song with what was asked and told: late starts, polarity, offsets, places, records."""
    kept = tuple(
        Lock(target=track.id, parameter="pan", reason="the artist wants it there")
        for track in song.tracks
        if _name(track) in _KEPT
    )
    references = tuple(
        changed(reference, use_for=words) for reference, words in zip(song.references, _LIKED_FOR, strict=True)
    )
    return changed(
        song,
        tracks=tuple(_answered(track) for track in song.tracks),
        locks=(*song.locks, *kept),
        references=references,
    )


def _name(track: Track) -> str:
    return PurePosixPath(track.file).name


def _answered(track: Track) -> Track:
    layer = next((layer for layer in LAYERS if layer.file == _name(track)), None)
    if layer is None:
        return track
    strip = changed(
        track.strip,
        polarity="inverted" if layer.turned_over else "normal",
        high_pass=track.strip.high_pass if layer.offset_dbfs is None else Pass(hz=30.0),
        pan=layer.mix.pan if layer.file in _KEPT else track.strip.pan,
    )
    return changed(track, start_frame=first_frame_of(layer), place=layer.place, strip=strip)
