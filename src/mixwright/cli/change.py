# SPDX-License-Identifier: Apache-2.0
"""`mixwright change`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import command, song_argument
from mixwright.cli.output import Output


@command(
    "change",
    short_help="Change the settings of a move.",
    example="mixwright change night-bus level-bass-di-3f9a1c gain_db=-1.5",
)
@song_argument
@click.argument("move", metavar="MOVE")
@click.argument("settings", metavar="KEY=VALUE...", nargs=-1, required=True)
def command_line(output: Output, song: Path, move: str, settings: tuple[str, ...]) -> None:
    """Change settings of a move: its own ones, like gain_db or hz, with or without unit, or its strength from 0 to 1.

    Of a move that listens to somebody also its `key`, of one that feeds a send its `send`.
    """
    pairs = [setting.partition("=") for setting in settings]
    context = click.get_current_context()
    for key, equals, value in pairs:
        if not (key and equals and value):
            raise click.UsageError(f"{key!r} must be written as KEY=VALUE", context)
    if len({key for key, _, _ in pairs}) < len(pairs):
        raise click.UsageError("a setting is given twice", context)
    from mixwright.app.decide import change
    from mixwright.report.text import decide_text

    output.show(change(song, move, {key: value for key, _, value in pairs}), decide_text, str(song))
