# SPDX-License-Identifier: Apache-2.0
"""How much disk space a command may take: an upper bound close to what it does, less what the cache holds already."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from mixwright.app.keys import gains_key, rendered_key
from mixwright.engine.compiling import compile_mix
from mixwright.engine.graph import MixGraph
from mixwright.engine.strip_audio import strip_frames, strip_key
from mixwright.errors import InputError, SettingError
from mixwright.hearing.heard import stretches_of
from mixwright.hearing.heard_from import cells_of, wanted_moments
from mixwright.io.kept import song_path
from mixwright.io.stems import Outlook, StemStore
from mixwright.jobs.cache import Cache
from mixwright.meter.loudness import SUB_BLOCKS_PER_S
from mixwright.model.lane import Lane
from mixwright.model.song import Song, targets_of, used_tracks

#: As long as a received file may be: a start that is off by a few digits must not fill the disk.
LONGEST_H = 24
#: Results, page and journal of a song; and what is noted of each track.
_SONG_BYTES, _TRACK_BYTES = 1 << 20, 1 << 15
#: How a track is heard, and how in each section: in the cache, in what is kept and on the page.
_HEARD_BYTES, _HEARD_SECTION_BYTES = 24 << 10, 2 << 10
#: What is kept of hearing: of a layer each second, of a lead besides; of a layer in each stretch, and at each moment
#: there; of two in each stretch.
_SECOND_BYTES, _LEAD_SECOND_BYTES, _STRETCH_BYTES, _MOMENT_BYTES, _PAIR_BYTES = 1000, 20 << 10, 2800, 270, 110
#: How often a track, or a set of tracks that holds it, is measured at most, each as float64 a sub-block.
_MEASURED_TIMES = 3


@dataclass(frozen=True)
class Making:
    """What a command makes of a song beside the audio of its tracks.

    Parameters
    ----------
    renders : sequence of collections of track ids, or None for the mix
        Kept in the cache.
    made : callable, optional
        Returns the keys of what else of the mix is rendered and kept in the cache.
    bytes_a_frame : int
        Of the files it writes.
    into : Path, optional
        Where these go, if not into the song folder.
    finished : sequence of str
        Finished mixes and records that it opens at their own rate, as the song names them.
    at_rate : sequence of str
        Those that it opens at the rate of the song.
    mixes : int
        How many mixes of different settings it hears.
    ledgers : int
        Of how many of them it keeps how every layer is heard.
    bytes_kept_a_frame : int
        Of what else it keeps in the cache.
    """

    renders: tuple[Collection[str] | None, ...] = ()
    made: Callable[[MixGraph], Collection[str]] | None = None
    bytes_a_frame: int = 0
    into: Path | None = None
    finished: tuple[str, ...] = ()
    at_rate: tuple[str, ...] = ()
    mixes: int = 1
    ledgers: int = 0
    bytes_kept_a_frame: int = 0


NOTHING = Making()


def needs(
    folder: Path, song: Song, lanes: Sequence[Lane], store: StemStore, cache: Cache, making: Making
) -> list[tuple[Path, int]]:
    """Return by how many bytes the song folder, and the folder of the files, may grow.

    What cannot be read, or cannot be meant, takes no room: whoever opens it tells.
    """
    used = used_tracks(song)
    found = {track.id: _outlook(store, folder, track.file, song.rate_hz, track.sha256) for track in used}
    tracks = {id_: outlook for id_, outlook in found.items() if outlook is not None}
    others = [_outlook(store, folder, file, None) for file in making.finished]
    others += [_outlook(store, folder, file, song.rate_hz) for file in making.at_rate]
    size = received_bytes([*tracks.values(), *(outlook for outlook in others if outlook is not None)])
    if len(tracks) < len(used):
        return [(folder, size)]
    graph = compile_mix(song, lanes, {id_: outlook.frames for id_, outlook in tracks.items()})
    if graph.frames > LONGEST_H * 3600 * graph.rate_hz:
        return [(folder, size)]
    size += _strips(graph, tracks, cache)
    if graph.dynamics and not (making.mixes == 1 and cache.holds(gains_key(graph))):
        size += making.mixes * 4 * math.prod(graph.gains_shape)
    size += sum(8 * graph.frames for one in making.renders if not cache.holds(rendered_key("mix", graph, one)))
    size += sum(8 * graph.frames for key in (making.made(graph) if making.made else ()) if not cache.holds(key))
    size += making.bytes_kept_a_frame * graph.frames
    size += (_HEARD_BYTES + _HEARD_SECTION_BYTES * len(song.sections)) * (len(tracks) + len(song.sends))
    size += making.ledgers * _heard(song, graph, len(tracks) + len(song.sends))
    seconds = graph.frames / graph.rate_hz
    size += round(8 * SUB_BLOCKS_PER_S * seconds * _MEASURED_TIMES * (len(tracks) + 1))
    return [(folder, size), (making.into or folder, making.bytes_a_frame * graph.frames)]


def received_bytes(outlooks: Collection[Outlook]) -> int:
    """Return how much room opening some files takes, with what is noted of them."""
    return _SONG_BYTES + sum(outlook.missing_bytes + _TRACK_BYTES for outlook in outlooks)


def _outlook(store: StemStore, folder: Path, file: str, rate_hz: int | None, sha256: str = "") -> Outlook | None:
    try:
        return store.outlook(song_path(folder, file), rate_hz, sha256)
    except (InputError, SettingError):
        return None


def _heard(song: Song, graph: MixGraph, layers: int) -> int:
    """Return the room of what is kept of each stretch as it is heard; every track may be a layer."""
    edges_s = [edge for part in song.sections for edge in (part.start_s, part.end_s)]
    stretches = stretches_of(cells_of(graph.frames, graph.rate_hz), edges_s, kept=True)
    moments = sum(map(wanted_moments, stretches))
    leads = len({track.id for lead in song.lead for track in targets_of(song, lead)})
    seconds = graph.frames / graph.rate_hz
    by_time = seconds * (layers * _SECOND_BYTES + leads * _LEAD_SECOND_BYTES)
    by_stretch = len(stretches) * (layers * layers * _PAIR_BYTES + layers * _STRETCH_BYTES)
    return round(by_time) + by_stretch + layers * moments * _MOMENT_BYTES


def _strips(graph: MixGraph, tracks: Mapping[str, Outlook], cache: Cache) -> int:
    """Return the room of post-strip audio that is not there yet."""
    size = 0
    for node in graph.tracks:
        shape = tracks[node.id].frames, tracks[node.id].channels
        if node.operations and not cache.holds(strip_key(graph, node, shape)):
            size += 4 * shape[1] * strip_frames(node, shape[0], graph.rate_hz)
    return size
