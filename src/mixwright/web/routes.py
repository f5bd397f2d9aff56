# SPDX-License-Identifier: Apache-2.0
"""What the server answers: documents of a song, changes to it, jobs, events, audio. `docs/page.md` is its contract."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from mixwright.app.playable import Playable
from mixwright.jobs.progress import Cancel
from mixwright.report.style import COLOURS
from mixwright.web.answers import Answer, Asked, answering, document_response
from mixwright.web.blind import blind_done, blind_tests
from mixwright.web.changes import change, walk
from mixwright.web.events import Events, watch
from mixwright.web.excerpts import Excerpts
from mixwright.web.hearing import band, loudness
from mixwright.web.jobs import Jobs, request_of
from mixwright.web.reading import bounces_released, bounces_taken, finding, lanes, moves, result, schema, song
from mixwright.web.trying import Trying
from mixwright.web.watching import Watching
from mixwright.web.wav import wav_response

HERE = Path(__file__).resolve().parent
STATIC = HERE / "static"


def page_app(folder: Path, *, watches: bool = False) -> Starlette:
    """Return the application that serves one song folder; a guard belongs before it.

    `watches`: what is new in the folders of the tracks is taken as soon as it is complete.
    """
    stopped = Cancel()
    events, playable = Events(), Playable(folder, stopped)
    jobs, excerpts, trying = Jobs(folder, events), Excerpts(playable), Trying(playable)
    bounces = Watching(folder, jobs, events, on=watches)

    @contextlib.asynccontextmanager
    async def living(app: Starlette) -> AsyncIterator[None]:
        del app
        events.begin()
        watching = asyncio.create_task(watch(folder, events))
        bounces.start()
        try:
            yield
        finally:
            watching.cancel()
            await run_in_threadpool(bounces.end)
            await run_in_threadpool(jobs.end)
            await run_in_threadpool(playable.close)

    def end() -> None:
        """Stop what somebody waits for; the application itself ends later, when nobody is answered any more."""
        events.end()
        stopped.cancel()
        jobs.cancel()

    def route(path: str, answer: Answer, method: str = "GET") -> Route:
        return Route(path, answering(folder, answer), methods=[method])

    def start(asked: Asked) -> Response:
        return JSONResponse(jobs.start(request_of(asked.body)), 202)

    def cancel(_: Asked) -> Response:
        jobs.cancel()
        return Response(status_code=204)

    def choices(_: Asked) -> Response:
        return document_response("audio", folder, playable.choices())

    def audio(asked: Asked) -> Response:
        return wav_response(playable.whole(asked.path["name"]), asked.range)

    def excerpt(asked: Asked) -> Response:
        return wav_response(excerpts.asked(asked.query), asked.range)

    async def stream(_: Request) -> Response:
        return StreamingResponse(events.stream(), media_type="text/event-stream")

    app = Starlette(
        lifespan=living,
        routes=[
            Route("/", _file(STATIC / "index.html")),
            Route("/static/core.wasm", _file(HERE / "core.wasm")),
            Route("/static/colours.css", _colours),
            Mount("/static", StaticFiles(directory=STATIC)),
            route("/api/song", song),
            route("/api/moves", moves),
            route("/api/lanes", lanes),
            route("/api/bounces", bounces_taken),
            route("/api/bounces", lambda asked: bounces_released(asked, jobs), "DELETE"),
            route("/api/findings/{id}", finding),
            route("/api/results/{name}", result),
            route("/api/schema", schema),
            route("/api/do/{change}", change, "POST"),
            route("/api/walk", walk, "POST"),
            route("/api/job", lambda _: JSONResponse(jobs.state)),
            route("/api/job", start, "POST"),
            route("/api/job", cancel, "DELETE"),
            Route("/api/events", stream),
            route("/api/audio", choices),
            route("/api/audio/{name:path}", audio),
            route("/api/excerpt", excerpt),
            route("/api/try", trying.told),
            route("/api/try", trying.turned, "POST"),
            route("/api/try/audio", trying.audio),
            route("/api/blind", blind_tests),
            route("/api/blind", blind_done, "POST"),
            route("/api/loudness", lambda asked: loudness(asked, playable, excerpts)),
            route("/api/band", lambda asked: band(asked, playable)),
        ],
    )
    app.state.events, app.state.end = events, end
    return app


async def _colours(_: Request) -> Response:
    return Response(COLOURS, media_type="text/css")


def _file(path: Path) -> Callable[[Request], Awaitable[Response]]:
    async def answer(_: Request) -> Response:
        return FileResponse(path, headers={"Cache-Control": "no-cache"})

    return answer
