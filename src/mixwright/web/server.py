# SPDX-License-Identifier: Apache-2.0
"""The server of a song: on this machine alone, until it is stopped."""

from __future__ import annotations

import contextlib
import socket
import sys
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import uvicorn

from mixwright.app.beside import Beside
from mixwright.errors import OutputError
from mixwright.io.song_file import require_song
from mixwright.jobs.progress import Cancel
from mixwright.web.events import Events
from mixwright.web.guard import Guard
from mixwright.web.key import Key, new_token, recalled, remembered
from mixwright.web.routes import page_app

HOST = "127.0.0.1"


class _Server(uvicorn.Server):
    """A server whose signals are those of the command that runs it, and that ends the streams of its pages first."""

    def __init__(self, config: uvicorn.Config, end: Callable[[], object]) -> None:
        super().__init__(config)
        self._end = end

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Stop what pages wait for, and then the server."""
        self._end()
        await super().shutdown(sockets)

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Leave signals alone."""
        yield


def serve(
    folder: Path,
    tell: Callable[[str], object],
    *,
    port: int = 0,
    watches: bool = False,
    cancel: Cancel | None = None,
) -> None:
    """Serve the page of a song until the switch is thrown; jobs that run then are stopped.

    Parameters
    ----------
    folder : Path
        The song folder.
    tell : callable
        given the address of the page, with its token, once it can be opened
    port : int
        0: one that is free
    watches : bool
        take what is new in the folders of the tracks as soon as it is complete
    cancel : Cancel, optional
        ends it

    Raises
    ------
    StateError
        when there is no song
    OutputError
        when the port is taken
    """
    require_song(folder)
    before = recalled(folder)
    with _bound(port, before.port if before else 0) as listening:
        found: int = listening.getsockname()[1]
        token = before.token if before is not None and before.port == found else new_token()
        app = page_app(folder, watches=watches)
        guarded = Guard(app, token, found)
        # Whoever does not let go of a connection is not waited for longer than this.
        server = _Server(
            uvicorn.Config(
                guarded,
                log_level="error",
                access_log=False,
                ws="none",
                server_header=False,
                proxy_headers=False,
                timeout_graceful_shutdown=2,
                timeout_keep_alive=30,
            ),
            app.state.end,
        )

        def stop() -> None:
            server.should_exit = True

        tell(f"http://{HOST}:{found}/?token={token}")
        key = Key(port=found, token=token)
        with remembered(folder, key), (cancel or Cancel()).waking(stop), _told_beside(app.state.events):
            server.run(sockets=[listening])


@contextlib.contextmanager
def _bound(port: int, wanted: int) -> Iterator[socket.socket]:
    """Give a socket that listens on a port; where none is asked for, on the one that is wanted if it is free."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as listening:
        if sys.platform != "win32":  # there it would let two servers have one port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            _bind(listening, [port] if port or not wanted else [wanted, 0])
        except OSError as error:
            raise OutputError(
                f"port {port} cannot be used ({error.strerror})", hint="choose another, or leave --port out"
            ) from error
        listening.listen(64)
        yield listening


def _bind(listening: socket.socket, ports: list[int]) -> None:
    for port in ports[:-1]:
        with contextlib.suppress(OSError):
            listening.bind((HOST, port))
            return
    listening.bind((HOST, ports[-1]))


@contextlib.contextmanager
def _told_beside(events: Events) -> Iterator[None]:
    """Tell pages what could not be written beside the work that is done."""
    with warnings.catch_warnings():
        warnings.simplefilter("always", Beside)
        others = warnings.showwarning

        def hear(message: Warning | str, category: type[Warning], *where: Any, **more: Any) -> None:
            if issubclass(category, Beside):
                events.publish("notice", {"told": str(message)})
            else:
                others(message, category, *where, **more)

        warnings.showwarning = hear
        yield
