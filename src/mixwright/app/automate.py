# SPDX-License-Identifier: Apache-2.0
"""Automation by hand: what may have a lane, and lanes set one by one, each as a step that `undo` takes back."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from mixwright.app.page import write_page
from mixwright.engine.lanes import range_of
from mixwright.errors import ChangedError, SettingError, count, listed, printable
from mixwright.io.kept import read_kept, read_lanes, write_lanes
from mixwright.io.song_file import edit_song, load_song
from mixwright.model.lane import Breakpoint, Lane
from mixwright.model.lanes_view import LanesView, ViewedParameter, ViewedTarget
from mixwright.model.results import StartResult
from mixwright.model.song import MASTER, Group, Song, Track, changed, kept_target
from mixwright.model.strip import Strip

#: No lane has more points: a ride that is thinned has a few dozen.
MOST_POINTS = 2000


def lanes_view(folder: Path) -> LanesView:
    """Return everything that the page shows of automation.

    Raises
    ------
    SettingError, StateError
        where `song.toml` is wrong or not there, or the automation cannot be read
    """
    song = load_song(folder)
    intake = read_kept(folder, "intake", StartResult)
    channels = {track.id: track.channels or 0 for track in intake.tracks} if intake else {}
    return LanesView(lanes=read_lanes(folder, song.automation), targets=tuple(_targets(song, channels)))


def set_lane(
    folder: Path,
    target: str,
    parameter: str,
    points: Sequence[Breakpoint],
    before: Sequence[Breakpoint] | None = None,
) -> tuple[Lane, ...]:
    """Put a lane in the place of the one for the same thing; without points it is taken out. Returns all lanes.

    Parameters
    ----------
    folder : Path
        The song folder.
    target, parameter : str
        as those of :func:`lanes_view`
    points : sequence of Breakpoint
        in any order; of several at one time the first and the last count
    before : sequence of Breakpoint, optional
        those that the lane had when these were begun; None: these count whatever is there

    Raises
    ------
    SettingError
        where the target, the parameter or a value is not known or allowed
    ChangedError
        within `io.song_file.unchanged_since`, and where the lane is not as it was `before`
    """
    if len(points) > MOST_POINTS:
        raise SettingError(f"a lane of {len(points)} points", hint=f"at most {MOST_POINTS}")
    low, high = range_of(parameter)
    for point in points:
        if not low <= point.value <= high:
            what = f"{printable(parameter)} is {point.value:g} at {point.at_s:g} s"
            raise SettingError(what, where=printable(target), hint=f"allowed: {low:g} to {high:g}")
    held = Lane(target=target, parameter=parameter, points=_in_order(points))
    kept: list[tuple[Lane, ...]] = []

    def edit(song: Song) -> Song:
        _check_known(song, target, parameter)
        lanes = read_lanes(folder, song.automation)
        there = next((one.points for one in lanes if (one.target, one.parameter) == (target, parameter)), ())
        if before is not None and _in_order(before) != _in_order(there):
            raise ChangedError(
                f"the lane of {target} was changed meanwhile", hint="look at it as it is now, and draw it again"
            )
        now = _replaced(lanes, held)
        kept.append(now)
        return song if now == lanes else changed(song, automation=write_lanes(folder, now))

    told = f"{count(len(held.points), 'point')}" if held.points else "none"
    edit_song(folder, f"lane of {target}: {_name(parameter)}, {told}", edit)
    write_page(folder)
    return kept[-1]


def _in_order(points: Sequence[Breakpoint]) -> tuple[Breakpoint, ...]:
    """Return points by time; between two at one time nothing is heard of others."""
    ordered = sorted(points, key=lambda point: point.at_s)
    return tuple(
        point
        for k, point in enumerate(ordered)
        if not 0 < k < len(ordered) - 1 or not ordered[k - 1].at_s == point.at_s == ordered[k + 1].at_s
    )


def _replaced(lanes: Sequence[Lane], new: Lane) -> tuple[Lane, ...]:
    others = [lane for lane in lanes if (lane.target, lane.parameter) != (new.target, new.parameter)]
    found = [*others, new] if new.points else others
    return tuple(sorted(found, key=lambda lane: (lane.target, lane.parameter)))


def _check_known(song: Song, target: str, parameter: str) -> None:
    targets = {one.id: one for one in _targets(song, {})}
    if target not in targets:
        raise SettingError(f"nothing is called {printable(target)!r}", hint=f"known: {listed(list(targets), 12)}")
    known = [one.parameter for one in targets[target].parameters]
    if parameter not in known:
        raise SettingError(
            f"{target} has no {printable(parameter)!r} that a lane could move", hint=f"known: {listed(known)}"
        )


def _targets(song: Song, channels: dict[str, int]) -> Iterator[ViewedTarget]:
    """Yield what may have a lane; a position of tracks whose channels nobody knows may be either."""
    names = {send.id: send.name for send in song.sends}
    for source in song.sources:
        tracks = [track for track in song.tracks if track.source == source.id]
        if tracks and not _is_strip(song, source.id):
            sends = dict.fromkeys(send for track in tracks for send in (*track.sends, *track.pre_sends))
            yield _target(source.id, source.name, [_LEVEL, _MUTE, *_sends(sends, names)])
    for track in song.tracks:
        if track.use and kept_target(song, track.id, "track"):
            yield _strip_target(track, track.name, names, channels.get(track.id, 0))
    for group in song.groups:
        if kept_target(song, group.id, "group"):
            yield _strip_target(group, f"{group.name} (group)", names, 2)
    for send in song.sends:
        if kept_target(song, send.id, "send"):
            plain = [changed(one, tried=False) for one in (_LEVEL, _MUTE)]
            yield _target(send.id, f"{send.name} (return)", [*plain, *_positions(send.strip, 2)])
    yield _target(MASTER, "the whole mix", [_LEVEL])


def _strip_target(one: Track | Group, name: str, names: dict[str, str], channels: int) -> ViewedTarget:
    sends = (*one.sends, *one.pre_sends)
    return _target(one.id, name, [_LEVEL, _MUTE, *_positions(one.strip, channels), *_sends(sends, names)])


def _is_strip(song: Song, id_: str) -> bool:
    return any(one.id == id_ for many in (song.tracks, song.groups, song.sends) for one in many)


_LEVEL = ViewedParameter(parameter="level", name="level", low=-120.0, high=48.0, unit="dB", usual=0.0, tried=True)
_MUTE = ViewedParameter(parameter="mute", name="mute", low=0.0, high=1.0, unit="", usual=0.0, tried=True)


def _positions(strip: Strip, channels: int) -> list[ViewedParameter]:
    """Return pan of a single channel, left, right and width of two."""
    wanted = [name for name, of in (("pan", 1), ("left", 2), ("right", 2), ("width", 2)) if channels in (0, of)]
    found = []
    for name in wanted:
        low, high = range_of(name)
        usual = float(getattr(strip, name))
        found.append(ViewedParameter(parameter=name, name=name, low=low, high=high, unit="", usual=usual))
    return found


def _sends(sends: Sequence[str] | dict[str, None], names: dict[str, str]) -> list[ViewedParameter]:
    found = []
    for send in dict.fromkeys(sends):
        low, high = range_of(f"sends.{send}")
        name = f"send to {names.get(send, send)}"
        found.append(ViewedParameter(parameter=f"sends.{send}", name=name, low=low, high=high, unit="dB", usual=0.0))
    return found


def _target(id_: str, name: str, parameters: list[ViewedParameter]) -> ViewedTarget:
    return ViewedTarget(id=id_, name=name, parameters=tuple(parameters))


def _name(parameter: str) -> str:
    return parameter.replace("sends.", "send to ")
