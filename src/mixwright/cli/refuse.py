# SPDX-License-Identifier: Apache-2.0
"""`mixwright refuse`."""

from __future__ import annotations

from pathlib import Path

from mixwright.cli.options import command, moves_argument, song_argument
from mixwright.cli.output import Output


@command(
    "refuse",
    short_help="Refuse moves; they are not proposed again.",
    example="mixwright refuse night-bus pan-shaker-07be42",
)
@song_argument
@moves_argument
def command_line(output: Output, song: Path, moves: tuple[str, ...]) -> None:
    """Refuse moves, accepted ones too; they are not proposed again.

    MOVE is an id, a part of an id that fits only one, or a track, source or group: all of its moves.
    """
    from mixwright.app.decide import refuse
    from mixwright.report.text import decide_text

    output.show(refuse(song, moves), decide_text, str(song))
