# SPDX-License-Identifier: Apache-2.0
"""`mixwright settle`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import command, song_argument
from mixwright.cli.output import Output


@command(
    "settle",
    short_help="Write accepted moves into the strips.",
    example="mixwright settle night-bus level-bass-di-3f9a1c",
)
@song_argument
@click.argument("moves", metavar="[MOVE]...", nargs=-1)
def command_line(output: Output, song: Path, moves: tuple[str, ...]) -> None:
    """Write accepted moves into the strips that they are made on; the mix stays as it is.

    MOVE is as for `accept`; without one all accepted moves are settled. Levels go into faders, positions into pans,
    amounts into sends, all others become inserts. What a strip cannot say stays a move, and why is told. `undo` takes
    it back.
    """
    from mixwright.app.settle import settle
    from mixwright.report.text import settle_text

    output.show(settle(song, moves), settle_text, str(song))
