# SPDX-License-Identifier: Apache-2.0
"""`mixwright relink`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import FOLDER, command, song_argument
from mixwright.cli.output import Output


@command(
    "relink", short_help="Find received files that were moved.", example="mixwright relink night-bus /media/archive"
)
@song_argument
@click.argument("folder", metavar="[FOLDER]", type=FOLDER, required=False)
def command_line(output: Output, song: Path, folder: Path | None) -> None:
    """Find the tracks, references, rough mix and print that are not where the song says, and correct their paths.

    They are found by what they hold, under any name, in FOLDER and all folders in it; without FOLDER in that which
    holds the song folder. Nothing else changes; `undo` takes it back.
    """
    from mixwright.app.relink import relink
    from mixwright.report.text import relink_text

    output.show(output.run(relink, song, folder), relink_text, str(song))
