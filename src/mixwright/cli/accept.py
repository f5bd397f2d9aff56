# SPDX-License-Identifier: Apache-2.0
"""`mixwright accept`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import command, song_argument
from mixwright.cli.output import Output


@command(
    "accept",
    short_help="Accept proposed moves.",
    example="mixwright accept night-bus level-bass-di-3f9a1c",
)
@song_argument
@click.argument("moves", metavar="[MOVE]...", nargs=-1)
@click.option("--all", "everything", is_flag=True, help="Accept every proposed move; lists them and their total cost.")
def command_line(output: Output, song: Path, moves: tuple[str, ...], everything: bool) -> None:
    """Accept proposed moves; they bind every later plan.

    MOVE is an id, a part of an id that fits only one, or a track, source or group: all of its moves.
    """
    if everything == bool(moves):
        raise click.UsageError("give the ids of moves, or --all", click.get_current_context())
    from mixwright.app.decide import accept
    from mixwright.report.text import accept_text

    output.show(accept(song, moves, everything=everything), accept_text, str(song))
