# SPDX-License-Identifier: Apache-2.0
"""`mixwright redo`."""

from __future__ import annotations

from pathlib import Path

from mixwright.cli.options import command, song_argument
from mixwright.cli.output import Output


@command("redo", short_help="Make again what undo took back.", example="mixwright redo night-bus")
@song_argument
def command_line(output: Output, song: Path) -> None:
    """Make again what `undo` took back last; again for the step after it, until the song is changed."""
    from mixwright.app.decide import redo
    from mixwright.report.text import redo_text

    output.show(redo(song), redo_text)
