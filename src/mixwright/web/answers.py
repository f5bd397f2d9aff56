# SPDX-License-Identifier: Apache-2.0
"""How a request becomes an answer: in a thread of its own, and every error as a document."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Collection
from dataclasses import dataclass
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import QueryParams
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from mixwright.errors import ChangedError, InputError, InternalError, MixwrightError, SettingError, StateError
from mixwright.io.fault_file import told_fault
from mixwright.model.record import Record
from mixwright.report.document import document, error_told
from mixwright.report.warnings import warnings_of


@dataclass(frozen=True)
class Asked:
    """What a page asks: parts of the path by name, what follows the question mark, the body, the range."""

    folder: Path
    path: dict[str, str]
    query: QueryParams
    body: bytes
    range: str | None


Answer = Callable[[Asked], Response]


def answering(folder: Path, answer: Answer) -> Callable[[Request], Awaitable[Response]]:
    """Return an endpoint that answers in a thread; what goes wrong is told as a document, the server goes on."""

    async def endpoint(request: Request) -> Response:
        asked = Asked(
            folder, dict(request.path_params), request.query_params, await request.body(), request.headers.get("range")
        )
        return await run_in_threadpool(_answered, answer, asked)

    return endpoint


def document_response(
    command: str, folder: Path, result: object, *, status: int = 200, left_out: Collection[str] = ()
) -> Response:
    """Return a result as the document of a command."""
    warnings = warnings_of(result) if isinstance(result, Record) else ()
    return JSONResponse(document(command, str(folder), warnings, left_out=left_out, result=result), status)


def error_response(folder: Path, error: MixwrightError, now: object = None) -> Response:
    """Return an error as a document, with the status of HTTP that comes nearest; `now`: the song as it is, if given."""
    kinds = ((ChangedError, 409), (StateError, 409), (SettingError, 422), (InputError, 422), (InternalError, 500))
    status = next((status for kind, status in kinds if isinstance(error, kind)), 503)
    body: dict[str, object] = {"error": error_told(error)} | ({} if now is None else {"now": now})
    return JSONResponse(document("", str(folder), (), left_out=(), **body), status)


def _answered(answer: Answer, asked: Asked) -> Response:
    try:
        return answer(asked)
    except MixwrightError as error:
        return error_response(asked.folder, error)
    except Exception as error:  # noqa: BLE001 - told in the page; the server goes on
        return error_response(asked.folder, told_fault(error))
