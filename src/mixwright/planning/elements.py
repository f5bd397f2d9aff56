# SPDX-License-Identifier: Apache-2.0
"""The song as a balance sees it: elements (lead, bass, drums, every other source), made of layers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from mixwright.model.moves import decided_moves, locks_on
from mixwright.model.song import Song, Track, sounding_tracks, source_of, targets_of, used_tracks
from mixwright.model.words import DRUM_ROLES, MoveKind, Place, Role, first_place
from mixwright.planning.table import EFFECTS, Part, Pool


@dataclass(frozen=True)
class Layer:
    """Tracks that one level move shifts together; `bound` says why none may (empty: free)."""

    id: str
    name: str
    tracks: tuple[str, ...]
    targets: tuple[str, ...]
    part: Part
    role: Role
    place: Place
    bound: str = ""


@dataclass(frozen=True)
class Element:
    """Layers judged as one; `target` names them all in one word of the song, empty where none does."""

    id: str
    name: str
    pool: Pool
    layers: tuple[Layer, ...]
    target: str = ""


def elements_of(song: Song) -> tuple[Element, ...]:
    """Sort the sounding tracks of a song into elements and layers, in the song's order.

    The tracks named by ``song.lead`` are leads, each with its doubles and returns. All basses are one element, all
    drums another. Every other source is an element of its own.
    """
    bound = bound_tracks(song, "level")
    sounding = sounding_tracks(song)
    leads = _lead_tracks(song, sounding)
    drums = any(track.role in DRUM_ROLES for track in sounding)
    members: dict[str, dict[tuple[Part, str, str], list[Track]]] = {}
    pools: dict[str, Pool] = {}
    for track in sounding:
        element, pool, part = _belongs(track, leads, drums)
        pools[element] = pool
        # Microphones of one kit are a source; what each is for tells them apart.
        kind = track.role if part == "rest" else ""
        members.setdefault(element, {}).setdefault((part, source_of(track), kind), []).append(track)
    elements = []
    for element, parts in members.items():
        layers = tuple(_layer(song, part, tracks, bound) for (part, _, _), tracks in parts.items())
        tracks = [track for tracks in parts.values() for track in tracks]
        target = _target(song, tracks)
        name = element if pools[element] in ("bass", "drums") and len(layers) > 1 else _name(song, target, layers)
        elements.append(Element(element, name, pools[element], layers, target))
    return tuple(elements)


def bound_tracks(song: Song, kind: MoveKind) -> dict[str, str]:
    """Return the tracks that a plan may not move, each with the reason: locks, own, accepted and refused moves."""
    bound: dict[str, str] = {}
    for move in decided_moves(song):
        if move.kind == kind:
            word = "your own move" if move.by == "engineer" else f"the {move.state} move"
            bound.update({track.id: f"{word} {move.id} binds it" for track in targets_of(song, move.target)})
    for track in used_tracks(song):
        for lock in locks_on(song, kind, track.id):
            bound[track.id] = f"locked ({lock.reason})" if lock.reason else "locked"
    return bound


def _lead_tracks(song: Song, sounding: Iterable[Track]) -> dict[str, str]:
    """Return the lead's name for each track that is part of a lead: named itself, or its double or return."""
    leads = {track.id: name for name in song.lead for track in targets_of(song, name)}
    by_source = {source_of(track): leads[track.id] for track in sounding if track.id in leads}
    for track in sounding:
        same_source = by_source.get(source_of(track))
        if track.id in leads or not by_source:
            continue
        if same_source is not None and track.role in ("double", "return", "effects"):
            leads[track.id] = same_source
        elif track.role == "double":
            leads[track.id] = next(iter(by_source.values()))
    return leads


def _belongs(track: Track, leads: dict[str, str], drums: bool) -> tuple[str, Pool, Part]:
    if track.id in leads:
        return f"lead {leads[track.id]}", "lead", "double" if track.role == "double" else "lead"
    if track.role == "bass":
        return "bass", "bass", "bass"
    if track.role in DRUM_ROLES or (track.role == "loop" and not drums):
        part: Part = "kick" if track.role == "kick" else "snare" if track.role == "snare" else "rest"
        return "drums", "drums", part
    return source_of(track), "other", "other"


def _layer(song: Song, part: Part, tracks: list[Track], bound: dict[str, str]) -> Layer:
    first = next((track for track in tracks if track.role not in EFFECTS), tracks[0])
    target = _target(song, tracks)
    name = next((s.name for s in song.sources if s.id == target), first.name)
    why = next((bound[track.id] for track in tracks if track.id in bound), "")
    return Layer(
        id=target or first.id,
        name=name if target or len(tracks) == 1 else ", ".join(track.name for track in tracks),
        tracks=tuple(track.id for track in tracks),
        targets=(target,) if target else tuple(track.id for track in tracks),
        part=part,
        role=first.role,
        place=first_place(track.place for track in tracks),
        bound=why,
    )


def _name(song: Song, target: str, layers: tuple[Layer, ...]) -> str:
    names = {group.id: group.name for group in song.groups} | {source.id: source.name for source in song.sources}
    known = names.get(target, "")
    return known if known and len(layers) > 1 else next((x.name for x in layers if x.part == "lead"), layers[0].name)


def _target(song: Song, tracks: list[Track]) -> str:
    """Return the one word that names exactly these tracks (muted ones may be among them), or nothing."""
    wanted = {track.id for track in tracks}
    first = tracks[0]
    for word in (first.id, source_of(first), first.group):
        named = targets_of(song, word) if word else ()
        if wanted == {track.id for track in named if not track.mute}:
            return word
    return ""
