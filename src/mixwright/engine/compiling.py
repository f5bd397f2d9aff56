# SPDX-License-Identifier: Apache-2.0
"""A song, its lanes and its moves as the graph of a mix.

Accepted moves are an overlay: the song's own settings stay as they are. Every level and position is compiled here into
one lane per parameter; other moves are inserts after the strip's own ones, or amounts in sends.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from mixwright.core.filters import strip_sections
from mixwright.engine.chain import gain_columns
from mixwright.engine.graph import MixGraph, Node, Output, TrackNode, aligned, bus
from mixwright.engine.inserts import Clock
from mixwright.engine.lanes import packed
from mixwright.engine.operation import Delay, Gain, Operation, Sections
from mixwright.engine.overlay import Lanes, Overlay, before_fader
from mixwright.engine.reverb import reverberation
from mixwright.errors import where
from mixwright.model.derived import resolved
from mixwright.model.insert import KeyedInsert
from mixwright.model.lane import Lane
from mixwright.model.song import MASTER, Group, Send, Song, Track, homes_of, keyed_by, used_tracks
from mixwright.model.strip import Reverb, Strip
from mixwright.native import mathematics


def song_frames(song: Song, frames: Mapping[str, int]) -> int:
    """Return the length of the mix: to the last frame of the used track that ends last, as delivered, and its tail.

    The tail is that of the longest reverb which anything is sent to. Mutes and delays of strips do not change the
    length, so that every print of a song has one.

    Parameters
    ----------
    song : Song
    frames : mapping
        length of each used track at the song's rate, by track id
    """
    used = used_tracks(song)
    homes = {home for track in used for home in homes_of(song, track.group)}
    fed = {name for track in used for name in (*track.sends, *track.pre_sends)}
    fed |= {name for group in song.groups if group.id in homes for name in (*group.sends, *group.pre_sends)}
    tails = (s.reverb.pre_delay_ms / 1000.0 + s.reverb.decay_s for s in song.sends if s.reverb and s.id in fed)
    end = max((track.start_frame + frames[track.id] for track in used), default=0)
    return end + round(max(tails, default=0.0) * song.rate_hz)


def compile_mix(song: Song, lanes: Sequence[Lane], frames: Mapping[str, int]) -> MixGraph:
    """Return the graph of a song with its kept lanes and accepted moves.

    Parameters
    ----------
    song : Song
    lanes : sequence of Lane
        kept automation
    frames : mapping
        length of each used track at the song's rate, by track id

    Raises
    ------
    SettingError
        where a setting does not fit: a filter above half the rate, a move without its setting
    """
    overlay = Overlay(resolved(song), lanes, song_frames(song, frames))
    song = overlay.song
    tracks = []
    for track in used_tracks(song):
        with where(f"track {track.id}"):
            tracks.append(_track_node(song, track, overlay, frames[track.id]))
    said = [
        *(_Bus("group", g.id, g.strip, g, mute=g.mute) for g in song.groups),
        *(_Bus("send", s.id, s.strip, s, mute=s.mute, reverb=s.reverb) for s in song.sends),
        _Bus(MASTER, MASTER, song.master),
    ]
    buses = []
    for one in said:
        with where(MASTER if one.kind == MASTER else f"{one.kind} {one.name}"):
            buses.append(_bus_node(song, one, overlay))
    law = song.pan_law_db / 3.0
    return aligned(MixGraph(song.rate_hz, overlay.frames, law, tuple(tracks), tuple(buses), song.master.limiter))


class _Bus(NamedTuple):
    """What a song says of a bus."""

    kind: str
    name: str
    strip: Strip
    owner: Group | Send | None = None
    mute: bool = False
    reverb: Reverb | None = None


def _bus_node(song: Song, said: _Bus, overlay: Overlay) -> Node:
    delay = Delay(max(0, _delay_frames(said.strip, song)), max(0, -_delay_frames(said.strip, song)))
    operations, scale = _operations(said.strip, song.rate_hz)
    if said.reverb is not None:
        operations = (*operations, reverberation(said.reverb, song.rate_hz))
    inserts = overlay.inserts(said.name, said.kind, said.strip, Clock(0, song.rate_hz))
    operations += tuple(itertools.chain.from_iterable(inserts))
    lanes = overlay.bus_lanes(said.name, said.kind, said.strip)
    return Node(
        id=bus(said.name, said.kind),
        operations=(*operations, delay) if delay != Delay(0) else operations,
        lanes=packed(lanes),
        pre_lanes=packed(before_fader(lanes)),
        scale=scale,
        mute=said.mute,
        mutes=_mutes(overlay, said.name, said.kind),
        outputs=_outputs(said.kind, said.owner, overlay, lanes) if said.owner is not None else (),
        keys=_keys(song, said.strip),
        logs=_logs(said.strip, inserts),
    )


def _track_node(song: Song, track: Track, overlay: Overlay, frames: int) -> TrackNode:
    operations, scale = _operations(track.strip, song.rate_hz)
    first_frame = track.start_frame + _delay_frames(track.strip, song)
    inserts = overlay.inserts(track.id, "track", track.strip, Clock(first_frame, song.rate_hz))
    operations += tuple(itertools.chain.from_iterable(inserts))
    lanes = overlay.track_lanes(track)
    return TrackNode(
        id=track.id,
        operations=operations,
        lanes=packed(lanes),
        pre_lanes=packed(before_fader(lanes)),
        scale=scale,
        mute=track.mute,
        mutes=_mutes(overlay, track.id, "track"),
        outputs=_outputs("track", track, overlay, lanes),
        keys=_keys(song, track.strip),
        logs=_logs(track.strip, inserts),
        track=track,
        first_frame=first_frame,
        frames=frames,
    )


def _mutes(overlay: Overlay, name: str, kind: str) -> np.ndarray | None:
    lane = overlay.heard_lane(name, kind)
    return None if lane is None else packed([lane])


def _keys(song: Song, strip: Strip) -> dict[str, tuple[str, ...]]:
    """Return the nodes that the keys of a strip mean; a track that is not used is silent."""
    used = {track.id for track in used_tracks(song)}
    names = [name for insert in strip.inserts if isinstance(insert, KeyedInsert) and insert.on for name in insert.keys]
    return {
        name: tuple(
            id_ if kind == "track" else bus(id_, kind)
            for kind, id_ in keyed_by(song, name)
            if kind != "track" or id_ in used
        )
        for name in names
    }


def _logs(strip: Strip, inserts: Sequence[Sequence[Operation]]) -> tuple[tuple[str, int], ...]:
    columns = [
        (str(insert.__struct_config__.tag), gain_columns(o)) for insert, o in zip(strip.inserts, inserts, strict=True)
    ]
    return tuple((name, count) for name, count in columns if count)


def _outputs(kind: str, owner: Track | Group | Send, overlay: Overlay, lanes: Lanes) -> tuple[Output, ...]:
    """Return what a strip feeds: its group or the master, and sends after and before its fader."""
    if isinstance(owner, Send):
        return (Output(bus(MASTER, MASTER)),)
    found = [Output(bus(owner.group, "group") if owner.group else bus(MASTER, MASTER))]
    for feeds, pre in ((owner.sends, False), (owner.pre_sends, True)):
        for name, db in feeds.items():
            moving = overlay.feed_lanes(owner.id, kind, name, before_fader(lanes) if pre else lanes)
            own = None if moving is None else packed(moving)
            found.append(Output(bus(name, "send"), float(mathematics.ratio(db)), pre, own))
    return tuple(found)


def _delay_frames(strip: Strip, song: Song) -> int:
    return round(strip.delay_ms * song.rate_hz / 1000.0)


def _operations(strip: Strip, rate_hz: int) -> tuple[tuple[Operation, ...], float]:
    """Return a strip's operations before its inserts, and the factor that is left for the fader's stage.

    Without filters trim and polarity are left to it, unless inserts must hear them.
    """
    gain = float(mathematics.ratio(strip.trim_db)) * (-1.0 if strip.polarity == "inverted" else 1.0)
    sections = strip_sections(strip, rate_hz)
    if len(sections) == 0 and not strip.inserts:
        return (), gain
    before = (Gain(gain),) if gain != 1.0 else ()
    return (*before, Sections(sections)) if len(sections) else before, 1.0
