# SPDX-License-Identifier: Apache-2.0
"""What a page reads of a song: its first view, what a finding is about, the documents of commands."""

from __future__ import annotations

import msgspec
from starlette.responses import JSONResponse, Response

from mixwright.app.automate import lanes_view
from mixwright.app.bounces import bounces_view, release
from mixwright.app.heard_view import finding_view
from mixwright.app.moves_view import moves_view
from mixwright.app.playable import Playing, StretchLevels
from mixwright.app.song_view import song_view
from mixwright.app.told import document_of
from mixwright.errors import SettingError, StateError, listed
from mixwright.io.kept import read_kept
from mixwright.model.blind import BlindTests
from mixwright.model.bounces import BouncesView
from mixwright.model.lanes_view import LanesView
from mixwright.model.moves_view import MovesView
from mixwright.model.prints import DeliverResult
from mixwright.model.receipts import ProveResult
from mixwright.model.record import Record
from mixwright.model.results import MeasureResult, MixResult, PlanResult, StartResult
from mixwright.model.song_view import FindingView, SongView, Walk
from mixwright.report.document import BANDS
from mixwright.web.answers import Asked, document_response
from mixwright.web.changes import CHANGES
from mixwright.web.jobs import Jobs, Request

#: The documents of commands by the names of the commands, and what they are kept as.
_RESULTS: dict[str, tuple[str, type[Record]]] = {
    "start": ("intake", StartResult),
    "measure": ("measure", MeasureResult),
    "plan": ("plan", PlanResult),
    "prove": ("receipts", ProveResult),
    "mix": ("mix", MixResult),
    "deliver": ("deliver", DeliverResult),
}


def song(asked: Asked) -> Response:
    """Answer with the first view of the song."""
    return document_response("open", asked.folder, song_view(asked.folder))


def moves(asked: Asked) -> Response:
    """Answer with the moves and their evidence."""
    return document_response("moves", asked.folder, moves_view(asked.folder))


def lanes(asked: Asked) -> Response:
    """Answer with the automation that is kept, and what may have some."""
    return document_response("lanes", asked.folder, lanes_view(asked.folder))


def bounces_taken(asked: Asked) -> Response:
    """Answer with the bounces that were taken."""
    return document_response("bounces", asked.folder, bounces_view(asked.folder))


def bounces_released(asked: Asked, jobs: Jobs) -> Response:
    """Remove what bounces superseded where no job runs, which might need it; answer with them as they are then."""
    jobs.require_none()
    release(asked.folder)
    return bounces_taken(asked)


def finding(asked: Asked) -> Response:
    """Answer with who covers whom in a finding."""
    return document_response("finding", asked.folder, finding_view(asked.folder, asked.path["id"]))


def result(asked: Asked) -> Response:
    """Answer with the document that a command printed last; `detail=bands` as on the command line."""
    name = asked.path["name"]
    if name not in _RESULTS:
        raise SettingError(f"no command {name!r} keeps a result", hint=f"known: {listed(list(_RESULTS))}")
    kept = read_kept(asked.folder, *_RESULTS[name])
    if kept is None:
        raise StateError(f"{name} was not run yet", hint=f"run {name} first")
    found = document_of(kept) if isinstance(kept, MeasureResult) else kept
    left_out = () if asked.query.get("detail") == "bands" else BANDS
    return document_response(name, asked.folder, found, left_out=left_out)


def schema(_: Asked) -> Response:
    """Answer with the schema of everything that goes over the wire, as JSON Schema 2020-12."""
    return JSONResponse(page_schema())


def page_schema() -> dict[str, object]:
    """Return the schemas by name: results of documents, and bodies of requests."""
    types: dict[str, object] = {"SongView": SongView, "FindingView": FindingView, "job": Request, "walk": Walk}
    types |= {
        "BlindTests": BlindTests,
        "MovesView": MovesView,
        "LanesView": LanesView,
        "BouncesView": BouncesView,
        "Playing": Playing,
        "StretchLevels": StretchLevels,
    }
    types |= {f"result {name}": type_ for name, (_, type_) in _RESULTS.items()}
    types |= {f"do {name}": kind for name, (kind, _) in CHANGES.items()}
    found, definitions = msgspec.json.schema_components(list(types.values()), ref_template="#/$defs/{name}")
    return {"$defs": definitions, "named": dict(zip(types, found, strict=True))}
