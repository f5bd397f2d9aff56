# SPDX-License-Identifier: Apache-2.0
"""Changes that a page makes: each is one step of the journal, and is made only to the song that the page has seen."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import msgspec
from starlette.responses import Response

from mixwright.app import decide
from mixwright.app.automate import set_lane
from mixwright.app.edit import edit
from mixwright.app.leave import leave
from mixwright.app.page import write_page
from mixwright.app.settle import settle
from mixwright.app.song_view import set_walk, song_view
from mixwright.errors import ChangedError, SettingError, listed, printable
from mixwright.io.song_file import unchanged_since
from mixwright.model.lane import Breakpoint, Lane
from mixwright.model.record import Record
from mixwright.model.song_edit import SongEdit
from mixwright.model.song_view import Walk
from mixwright.web.answers import Asked, document_response, error_response


class _Change(Record, frozen=True, kw_only=True):
    """A change; `version`: of the song that the page has seen."""

    version: str


class Edit(_Change, frozen=True, kw_only=True):
    """Names, roles, places, sources, groups, sections, who is followed."""

    edit: SongEdit


class Accept(_Change, frozen=True, kw_only=True):
    """`mixwright accept`; `all`: every proposed move."""

    moves: tuple[str, ...] = ()
    all: bool = False


class Moves(_Change, frozen=True, kw_only=True):
    """`mixwright refuse` and `settle`."""

    moves: tuple[str, ...] = ()


class Change(_Change, frozen=True, kw_only=True):
    """`mixwright change`; values as they are typed, with or without a unit."""

    move: str
    settings: dict[str, str]


class Add(_Change, frozen=True, kw_only=True):
    """`mixwright add`."""

    sentence: str


class Leave(_Change, frozen=True, kw_only=True):
    """`mixwright measure --leave`."""

    findings: tuple[str, ...]


class SetLane(_Change, frozen=True, kw_only=True):
    """A lane in the place of the one for the same thing; no points: none. `before`: its points when it was begun."""

    lane: Lane
    before: tuple[Breakpoint, ...] | None = None


class Again(_Change, frozen=True, kw_only=True):
    """`mixwright undo` and `redo`."""


def _edit(folder: Path, asked: Edit) -> object:
    edit(folder, asked.edit)
    return {}


def _leave(folder: Path, asked: Leave) -> object:
    left = leave(folder, asked.findings)
    write_page(folder)
    return {"left": left}


def _lane(folder: Path, asked: SetLane) -> object:
    return {"lanes": set_lane(folder, asked.lane.target, asked.lane.parameter, asked.lane.points, asked.before)}


#: By name: what is sent, and what does it.
CHANGES: Mapping[str, tuple[type[_Change], Callable[[Path, Any], object]]] = {
    "edit": (Edit, _edit),
    "accept": (Accept, lambda folder, asked: decide.accept(folder, asked.moves, everything=asked.all)),
    "refuse": (Moves, lambda folder, asked: decide.refuse(folder, asked.moves)),
    "change": (Change, lambda folder, asked: decide.change(folder, asked.move, asked.settings)),
    "add": (Add, lambda folder, asked: decide.add(folder, asked.sentence)),
    "settle": (Moves, lambda folder, asked: settle(folder, asked.moves)),
    "leave": (Leave, _leave),
    "lane": (SetLane, _lane),
    "undo": (Again, lambda folder, _: decide.undo(folder)),
    "redo": (Again, lambda folder, _: decide.redo(folder)),
}


def change(asked: Asked) -> Response:
    """Make a change and answer with the result of its command; 409 and the song as it is where another was first."""
    name = asked.path["change"]
    if name not in CHANGES:
        raise SettingError(f"no change is called {printable(name)!r}", hint=f"known: {listed(list(CHANGES))}")
    kind, make = CHANGES[name]
    try:
        wanted = msgspec.json.decode(asked.body, type=kind)
    except msgspec.MsgspecError as error:
        raise SettingError(f"this is no {name}: {error}") from error
    if not wanted.version:
        raise SettingError("no version is given", hint="give that of the song that was looked at")
    try:
        with unchanged_since(wanted.version):
            found = make(asked.folder, wanted)
    except ChangedError as error:
        return error_response(asked.folder, error, now=song_view(asked.folder))
    return document_response(name, asked.folder, found)


def walk(asked: Asked) -> Response:
    """Remember whether the walk through the page is due; that is no change of the song."""
    try:
        wanted = msgspec.json.decode(asked.body, type=Walk)
    except msgspec.MsgspecError as error:
        raise SettingError(f"this says nothing of the walk: {error}") from error
    set_walk(asked.folder, waits=wanted.waits)
    return Response(status_code=204)
