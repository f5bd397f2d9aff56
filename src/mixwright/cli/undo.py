# SPDX-License-Identifier: Apache-2.0
"""`mixwright undo`."""

from __future__ import annotations

from pathlib import Path

from mixwright.cli.options import command, song_argument
from mixwright.cli.output import Output


@command("undo", short_help="Take back the last change of the song.", example="mixwright undo night-bus")
@song_argument
def command_line(output: Output, song: Path) -> None:
    """Take back the last change of the song; again for the one before it."""
    from mixwright.app.decide import undo
    from mixwright.report.text import undo_text

    output.show(undo(song), undo_text)
