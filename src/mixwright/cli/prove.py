# SPDX-License-Identifier: Apache-2.0
"""`mixwright prove`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import command, song_argument
from mixwright.cli.output import Output


@command(
    "prove",
    short_help="Hear the mix with and without each accepted move.",
    example="mixwright prove night-bus level-lead-vox",
)
@song_argument
@click.argument("moves", metavar="[MOVE]...", nargs=-1)
def command_line(output: Output, song: Path, moves: tuple[str, ...]) -> None:
    """Render and hear the mix with all accepted moves and without each, at equal loudness.

    Of every section that a move concerns the worst 20 s are heard. The receipts tell what was predicted and what was
    measured, what the move costs other layers, and what fails without it. MOVE is an id, a part of one, or a target;
    all accepted moves if none is named.
    """
    from mixwright.app.prove import prove
    from mixwright.report.receipts import prove_text

    output.show(output.run(prove, song, moves), prove_text, str(song))
