# SPDX-License-Identifier: Apache-2.0
"""Accepted moves laid over hand settings and kept lanes: lanes of level and position, inserts, amounts in sends."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Sequence

from mixwright.engine.inserts import Clock, fitted, insert_operations
from mixwright.engine.lanes import FrameLane, combined, constant, from_kept, heard_of, inside, total
from mixwright.engine.operation import Operation
from mixwright.errors import SettingError, count, where
from mixwright.model.lane import Lane, StripParameter
from mixwright.model.move_inserts import feeds_moved, laid_over, moved_strips, toward
from mixwright.model.song import Move, Song, Track, kept_target, strips_of
from mixwright.model.strip import Strip

#: Lanes in the order of the C core.
Lanes = tuple[FrameLane, FrameLane, FrameLane, FrameLane, FrameLane]


def before_fader(lanes: Lanes) -> Lanes:
    """Return lanes with the fader at 0 dB, as sends before it are fed."""
    return (constant(0.0), *lanes[1:])


class Overlay:
    """What kept lanes and accepted moves do to each strip of a song of `frames` frames.

    Attributes
    ----------
    song : Song
        with moves as inserts at the end of strips and as amounts in sends (`model.move_inserts`); all else of them are
        lanes
    """

    def __init__(self, song: Song, lanes: Sequence[Lane], frames: int) -> None:
        self.frames = frames
        self.song, self._added = laid_over(song)
        self._kept = {(lane.target, lane.parameter): from_kept(lane, song.rate_hz) for lane in lanes if lane.points}
        self._paths = {(kind, id_): path for path, kind, id_, _ in strips_of(song)}
        strips = {id_ for _, id_ in self._paths}
        self._sources = {track.id: track.source for track in song.tracks if track.source and track.source not in strips}
        self._sections = {section.name: section for section in song.sections}
        self._on_strips: dict[tuple[str, str], list[Move]] = {}
        self._feeds: dict[tuple[str, str, str], list[Move]] = {}
        for move in self.song.moves:
            if move.state == "accepted" and move.kind == "send":
                for strip in feeds_moved(song, move) if move.strength > 0.0 else ():
                    self._feeds.setdefault((*strip, move.send), []).append(move)
            elif move.state == "accepted":
                for strip in moved_strips(song, move):
                    self._on_strips.setdefault(strip, []).append(move)

    def track_lanes(self, track: Track) -> Lanes:
        """Return the lanes of a track."""
        return self._lanes(track.id, "track", track.strip, self._on_strips.get(("track", track.id), ()))

    def bus_lanes(self, name: str, kind: str, strip: Strip) -> Lanes:
        """Return the lanes of a group, send or the master."""
        return self._lanes(name, kind, strip, self._on_strips.get((kind, name), ()))

    def heard_lane(self, name: str, kind: str) -> FrameLane | None:
        """Return the lane of factors, 0 while automation mutes a strip; None where none does."""
        mutes = [heard_of(lane, self.song.rate_hz) for lane in self._kept_lanes(name, kind, "mute")]
        return combined(mutes, math.prod) if mutes else None

    def feed_lanes(self, name: str, kind: str, send: str, lanes: Lanes) -> Lanes | None:
        """Return lanes of a strip with what moves and automation do to its feed of a send; None where none does."""
        moves = self._feeds.get((kind, name, send), ())
        kept = self._kept_lanes(name, kind, f"sends.{send}")
        if not moves and not kept:
            return None
        levels = [lanes[0], *kept, *(self._scaled(move, move.strength * move.settings["gain_db"]) for move in moves)]
        return (total(levels), *lanes[1:])

    def inserts(self, name: str, kind: str, strip: Strip, clock: Clock) -> tuple[tuple[Operation, ...], ...]:
        """Return the operations of each of the inserts of a strip, which are run by `clock`."""
        kept, path = self.kept_of(name, kind), self._paths[kind, name]
        lanes = {
            what: lane for (target, what), lane in self._kept.items() if target == kept and what.startswith("inserts")
        }
        added = self._added.get((kind, name), ())
        own = len(strip.inserts) - len(added)
        places = [*(f"{path}.inserts[{k}]" for k in range(own)), *(f"move {id_}" for id_ in added)]
        _check_moved(lanes, own, path)
        within = {
            insert.sections: self._inside(insert.sections, f"{place}.sections")
            for place, insert in zip(places, strip.inserts, strict=True)
            if insert.sections
        }
        fitting = []
        for place, insert in zip(places, strip.inserts, strict=True):
            with where(place):
                fitting.append(fitted(self.song, kind, name, insert))
        return insert_operations(fitting, clock, within, lanes, places)

    def kept_of(self, name: str, kind: str) -> str:
        """Return the target of kept lanes that is meant; of an id that several have it is the track, then the group."""
        return kept_target(self.song, name, kind)

    def _kept_lanes(self, name: str, kind: str, parameter: str) -> list[FrameLane]:
        """Return the kept lanes of a strip that add up: its own, and of a track those of its source."""
        names = [self.kept_of(name, kind), self._sources.get(name, "") if kind == "track" else ""]
        return [self._kept[one, parameter] for one in names if (one, parameter) in self._kept]

    def _lanes(self, name: str, kind: str, strip: Strip, moves: Iterable[Move]) -> Lanes:
        kept = self.kept_of(name, kind)
        levels = [constant(strip.fader_db), *self._kept_lanes(name, kind, "level")]
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
                lane = combined((lane, share), functools.partial(toward, wanted))
        return lane

    def _scaled(self, move: Move, value: float) -> FrameLane:
        """Return `value` where the move applies, 0 elsewhere."""
        if not move.sections:
            return constant(value)
        lane = self._inside(move.sections, f"move {move.id}.sections")
        return FrameLane(tuple((frame, value * share) for frame, share in lane.points))

    def _inside(self, sections: tuple[str, ...], place: str) -> FrameLane:
        for name in sections:
            if name not in self._sections:
                raise SettingError(f"no section is called {name!r}", where=place, hint="change its sections")
        return inside([self._sections[name] for name in sections], self.frames, self.song.rate_hz)


def _check_moved(lanes: Iterable[str], own: int, path: str) -> None:
    """Refuse a lane of an insert that the strip itself does not have."""
    for setting in lanes:
        if int(setting.partition("]")[0].removeprefix("inserts[")) >= own:
            what = f"a lane moves {setting}, and it has {count(own, 'insert')}"
            raise SettingError(what, where=path, hint="take its lane out")
