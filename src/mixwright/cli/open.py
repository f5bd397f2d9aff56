# SPDX-License-Identifier: Apache-2.0
"""`mixwright open`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import WholeRange, command, song_argument
from mixwright.cli.output import Output, say


@command("open", short_help="Open the page of a song in the browser.", example="mixwright open night-bus")
@song_argument
@click.option(
    "--port",
    type=WholeRange(0, 65535),
    default=0,
    show_default="one that is free",
    metavar="NUMBER",
    help="Where the page is served on this machine.",
)
@click.option("--watch", is_flag=True, help="Take new bounces from the folders of the tracks, as `refresh --take`.")
@click.option("--no-browser", is_flag=True, help="Print the address only.")
def command_line(output: Output, song: Path, port: int, watch: bool, no_browser: bool) -> None:
    """Serve the page of a song on this machine alone, and open it in the browser; Ctrl-C ends it.

    The address holds a key: who does not have it sees nothing. Nothing is asked of any other machine.

    With --watch a file that is written into the folders of the tracks is taken as soon as it is complete: what a track
    held before is kept, the song is measured anew if it was measured before, and what the bounce changed is told
    beside the open moves.
    """
    from mixwright.web.server import serve

    def tell(url: str) -> None:
        if output.as_json:
            output.document(result={"url": url})
        else:
            say([f"The page of {song}: {url}", "Ctrl-C ends it."])
        if not no_browser:
            import webbrowser

            webbrowser.open(url)

    output.begun = True
    serve(song, tell, port=port, watches=watch, cancel=output.cancel)
