# SPDX-License-Identifier: Apache-2.0
"""Who may ask: pages of this server alone, with its token; and what a page may do."""

from __future__ import annotations

import secrets

from starlette.datastructures import Headers, MutableHeaders, QueryParams
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

#: No inline script or style, no eval, nothing from elsewhere. `wasm-unsafe-eval` compiles core.wasm for the
#: AudioWorklet and allows no eval of text; Trusted Types keep text of a song from ever becoming markup.
POLICY = (
    "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "media-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; "
    "require-trusted-types-for 'script'; trusted-types 'none'"
)
_HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Embedder-Policy": "require-corp",
    "Cross-Origin-Resource-Policy": "same-origin",
}
#: Nothing that a page sends is longer.
MOST_BODY_BYTES = 1 << 20
_HINT = "Open the address that `mixwright open` printed; it holds the key to this page."


class Guard:
    """Lets through what comes from this machine's own page.

    A request must name this server as its host, come from no page of another origin, and bring the token: in the
    address of the page itself, which hands it on as a cookie that scripts cannot read, or as `Authorization: Bearer`.

    Parameters
    ----------
    app : ASGI application
    token : str
    port : int
        that this server listens on
    """

    def __init__(self, app: ASGIApp, token: str, port: int) -> None:
        self._app = app
        self._token = token
        self._hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        # Cookies are shared by all ports of a host: the name keeps two open songs apart.
        self._cookie = f"mixwright-{port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.update(_HEADERS)
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        refused = self._refused(scope)
        await (refused or self._app)(scope, receive, with_headers)

    def _refused(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        hosts = headers.getlist("host")
        if len(hosts) != 1 or hosts[0] not in self._hosts:
            return PlainTextResponse("Another host was asked for.", 421)
        origin = headers.get("origin")
        if origin is not None and origin != f"http://{hosts[0]}":
            return PlainTextResponse("Another page has asked.", 403)
        is_page = scope["path"] == "/" and scope["method"] == "GET"
        # A browser says where a request comes from; only the page itself may be opened from elsewhere.
        if not is_page and headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return PlainTextResponse("Another page has asked.", 403)
        given = QueryParams(scope["query_string"]).get("token", "") if is_page else ""
        if given and self._is_token(given):
            answer = RedirectResponse("/", 303)
            answer.set_cookie(self._cookie, self._token, httponly=True, samesite="strict")
            return answer
        if not self._is_token(self._brought(headers)):
            return PlainTextResponse(f"The key is missing. {_HINT}", 403)
        if not headers.get("content-length", "0").isdecimal() or "transfer-encoding" in headers:
            return PlainTextResponse("The length must be told.", 411)
        if int(headers.get("content-length", "0")) > MOST_BODY_BYTES:
            return PlainTextResponse("That is too long.", 413)
        if scope["method"] not in ("GET", "HEAD", "DELETE") and headers.get("content-type") != "application/json":
            return PlainTextResponse("JSON is asked for.", 415)
        return None

    def _brought(self, headers: Headers) -> str:
        kind, _, token = headers.get("authorization", "").partition(" ")
        if kind == "Bearer":
            return token
        return cookie_parser(headers.get("cookie", "")).get(self._cookie, "")

    def _is_token(self, given: str) -> bool:
        return secrets.compare_digest(given.encode(), self._token.encode())
