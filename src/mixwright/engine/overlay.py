# SPDX-License-Identifier: Apache-2.0
"""Accepted moves laid over hand settings and kept lanes, as lanes of level and position."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from mixwright.engine.inserts import Clock, fitted, insert_operations
from mixwright.engine.lanes import FrameLane, combined, constant, from_kept, inside, total
from mixwright.engine.operation import Operation
from mixwright.errors import SettingError, where
from mixwright.model.checks import check_move
from mixwright.model.lane import Lane, StripParameter
from mixwright.model.song import MASTER, Move, Song, Track, homes_of, strips_of, targets_of
from mixwright.model.strip import Strip

#: Lanes in the order of the C core.
Lanes = tuple[FrameLane, FrameLane, FrameLane, FrameLane, FrameLane]


def before_fader(lanes: Lanes) -> Lanes:
    """Return lanes with the fader at 0 dB, as sends before it are fed."""
    return (constant(0.0), *lanes[1:])


class Overlay:
    """What kept lanes and accepted moves do to each strip of a song of `frames` frames.

    A move on the master moves the master's strip. A move on a group moves the group's own strip where the group is
    what it names; a move on a source, or on a mono position, moves each of the tracks.
    """

    def __init__(self, song: Song, lanes: Sequence[Lane], frames: int) -> None:
        self.frames = frames
        self._song = song
        self._kept = {(lane.target, lane.parameter): from_kept(lane, song.rate_hz) for lane in lanes if lane.points}
        self._paths = {(kind, id_): path for path, kind, id_, _ in strips_of(song)}
        self._sections = {section.name: section for section in song.sections}
        self._on_buses: dict[str, list[Move]] = {}
        self._on_tracks: dict[str, list[Move]] = {}
        for move in song.moves:
            if move.state == "accepted":
                self._assign(move)

    def track_lanes(self, track: Track) -> Lanes:
        """Return the lanes of a track."""
        return self._lanes(track.id, track.strip, self._on_tracks.get(track.id, ()))

    def bus_lanes(self, name: str, kind: str, strip: Strip) -> Lanes:
        """Return the lanes of a group, send or the master."""
        moves = () if kind == "send" else self._on_buses.get(name, ())
        return self._lanes(self.kept_of(name, kind), strip, moves)

    def inserts(self, name: str, kind: str, strip: Strip, clock: Clock) -> tuple[tuple[Operation, ...], ...]:
        """Return the operations of each of the inserts of a strip, which are run by `clock`."""
        kept, path = self.kept_of(name, kind), self._paths[kind, name]
        lanes = {what: lane for (target, what), lane in self._kept.items() if target == kept and "." in what}
        inside = {
            insert.sections: self._inside(insert.sections, f"{path}.inserts[{k}].sections")
            for k, insert in enumerate(strip.inserts)
            if insert.sections
        }
        fitting = []
        for k, insert in enumerate(strip.inserts):
            with where(f"{path}.inserts[{k}]"):
                fitting.append(fitted(self._song, kind, name, insert))
        return insert_operations(fitting, clock, inside, lanes, path)

    def kept_of(self, name: str, kind: str) -> str:
        """Return the target of kept lanes that is meant; of an id that several have it is the track, then the group."""
        owners = ("track", self._song.tracks), ("group", self._song.groups), ("send", self._song.sends)
        first = next((one for one, records in owners if any(record.id == name for record in records)), kind)
        return name if first == kind else ""

    def _assign(self, move: Move) -> None:
        check_move(move, f"move {move.id}")
        if move.target == MASTER:
            self._on_buses.setdefault(MASTER, []).append(move)
            return
        tracks = targets_of(self._song, move.target)
        is_group = any(group.id == move.target for group in self._song.groups)
        whole = is_group and all(move.target in homes_of(self._song, track.group) for track in tracks)
        if whole and (move.kind == "level" or "left" in move.settings):
            self._on_buses.setdefault(move.target, []).append(move)
        else:
            for track in tracks:
                self._on_tracks.setdefault(track.id, []).append(move)

    def _lanes(self, kept: str, strip: Strip, moves: Iterable[Move]) -> Lanes:
        levels = [constant(strip.fader_db)]
        if (kept, "level") in self._kept:
            levels.append(self._kept[kept, "level"])
        levels += [
            self._scaled(move, move.strength * move.settings["gain_db"]) for move in moves if move.kind == "level"
        ]
        places = [move for move in moves if move.kind == "pan"]
        return (
            total(levels),
            self._position(kept, "pan", strip.pan, places),
            self._position(kept, "left", strip.left, places),
            self._position(kept, "right", strip.right, places),
            self._kept.get((kept, "width"), constant(strip.width)),
        )

    def _position(self, kept: str, parameter: StripParameter, hand: float, moves: Sequence[Move]) -> FrameLane:
        lane = self._kept.get((kept, parameter), constant(hand))
        for move in moves:
            if parameter in move.settings:
                wanted = move.settings[parameter]
                share = self._scaled(move, move.strength)
                lane = combined((lane, share), lambda v, wanted=wanted: v[0] + v[1] * (wanted - v[0]))  # type: ignore[misc]
        return lane

    def _scaled(self, move: Move, value: float) -> FrameLane:
        """Return `value` where the move applies, 0 elsewhere."""
        if not move.sections:
            return constant(value)
        lane = self._inside(move.sections, f"move {move.id}")
        return FrameLane(tuple((frame, value * share) for frame, share in lane.points))

    def _inside(self, sections: tuple[str, ...], place: str) -> FrameLane:
        for name in sections:
            if name not in self._sections:
                raise SettingError(f"no section is called {name!r}", where=place, hint="change its sections")
        return inside([self._sections[name] for name in sections], self.frames, self._song.rate_hz)
