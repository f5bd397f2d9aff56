# SPDX-License-Identifier: Apache-2.0
"""`mixwright refresh`."""

from __future__ import annotations

from pathlib import Path

from mixwright.cli.options import command, song_argument
from mixwright.cli.output import Output


@command("refresh", short_help="Add new files from the tracks' folders.", example="mixwright refresh night-bus")
@song_argument
def command_line(output: Output, song: Path) -> None:
    """Read audio files that are new in the folders of the song's tracks, and add them as tracks.

    Folders in them are searched too, one level deep. Settings and decisions of the tracks that are there stay as they
    are. A file that changed since it was received is told, never taken.
    """
    from mixwright.app.refresh import refresh
    from mixwright.report.text import refresh_text

    output.show(output.run(refresh, song), refresh_text, str(song))
