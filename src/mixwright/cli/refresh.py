# SPDX-License-Identifier: Apache-2.0
"""`mixwright refresh`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import command, song_argument
from mixwright.cli.output import Output


@command("refresh", short_help="Add new files from the tracks' folders.", example="mixwright refresh night-bus")
@song_argument
@click.option("--take", is_flag=True, help="Take files of tracks that were written anew, too: bounces.")
def command_line(output: Output, song: Path, take: bool) -> None:
    """Read audio files that are new in the folders of the song's tracks, and add them as tracks.

    Folders in them are searched too, one level deep. Settings and decisions of the tracks that are there stay as they
    are. A file that changed since it was received is told, and taken with --take alone.

    A bounce that is taken is compared with what the track held, which is kept until `clean --superseded` releases it:
    which open moves it holds, what was predicted of each and what is heard of it now, what it cost other layers, and
    what else it changed.
    """
    from mixwright.app.refresh import refresh
    from mixwright.report.text import refresh_text

    output.show(output.run(refresh, song, take=take), refresh_text, str(song))
